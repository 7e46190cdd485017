//! `publish`, `discard` and `accept`: what becomes of drafts and proposals.

use chrono::NaiveDate;
use forenoon_proto::v1;

use super::show_plan::{latest_draft, published};
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::names::{Collection, id, request_id};
use crate::output::clock::Times;
use crate::output::records::{plan_line, plans};

/// How `publish` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Without PLAN it takes the day's latest draft, if that is newer than what is published.\n\
                        Refused (exit code 5) where another plan was published since the draft was made, where crews are out by \
                        then, and where what it plans with has changed.\n\n\
                        Examples:\n  forenoon publish 2027-04-20-1\n  forenoon publish --day tomorrow"
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
        let present = published(&desk, day).await?;
        let draft = latest_draft(&desk, day).await?;
        newer(draft, present.as_ref()).ok_or_else(|| no_draft(&desk, day, present.as_ref()))?
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

/// The draft's name, if it was made since the day's published plan was published: an older one does not know of that.
fn newer(draft: Option<v1::Plan>, present: Option<&v1::Plan>) -> Option<String> {
    let at = |time: Option<&prost_types::Timestamp>| time.map(|time| (time.seconds, time.nanos));
    let is_newer = |draft: &v1::Plan| {
        present.is_none_or(|plan| at(draft.create_time.as_ref()) > at(plan.publish_time.as_ref()))
    };
    draft.filter(is_newer).map(|draft| draft.name)
}

/// There is nothing to publish for a day.
fn no_draft(desk: &BranchDesk, day: NaiveDate, present: Option<&v1::Plan>) -> Failure {
    let Some(present) = present else {
        return Failure::NotFound(format!(
            "there is no draft for {day}; make one with `forenoon plan {day}`, or accept a proposal by its id"
        ));
    };
    Failure::NotFound(format!(
        "{} is published for {day} since {}, and there is no newer draft; make one with `forenoon plan {day}`, or \
         `forenoon replan {day}` where crews are at work",
        id(&present.name),
        desk.clock.day_hm(present.publish_time.as_ref())
    ))
}

fn tell(desk: &BranchDesk, plan: Option<v1::Plan>) -> Result<(), Failure> {
    let plan = plan.unwrap_or_default();
    desk.screen.answer(
        &plan,
        || plans(std::slice::from_ref(&plan), desk.times(Times::Days)),
        |_| plan_line(&plan),
    )
}

#[cfg(test)]
mod tests {
    use prost_types::Timestamp;

    use super::*;

    /// Guards `publish` typed twice: the draft that was made before the published plan is not put over it.
    #[test]
    fn a_draft_older_than_what_is_published_is_not_taken() {
        let at = |seconds| Some(Timestamp { seconds, nanos: 0 });
        let draft = |create_time| {
            Some(v1::Plan {
                name: "branches/north/plans/2027-04-20-2".to_owned(),
                create_time,
                ..v1::Plan::default()
            })
        };
        let present = v1::Plan {
            publish_time: at(100),
            ..v1::Plan::default()
        };
        assert!(newer(draft(at(90)), Some(&present)).is_none());
        assert!(newer(draft(at(110)), Some(&present)).is_some());
        assert!(newer(draft(at(90)), None).is_some());
        assert!(newer(None, Some(&present)).is_none());
    }
}
