//! `day`: the dispatcher's page.

use std::collections::BTreeMap;

use forenoon_proto::v1;

use super::show_plan::{DayArg, find};
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::output::day::{Day, grid, page};

/// How `day` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Shows the published plan, or the latest draft where nothing is published.\n\n\
                        Examples:\n  forenoon day\n  forenoon day tomorrow\n  forenoon day --plan 2027-04-20-3\n  \
                        forenoon day --output plain | cut -f1,3,6"
)]
pub struct Args {
    #[command(flatten)]
    day: DayArg,
    /// This plan, by id
    #[arg(long, value_name = "PLAN")]
    plan: Option<String>,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let day = args.day.read(&desk)?;
    let plan = find(&desk, args.plan.as_deref(), day).await?;
    show(&desk, &plan).await
}

/// Shows a plan with what belongs to its day.
pub(super) async fn show(desk: &BranchDesk, plan: &v1::Plan) -> Result<(), Failure> {
    let link = &desk.link;
    let (jobs, tags, visits) = tokio::try_join!(
        link.all_jobs(v1::ListJobsRequest {
            parent: desk.parent(),
            day: plan.day,
            ..v1::ListJobsRequest::default()
        }),
        link.all_tag_outs(v1::ListTagOutsRequest {
            parent: desk.parent(),
            open_only: true,
            ..v1::ListTagOutsRequest::default()
        }),
        link.list_visits(v1::ListVisitsRequest {
            plan: plan.name.clone()
        }),
    )?;
    let jobs: BTreeMap<String, v1::Job> = jobs
        .into_iter()
        .map(|job| (job.name.clone(), job))
        .collect();
    let day = Day {
        plan,
        jobs: &jobs,
        tag_outs: &tags,
        visits: &visits.visits,
        clock: desk.clock,
        today: desk.today,
    };
    desk.screen
        .answer(plan, || grid(&day), |width| page(&day, width))
}
