//! `plan`: a draft for a day.

use std::time::Duration;

use forenoon_proto::v1;

use super::day::show;
use super::drives::DrivesArg;
use super::heat::HeatArg;
use super::show_plan::DayArg;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::request_id;
use crate::parse::day::wire;

/// How much longer than the search a call may take.
const SEARCH_GRACE: Duration = Duration::from_secs(30);
/// The longest search the contract allows.
const SEARCH_SECONDS_MAX: u64 = 600;

/// How `plan` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon plan tomorrow\n  forenoon plan --day fri --seconds 30\n  \
                        forenoon plan 2027-04-20 --seed 7 --iterations 200000 --publish\n  \
                        forenoon plan tomorrow --temperature \"96 F\" --humidity 45\n  \
                        forenoon plan tomorrow --confidence 80\n  \
                        forenoon plan tomorrow --meetings"
)]
pub struct Args {
    #[command(flatten)]
    day: DayArg,
    /// Seed of the search: the same problem, seed and iterations give the same plan
    #[arg(long, default_value_t = 1, value_name = "NUMBER")]
    seed: i64,
    /// Iterations of the search [default: the server's setting]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(i64).range(1..=100_000_000))]
    iterations: Option<i64>,
    /// Longest time of the search, in seconds [default: the server's setting]
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=SEARCH_SECONDS_MAX))]
    seconds: Option<u64>,
    /// Plan each task at the length that so many in a hundred keep within, 50 to 95: safer, and less fits [default: 50]
    #[arg(long, value_name = "PERCENT", value_parser = clap::value_parser!(i32).range(50..=95))]
    confidence: Option<i32>,
    /// Let two crews meet on the road where one hands units over to the other; otherwise units change hands at the yard
    #[arg(long)]
    meetings: bool,
    #[command(flatten)]
    drives: DrivesArg,
    #[command(flatten)]
    heat: HeatArg,
    /// Publish it at once
    #[arg(long)]
    publish: bool,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let day = args.day.read(&desk)?;
    let busy = desk.screen.busy(&format!("planning {day}"));
    let longest = args.seconds.map_or(Duration::ZERO, Duration::from_secs) + SEARCH_GRACE;
    let request = v1::PlanDayRequest {
        parent: desk.parent(),
        day: Some(wire(day)),
        seed: args.seed,
        iterations: args.iterations.unwrap_or_default(),
        time_limit: args.seconds.map(|seconds| prost_types::Duration {
            seconds: i64::try_from(seconds).unwrap_or(i64::MAX),
            nanos: 0,
        }),
        travel_matrix: args.drives.read(&desk.parent())?,
        heat: args.heat.read(),
        confidence_percent: args.confidence.unwrap_or_default(),
        meetings: args.meetings,
        request_id: request_id(),
    };
    let answer = desk
        .link
        .with_timeout_of_at_least(longest)
        .plan_day(request)
        .await?;
    let mut plan = answer.plan.unwrap_or_default();
    if args.publish {
        busy.now("publishing");
        let request = v1::PublishPlanRequest {
            name: plan.name.clone(),
            etag: plan.etag.clone(),
            request_id: request_id(),
        };
        plan = desk
            .link
            .publish_plan(request)
            .await?
            .plan
            .unwrap_or_default();
    }
    drop(busy);
    show(&desk, &plan).await
}
