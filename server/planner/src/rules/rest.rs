//! Breaks: taken as soon as the crew is not driving at or after the earliest instant; work is interrupted, driving is
//! not.

use super::Refusal;
use crate::Seconds;
use crate::problem::Break;

/// The breaks a crew has still to take.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Rest<'a> {
    breaks: &'a [Break],
    taken: usize,
}

impl<'a> Rest<'a> {
    pub(crate) const fn new(breaks: &'a [Break], taken: usize) -> Self {
        Self { breaks, taken }
    }

    pub(crate) const fn taken(&self) -> usize {
        self.taken
    }

    fn next(&self) -> Option<&'a Break> {
        self.breaks.get(self.taken)
    }

    /// Whether a break may begin at or before `at`.
    pub(crate) fn due_by(&self, at: Seconds) -> bool {
        self.next().is_some_and(|rest| rest.earliest <= at)
    }

    /// Takes what is due at `at` and returns when the crew goes on.
    pub(crate) fn take_due(
        &mut self,
        at: Seconds,
        log: &mut impl FnMut(Seconds, Seconds),
    ) -> Result<Seconds, Refusal> {
        let mut now = at;
        while let Some(rest) = self.next()
            && rest.earliest <= now
        {
            if now > rest.latest {
                return Err(Refusal::Break);
            }
            log(now, now + rest.seconds);
            now += rest.seconds;
            self.taken += 1;
        }
        Ok(now)
    }

    /// When the next break begins for a crew that waits from `now`.
    pub(crate) fn begins(&self, now: Seconds) -> Seconds {
        self.next().map_or(now, |rest| rest.earliest.max(now))
    }

    /// When work of `work` seconds ends that starts at `start`, with the breaks that interrupt it.
    pub(crate) fn finish(&self, start: Seconds, work: Seconds) -> Seconds {
        let mut end = start + work;
        for rest in &self.breaks[self.taken..] {
            if rest.earliest >= end {
                break;
            }
            if rest.earliest > start {
                end += rest.seconds;
            }
        }
        end
    }

    /// Notes the breaks that interrupt that work as taken.
    pub(crate) fn work(
        &mut self,
        start: Seconds,
        work: Seconds,
        log: &mut impl FnMut(Seconds, Seconds),
    ) -> Seconds {
        let mut end = start + work;
        while let Some(rest) = self.next()
            && rest.earliest < end
        {
            log(rest.earliest, rest.earliest + rest.seconds);
            end += rest.seconds;
            self.taken += 1;
        }
        end
    }
}
