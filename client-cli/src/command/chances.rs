//! `chances`: how likely a plan goes as planned.

use forenoon_proto::v1;

use super::show_plan::PlanArg;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::output::chances::{grid, page};

/// How `chances` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Asks of the published plan, or of the latest draft where nothing is published. What crews have reported \
                  counts, so ask again as the day goes on.\n\n\
                  Examples:\n  forenoon chances\n  forenoon chances tomorrow --runs 5000"
)]
pub struct Args {
    #[command(flatten)]
    plan: PlanArg,
    /// How often the rest of the day is lived through, at most 10000 [default: 1000]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(i32).range(1..=10_000))]
    runs: Option<i32>,
    /// Source of all chance: the same seed gives the same answer
    #[arg(
        long,
        value_name = "NUMBER",
        default_value_t = 1,
        hide_default_value = true
    )]
    seed: i64,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let plan = args.plan.find(&desk).await?;
    let request = v1::AssessPlanRequest {
        name: plan.name.clone(),
        runs: args.runs.unwrap_or_default(),
        seed: args.seed,
    };
    let answer = desk.link.assess_plan(request).await?;
    desk.screen.answer(
        &answer,
        || grid(&answer),
        |width| page(&answer, &plan, desk.clock, width),
    )
}
