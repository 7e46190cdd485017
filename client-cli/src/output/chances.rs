//! How likely a plan goes as planned, on a page.

use forenoon_proto::v1::{
    AssessPlanResponse, CrewChance, Plan, PlanState, PromiseChance, StopTrouble,
};

use super::clock::{Clock, day_plain, minutes, stretch};
use super::grid::Grid;
use super::{paint, text};
use crate::names::id;

/// Columns for a crew's or a site's name.
const NAME_WIDTH: usize = 30;
/// A promise that is kept less often than this wants somebody to look at it.
const UNCERTAIN: f64 = 0.9;
/// One that is kept less often than this wants another plan.
const ENDANGERED: f64 = 0.5;

/// The chances as rows.
pub fn grid(answer: &AssessPlanResponse) -> Grid {
    let mut grid = Grid::new(&[
        "what",
        "subject",
        "crew",
        "chance",
        "mean min",
        "p90 min",
        "over limit",
    ]);
    for promise in &answer.promises {
        grid.row([
            "promise".to_owned(),
            id(&promise.job).to_owned(),
            id(&promise.crew).to_owned(),
            share(promise.kept),
            String::new(),
            String::new(),
            String::new(),
        ]);
    }
    for crew in &answer.crews {
        grid.row([
            "overtime".to_owned(),
            id(&crew.crew).to_owned(),
            id(&crew.crew).to_owned(),
            share(crew.overtime),
            minutes(crew.overtime_mean.as_ref()).to_string(),
            minutes(crew.overtime_p90.as_ref()).to_string(),
            share(crew.over_limit),
        ]);
    }
    if let Some(stop) = &answer.most_endangering {
        grid.row([
            "trouble".to_owned(),
            id(&stop.job).to_owned(),
            id(&stop.crew).to_owned(),
            String::new(),
            minutes(stop.trouble_mean.as_ref()).to_string(),
            String::new(),
            String::new(),
        ]);
    }
    for job in &answer.jobs_to_replan {
        let mut row = vec!["re-plan".to_owned(), id(job).to_owned()];
        row.resize(grid.headings.len(), String::new());
        grid.row(row);
    }
    grid
}

/// The chances in sentences, the gravest first.
pub fn page(answer: &AssessPlanResponse, plan: &Plan, clock: Clock, width: usize) -> String {
    let mut lines = vec![text::ends(
        &format!(
            "Plan {} from {}",
            id(&answer.plan),
            clock.hm(answer.from_time.as_ref())
        ),
        &format!("lived through {} times", answer.runs),
        width,
    )];
    if !answer.jobs_to_replan.is_empty() {
        let jobs: Vec<&str> = answer.jobs_to_replan.iter().map(|job| id(job)).collect();
        let (what, command) = way_on(plan, &jobs);
        let words = format!("not as planned any more: {}; {what}:", jobs.join(", "));
        let mut words = text::hanging("RE-PLAN    ", &words, width);
        // On a line of its own, however long: it is there to be copied.
        words.push(format!("           {command}"));
        lines.extend(words.iter().map(|line| paint::alarm(line)));
    }
    if answer.promises.is_empty() && answer.crews.is_empty() {
        lines.push("Nothing is left to do.".to_owned());
    }
    if !answer.promises.is_empty() {
        lines.push(paint::strong(
            "PROMISES   kept in so many of a hundred days like this",
        ));
        lines.extend(answer.promises.iter().map(promise));
    }
    if !answer.crews.is_empty() {
        lines.push(paint::strong(
            "OVERTIME   in so many of a hundred; nine days in ten no more than",
        ));
        lines.extend(answer.crews.iter().map(crew));
    }
    if let Some(stop) = &answer.most_endangering {
        lines.push(String::new());
        lines.extend(text::hanging("Keep an eye on ", &trouble(stop), width));
    }
    lines.join("\n") + "\n"
}

/// What to do, and the command that does it: a published plan is gone on from, a draft is made again.
fn way_on(plan: &Plan, jobs: &[&str]) -> (&'static str, String) {
    let day = day_plain(plan.day.as_ref());
    if plan.state() == PlanState::Published {
        let jobs = jobs.join(", ");
        let command = format!("forenoon replan {day} --cause \"not as planned: {jobs}\"");
        ("ways on", command)
    } else {
        ("plan it again", format!("forenoon plan {day}"))
    }
}

fn promise(promise: &PromiseChance) -> String {
    let line = format!(
        "  {} {:>4}  {}",
        text::fit(&promise.site_display_name, NAME_WIDTH),
        hundredths(promise.kept),
        id(&promise.crew),
    );
    match promise.kept {
        kept if kept < ENDANGERED => paint::alarm(&line),
        kept if kept < UNCERTAIN => paint::heed(&line),
        _ => line,
    }
}

fn crew(chance: &CrewChance) -> String {
    let line = format!(
        "  {} {:>4}  {:>9}",
        text::fit(&chance.crew_display_name, NAME_WIDTH),
        hundredths(chance.overtime),
        stretch(minutes(chance.overtime_p90.as_ref())),
    );
    if chance.over_limit > 1.0 - UNCERTAIN {
        let over = format!(
            "{line}  in {} more than is allowed",
            hundredths(chance.over_limit)
        );
        paint::alarm(&over)
    } else {
        line
    }
}

fn trouble(stop: &StopTrouble) -> String {
    format!(
        "{} ({}): its work may take longer; that costs {} min on average",
        stop.site_display_name,
        id(&stop.crew),
        minutes(stop.trouble_mean.as_ref()),
    )
}

/// A share for people: never a certainty that is none.
fn hundredths(share: f64) -> String {
    if share > 0.0 && share < 0.005 {
        "<1".to_owned()
    } else if (0.995..1.0).contains(&share) {
        ">99".to_owned()
    } else {
        format!("{:.0}", share * 100.0)
    }
}

/// A share for scripts.
fn share(share: f64) -> String {
    format!("{share:.3}")
}

#[cfg(test)]
mod tests {
    use prost_types::{Duration, Timestamp};

    use super::super::fixture::{CLOCK, plan};
    use super::*;

    fn answer() -> AssessPlanResponse {
        let time = |minutes: i64| {
            Some(Duration {
                seconds: 60 * minutes,
                nanos: 0,
            })
        };
        AssessPlanResponse {
            plan: "branches/b/plans/2027-04-20-2".into(),
            from_time: Some(Timestamp {
                seconds: 1_808_233_800,
                nanos: 0,
            }),
            runs: 1_000,
            promises: vec![
                PromiseChance {
                    job: "branches/b/jobs/j-weld".into(),
                    site_display_name: "Weld lot".into(),
                    crew: "branches/b/crews/bluestem".into(),
                    kept: 0.62,
                },
                PromiseChance {
                    job: "branches/b/jobs/j-alder".into(),
                    site_display_name: "Alder house".into(),
                    crew: "branches/b/crews/bluestem".into(),
                    kept: 0.998,
                },
            ],
            crews: vec![CrewChance {
                crew: "branches/b/crews/bluestem".into(),
                crew_display_name: "Bluestem".into(),
                overtime: 0.001,
                overtime_mean: time(0),
                overtime_p90: time(75),
                over_limit: 0.2,
            }],
            most_endangering: Some(StopTrouble {
                job: "branches/b/jobs/j-weld".into(),
                site_display_name: "Weld lot".into(),
                crew: "branches/b/crews/bluestem".into(),
                trouble_mean: time(7),
            }),
            jobs_to_replan: vec!["branches/b/jobs/j-birch".into()],
        }
    }

    fn stripped(answer: &AssessPlanResponse) -> String {
        anstream::adapter::strip_str(&page(answer, &plan(), CLOCK, 80)).to_string()
    }

    #[test]
    fn the_page_says_what_is_uncertain_and_never_that_anything_is_certain() {
        let page = stripped(&answer());
        for words in [
            "lived through 1000 times",
            "RE-PLAN    not as planned any more: j-birch",
            "Weld lot                         62  bluestem",
            "Alder house                     >99  bluestem",
            "Bluestem                         <1     1 h 15  in 20 more than is allowed",
            "Keep an eye on Weld lot (bluestem): its work may take longer; that costs 7 min",
        ] {
            assert!(page.contains(words), "missing {words:?} in\n{page}");
        }
    }

    #[test]
    fn the_way_on_is_for_the_plans_own_day() {
        let mut plan = plan();
        assert_eq!(
            way_on(&plan, &["j-birch", "j-weld"]),
            (
                "ways on",
                "forenoon replan 2027-04-20 --cause \"not as planned: j-birch, j-weld\"".to_owned()
            )
        );
        plan.state = PlanState::Draft.into();
        assert_eq!(
            way_on(&plan, &["j-birch"]),
            ("plan it again", "forenoon plan 2027-04-20".to_owned())
        );
    }

    #[test]
    fn a_day_that_is_over_says_so() {
        let page = stripped(&AssessPlanResponse::default());
        assert!(page.contains("Nothing is left to do."), "{page}");
    }

    #[test]
    fn scripts_get_a_row_for_each_chance() {
        let plain = grid(&answer()).plain();
        let rows: Vec<&str> = plain.lines().collect();
        assert_eq!(
            rows,
            [
                "promise\tj-weld\tbluestem\t0.620\t\t\t",
                "promise\tj-alder\tbluestem\t0.998\t\t\t",
                "overtime\tbluestem\tbluestem\t0.001\t0\t75\t0.200",
                "trouble\tj-weld\tbluestem\t\t7\t\t",
                "re-plan\tj-birch\t\t\t\t\t",
            ]
        );
    }
}
