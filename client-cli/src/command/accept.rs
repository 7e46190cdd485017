//! `publish`, `discard` and `accept`: what becomes of drafts and proposals.

use chrono::NaiveDate;
use forenoon_proto::v1;

use super::show_plan::latest_draft;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::records::{plan_line, plans};

/// How `publish` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon publish 2027-04-20-1\n  forenoon publish --day tomorrow"
)]
pub struct PublishArgs {
    /// The draft, by id [default: the day's latest draft]
    #[arg(value_name = "PLAN")]
    plan: Option<String>,
    /// The day whose latest draft is meant
    #[arg(
        long,
        value_name = "DAY",
        default_value = "today",
        conflicts_with = "plan"
    )]
    day: String,
}

/// How `discard` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  forenoon discard 2027-04-20-2")]
pub struct DiscardArgs {
    /// The draft or proposal, by id
    #[arg(value_name = "PLAN")]
    plan: String,
}

/// How `accept` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Refused (exit code 5) where the day has changed since the proposal was made.\n\n\
                        Example:\n  forenoon accept 2027-04-20-2"
)]
pub struct AcceptArgs {
    /// The proposal, by the id of its plan
    #[arg(value_name = "PLAN")]
    plan: String,
}

pub(super) async fn publish(desk: &Desk, args: &PublishArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let name = if let Some(plan) = &args.plan {
        desk.name(Collection::Plans, plan)
    } else {
        let day = desk.day(&args.day)?;
        latest_draft(&desk, day)
            .await?
            .ok_or_else(|| no_draft(day))?
    };
    let request = v1::PublishPlanRequest {
        name,
        etag: String::new(),
        request_id: request_id(),
    };
    let plan = desk.link.publish_plan(request).await?.plan;
    tell(&desk, plan)
}

pub(super) async fn discard(desk: &Desk, args: &DiscardArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::DiscardPlanRequest {
        name: desk.name(Collection::Plans, &args.plan),
        etag: String::new(),
        request_id: request_id(),
    };
    let plan = desk.link.discard_plan(request).await?.plan;
    tell(&desk, plan)
}

pub(super) async fn accept(desk: &Desk, args: &AcceptArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::AcceptProposalRequest {
        name: desk.name(Collection::Plans, &args.plan),
        etag: String::new(),
        request_id: request_id(),
    };
    let plan = desk.link.accept_proposal(request).await?.plan;
    tell(&desk, plan)
}

/// There is nothing to publish for a day.
fn no_draft(day: NaiveDate) -> Failure {
    Failure::NotFound(format!(
        "there is no draft for {day}; make one with `forenoon plan {day}`, or accept a proposal by its id"
    ))
}

fn tell(desk: &BranchDesk, plan: Option<v1::Plan>) -> Result<(), Failure> {
    let plan = plan.unwrap_or_default();
    desk.screen.answer(
        &plan,
        || plans(std::slice::from_ref(&plan), desk.clock),
        |_| plan_line(&plan),
    )
}
