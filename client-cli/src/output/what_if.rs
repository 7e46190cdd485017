//! What one change would bring to a day, on a page.

use forenoon_proto::v1::TryChangeResponse;

use super::clock::{minutes, stretch};
use super::grid::Grid;
use super::text;
use crate::names::id;
use crate::parse::money::grouped;

/// The figures as rows.
pub fn grid(answer: &TryChangeResponse) -> Grid {
    let mut grid = Grid::new(&["what", "without", "with"]);
    let mut pair = |what: &str, without: String, with: String| {
        grid.row([what.to_owned(), without, with]);
    };
    pair(
        "cost points",
        answer.cost_points_without.to_string(),
        answer.cost_points_with.to_string(),
    );
    pair(
        "overtime minutes",
        minutes(answer.overtime_without.as_ref()).to_string(),
        minutes(answer.overtime_with.as_ref()).to_string(),
    );
    for (jobs, without, with) in [
        (&answer.jobs_gained, "left out", "done"),
        (&answer.jobs_lost, "done", "left out"),
    ] {
        for job in jobs {
            pair(id(job), without.to_owned(), with.to_owned());
        }
    }
    grid
}

/// The figures in sentences.
pub fn page(answer: &TryChangeResponse, change: &str, width: usize) -> String {
    let figure = |points: i64| grouped(points.unsigned_abs());
    let (before, after) = (answer.cost_points_without, answer.cost_points_with);
    let difference = match before - after {
        0 => "no difference".to_owned(),
        saved if saved > 0 => format!("{} less", figure(saved)),
        more => format!("{} more", figure(more)),
    };
    let mut lines = vec![
        format!("Plan {}, {change}", id(&answer.plan)),
        format!(
            "  Cost      {} points in place of {}: {difference}",
            figure(after),
            figure(before)
        ),
        overtime(answer),
    ];
    for (label, jobs) in [
        ("  Gained    ", &answer.jobs_gained),
        ("  Lost      ", &answer.jobs_lost),
    ] {
        if !jobs.is_empty() {
            let names: Vec<&str> = jobs.iter().map(|job| id(job)).collect();
            lines.extend(text::hanging(label, &names.join(", "), width));
        }
    }
    lines.join("\n") + "\n"
}

fn overtime(answer: &TryChangeResponse) -> String {
    let [before, after] = [&answer.overtime_without, &answer.overtime_with]
        .map(|time| stretch(minutes(time.as_ref())));
    if before == after {
        format!("  Overtime  {after} as before")
    } else {
        format!("  Overtime  {after} in place of {before}")
    }
}

#[cfg(test)]
mod tests {
    use prost_types::Duration;

    use super::*;

    fn answer() -> TryChangeResponse {
        let time = |minutes: i64| {
            Some(Duration {
                seconds: 60 * minutes,
                nanos: 0,
            })
        };
        TryChangeResponse {
            plan: "branches/b/plans/2027-04-20-2".into(),
            cost_points_without: 523_000,
            cost_points_with: 510_600,
            jobs_gained: vec!["branches/b/jobs/j-birch".into()],
            jobs_lost: Vec::new(),
            overtime_without: time(108),
            overtime_with: time(70),
        }
    }

    #[test]
    fn the_page_says_what_is_saved_and_gained() {
        assert_eq!(
            page(&answer(), "with one more like m-36", 80),
            "Plan 2027-04-20-2, with one more like m-36\n\
             \x20 Cost      510,600 points in place of 523,000: 12,400 less\n\
             \x20 Overtime  1 h 10 in place of 1 h 48\n\
             \x20 Gained    j-birch\n"
        );
    }

    #[test]
    fn what_stays_is_said_to_stay() {
        let same = TryChangeResponse {
            cost_points_with: 523_000,
            overtime_with: answer().overtime_without,
            jobs_gained: Vec::new(),
            ..answer()
        };
        let page = page(&same, "without j-birch", 80);
        assert!(page.contains("523,000: no difference"), "{page}");
        assert!(page.contains("Overtime  1 h 48 as before"), "{page}");
    }

    #[test]
    fn scripts_get_a_row_for_each_figure() {
        assert_eq!(
            grid(&answer()).plain(),
            "cost points\t523000\t510600\novertime minutes\t108\t70\nj-birch\tleft out\tdone\n"
        );
    }
}
