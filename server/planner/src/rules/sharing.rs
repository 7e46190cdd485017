//! Sharing: a crew works several tasks of a stop at once, but two people cannot hold one tool.
//!
//! A stop takes as long as its tasks one after the other, each with the whole crew. It takes no less, though, than the
//! tasks that need no tool, which come before and after the rest, and all that one tool is bound by. What that adds is
//! the stop's wait. Units of one class at one stop are one unit: the one that a plan names for each of its tasks.

use crate::Seconds;

/// One task at a stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Part<Tool> {
    /// How long the whole crew takes for it.
    pub(crate) lasts: Seconds,
    /// How long it binds its tool.
    pub(crate) bound: Seconds,
    /// What it is done with: none, one, or an attachment and its powerhead.
    pub(crate) tools: [Option<Tool>; 2],
}

impl<Tool> Part<Tool> {
    pub(crate) const NOTHING: Self = Self {
        lasts: 0,
        bound: 0,
        tools: [None, None],
    };
}

/// The stop's wait, and the tool that is waited for.
pub(crate) fn wait<Tool: Copy + PartialEq>(parts: &[Part<Tool>]) -> (Seconds, Option<Tool>) {
    let lasts: Seconds = parts.iter().map(|part| part.lasts).sum();
    let on_foot: Seconds = parts
        .iter()
        .filter(|part| part.tools == [None, None])
        .map(|part| part.lasts)
        .sum();
    let mut scarcest = (0, None);
    for tool in parts.iter().flat_map(|part| part.tools).flatten() {
        let bound: Seconds = parts
            .iter()
            .filter(|part| part.tools.contains(&Some(tool)))
            .map(|part| part.bound)
            .sum();
        // The first of equals, so that the answer never depends on chance.
        if bound > scarcest.0 {
            scarcest = (bound, Some(tool));
        }
    }
    let wait = on_foot + scarcest.0 - lasts;
    if wait > 0 {
        (wait, scarcest.1)
    } else {
        (0, None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn part(lasts: Seconds, bound: Seconds, tool: Option<u8>) -> Part<u8> {
        Part {
            lasts,
            bound,
            tools: [tool, None],
        }
    }

    /// Two people mow 20 minutes together as one mower takes 37 alone, and edge 4 meanwhile.
    #[test]
    fn a_stop_waits_for_the_tool_that_most_waits_for() {
        let parts = [
            part(120, 120, None),
            part(1_200, 2_220, Some(1)),
            part(240, 444, Some(2)),
        ];
        assert_eq!(wait(&parts), (2_220 + 120 - 1_560, Some(1)));
    }

    #[test]
    fn one_person_never_waits() {
        let parts = [
            part(60, 60, None),
            part(900, 900, Some(1)),
            part(300, 300, Some(2)),
        ];
        assert_eq!(wait(&parts), (0, None));
    }

    #[test]
    fn two_attachments_on_one_powerhead_wait_for_it() {
        let paired = |attachment, bound| Part {
            lasts: 600,
            bound,
            tools: [Some(attachment), Some(9)],
        };
        let parts = [paired(1, 1_100), paired(2, 1_000)];
        assert_eq!(wait(&parts), (900, Some(9)));
    }
}
