//! A day as it happens, in words.

use forenoon_proto::v1::day_change::State;
use forenoon_proto::v1::{DayChange, DaySnapshot, Symptom, TagOutState, VisitState};

use super::clock::{Clock, Times};
use super::grid::Grid;
use super::paint;
use super::records::{plan_line, visits};
use crate::names::{id, ids};
use crate::parse::word::word_of;

/// How a day stands when the watch begins.
pub fn snapshot_text(snapshot: &DaySnapshot, clock: Clock, width: usize) -> String {
    let mut text = match &snapshot.plan {
        Some(plan) => plan_line(plan),
        None => "nothing is published for the day\n".to_owned(),
    };
    for load in &snapshot.loads {
        let missing = if load.missing_units.is_empty() {
            "everything aboard".to_owned()
        } else {
            format!("without {}", ids(&load.missing_units, ", "))
        };
        text.push_str(&format_line(&[
            clock.hm(load.load_time.as_ref()),
            format!("{} loaded, {missing}", id(&load.crew)),
        ]));
    }
    for tag in &snapshot.tag_outs {
        text.push_str(&format_line(&[
            id(&tag.name).to_owned(),
            tag.unit_display_name.clone(),
            word_of::<Symptom>(tag.symptom),
            word_of::<TagOutState>(tag.state),
        ]));
    }
    if !snapshot.visits.is_empty() {
        text.push_str(&visits(&snapshot.visits, Times::Hours(clock)).table(width));
    }
    text
}

/// One change on a line.
pub fn change_line(change: &DayChange, clock: Clock) -> String {
    let time = paint::faint(&clock.hm(change.accept_time.as_ref()));
    let what = change.kind.replace(['.', '_'], " ");
    let what = match change.kind.as_str() {
        "tag_out.tagged" | "tag_out.raised" | "visit.not_done" | "case.opened" => {
            paint::alarm(&what)
        }
        "plan.published" => paint::heed(&what),
        _ => paint::strong(&what),
    };
    format_line(&[
        time,
        what,
        id(&change.subject).to_owned(),
        state_words(change),
    ])
}

/// One change as a row.
pub fn change_grid(change: &DayChange, clock: Clock) -> Grid {
    let mut grid = Grid::new(&["accepted", "kind", "subject", "state"]);
    grid.row([
        clock.plain(change.accept_time.as_ref()),
        change.kind.clone(),
        id(&change.subject).to_owned(),
        state_words(change),
    ]);
    grid
}

fn state_words(change: &DayChange) -> String {
    match &change.state {
        Some(State::Plan(plan)) => plan_line(plan).trim_end().to_owned(),
        Some(State::Visit(visit)) => {
            let state = word_of::<VisitState>(visit.state);
            if visit.not_done_reason.is_empty() {
                format!("{} {state}", id(&visit.crew))
            } else {
                format!("{} {state}: {}", id(&visit.crew), visit.not_done_reason)
            }
        }
        Some(State::TagOut(tag)) => format!(
            "{} {} {}",
            tag.unit_display_name,
            word_of::<Symptom>(tag.symptom),
            word_of::<TagOutState>(tag.state)
        ),
        Some(State::Load(load)) if load.missing_units.is_empty() => {
            format!("{} everything aboard", id(&load.crew))
        }
        Some(State::Load(load)) => format!(
            "{} without {}",
            id(&load.crew),
            ids(&load.missing_units, ", ")
        ),
        None => String::new(),
    }
}

fn format_line(parts: &[String]) -> String {
    let mut line = parts.join("  ");
    line.truncate(line.trim_end().len());
    line.push('\n');
    line
}

#[cfg(test)]
mod tests {
    use super::*;
    use forenoon_proto::v1::{TagOut, Visit};

    fn clock() -> Clock {
        Clock {
            zone: chrono_tz::America::Chicago,
        }
    }

    fn change(kind: &str, state: Option<State>) -> DayChange {
        DayChange {
            kind: kind.into(),
            subject: "branches/n/jobs/j-1".into(),
            accept_time: Some("2027-04-20T15:10:00Z".parse().unwrap()),
            state,
        }
    }

    #[test]
    fn a_change_is_one_line() {
        let not_done = change(
            "visit.not_done",
            Some(State::Visit(Visit {
                crew: "branches/n/crews/sedge".into(),
                state: VisitState::NotDone.into(),
                not_done_reason: "gate locked".into(),
                ..Visit::default()
            })),
        );
        let line = anstream::adapter::strip_str(&change_line(&not_done, clock())).to_string();
        assert_eq!(
            line,
            "10:10  visit not done  j-1  sedge not-done: gate locked\n"
        );
        let untold = change("job.created", None);
        let line = anstream::adapter::strip_str(&change_line(&untold, clock())).to_string();
        assert_eq!(line, "10:10  job created  j-1\n");
    }

    #[test]
    fn a_row_has_four_cells_whatever_changed() {
        let tagged = State::TagOut(TagOut {
            unit_display_name: "Walk mower 36".into(),
            symptom: Symptom::Leak.into(),
            state: TagOutState::Tagged.into(),
            ..TagOut::default()
        });
        for state in [None, Some(tagged)] {
            let plain = change_grid(&change("x.y", state), clock()).plain();
            assert_eq!(plain.trim_end_matches('\n').split('\t').count(), 4);
        }
    }
}
