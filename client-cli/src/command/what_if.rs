//! `what-if`: what one change would bring to a day.

use forenoon_proto::v1;
use forenoon_proto::v1::try_change_request::Change;
use prost_types::Duration;

use super::show_plan::PlanArg;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::names::Collection;
use crate::output::what_if::{grid, page};
use crate::parse::measure::stretch;

/// How `what-if` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Searches on from the published plan, or the latest draft where nothing is published, without and with the \
                  change. Nothing is stored.\n\n\
                  Examples:\n  forenoon what-if tomorrow --one-more m-36\n  \
                  forenoon what-if tomorrow --longer \"bluestem=1 h\"\n  forenoon what-if tomorrow --without j-birch"
)]
pub struct Args {
    #[command(flatten)]
    plan: PlanArg,
    #[command(flatten)]
    change: ChangeArg,
    /// Iterations of each search [default: 20000]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(i64).range(1..))]
    iterations: Option<i64>,
    /// Source of all chance: the same seed gives the same answer
    #[arg(
        long,
        value_name = "NUMBER",
        default_value_t = 1,
        hide_default_value = true
    )]
    seed: i64,
}

/// One change.
#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
struct ChangeArg {
    /// One more unit like this one, by id, in order all day
    #[arg(long, value_name = "UNIT")]
    one_more: Option<String>,
    /// A crew's shift ends later
    #[arg(long, value_name = "CREW=TIME", value_parser = longer)]
    longer: Option<(String, Duration)>,
    /// A job is not wanted
    #[arg(long, value_name = "JOB")]
    without: Option<String>,
}

impl ChangeArg {
    fn read(&self, desk: &BranchDesk) -> Option<Change> {
        if let Some(unit) = &self.one_more {
            return Some(Change::OneMoreLike(desk.name(Collection::Units, unit)));
        }
        if let Some((crew, by)) = &self.longer {
            return Some(Change::LongerShift(v1::LongerShift {
                crew: desk.name(Collection::Crews, crew),
                by: Some(*by),
            }));
        }
        let job = self.without.as_ref()?;
        Some(Change::WithoutJob(desk.name(Collection::Jobs, job)))
    }

    fn words(&self) -> String {
        match (&self.one_more, &self.longer) {
            (Some(unit), _) => format!("with one more like {unit}"),
            (None, Some((crew, by))) => {
                format!("with {crew} at work {} min longer", by.seconds / 60)
            }
            (None, None) => format!("without {}", self.without.as_deref().unwrap_or_default()),
        }
    }
}

fn longer(text: &str) -> Result<(String, Duration), String> {
    let (crew, by) = text
        .split_once('=')
        .ok_or_else(|| format!("{text:?} is no crew with a time; give it as bluestem=1h"))?;
    Ok((crew.to_owned(), stretch(by)?))
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let plan = args.plan.find(&desk).await?;
    let request = v1::TryChangeRequest {
        name: plan.name.clone(),
        change: args.change.read(&desk),
        iterations: args.iterations.unwrap_or_default(),
        seed: args.seed,
    };
    let answer = desk.link.try_change(request).await?;
    let words = args.change.words();
    desk.screen.answer(
        &answer,
        || grid(&answer),
        |width| page(&answer, &words, width),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_longer_shift_is_a_crew_and_a_time() {
        let (crew, by) = longer("bluestem=1 h 30 min").expect("both");
        assert_eq!((crew.as_str(), by.seconds), ("bluestem", 5_400));
        assert!(longer("bluestem").is_err() && longer("bluestem=soon").is_err());
    }
}
