//! Finding plans: by name, or the one that counts for a day.

use chrono::NaiveDate;
use forenoon_proto::v1;

use crate::desk::{BranchDesk, Desk};
use crate::failure::{Failure, exit};
use crate::names::Collection;
use crate::output::clock::{Times, day_words};
use crate::output::records;
use crate::parse::day::wire;

/// Drafts and proposals of a day that are looked at, the newest first: far more than are asked for.
const DRAFTS_LOOKED_AT: i32 = 1_000;

/// A day, in the place where it reads best.
#[derive(Clone, Debug, clap::Args)]
pub(super) struct DayArg {
    /// The day: today, tomorrow, a weekday, +3 or a date [default: today]
    #[arg(value_name = "DAY", conflicts_with = "day")]
    positional: Option<String>,
    /// The same, by name
    #[arg(long, value_name = "DAY")]
    day: Option<String>,
}

impl DayArg {
    /// The day on the branch's calendar; today where none was named.
    pub(super) fn read(&self, desk: &BranchDesk) -> Result<NaiveDate, Failure> {
        let text = self.positional.as_deref().or(self.day.as_deref());
        desk.day(text.unwrap_or("today"))
    }
}

/// A plan: by id, or the one that counts for a day.
#[derive(Clone, Debug, clap::Args)]
pub(super) struct PlanArg {
    #[command(flatten)]
    day: DayArg,
    /// This plan, by id
    #[arg(long, value_name = "PLAN")]
    plan: Option<String>,
}

impl PlanArg {
    /// The plan that was named; else the day's published one; else its latest draft.
    pub(super) async fn find(&self, desk: &BranchDesk) -> Result<v1::Plan, Failure> {
        let day = self.day.read(desk)?;
        find(desk, self.plan.as_deref(), day).await
    }
}

/// How `plans` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon plans\n  forenoon plans --day tomorrow --state draft"
)]
pub struct ListArgs {
    /// Only this day's
    #[arg(long, value_name = "DAY")]
    day: Option<String>,
    /// Only plans in this state: draft, published, replaced or discarded
    #[arg(long, value_name = "STATE", value_parser = super::cells::word::<v1::PlanState>)]
    state: Option<v1::PlanState>,
}

pub(super) async fn list(desk: &Desk, args: &ListArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let day = match &args.day {
        Some(text) => Some(wire(desk.day(text)?)),
        None => None,
    };
    let plans = desk
        .link
        .all_plans(v1::ListPlansRequest {
            parent: desk.parent(),
            day,
            state: args.state.unwrap_or_default().into(),
            ..v1::ListPlansRequest::default()
        })
        .await?;
    let grid = records::plans(&plans, desk.times(Times::Days));
    let answer = v1::ListPlansResponse {
        plans,
        next_page_token: String::new(),
    };
    desk.screen.grid(&answer, &grid)
}

/// The plan that was named; else the day's published one; else its latest draft.
pub(super) async fn find(
    desk: &BranchDesk,
    named: Option<&str>,
    day: NaiveDate,
) -> Result<v1::Plan, Failure> {
    if let Some(named) = named {
        return get(desk, desk.name(Collection::Plans, named)).await;
    }
    if let Some(plan) = published(desk, day).await? {
        return Ok(plan);
    }
    let draft = latest_draft(desk, day)
        .await
        .map(|draft| draft.map(|plan| plan.name));
    get(desk, instead_of_published(draft, day)?).await
}

/// The draft to show where nothing is published. Drafts are the office's: for a crew there is nothing then.
fn instead_of_published(
    draft: Result<Option<String>, Failure>,
    day: NaiveDate,
) -> Result<String, Failure> {
    match draft {
        Ok(Some(name)) => Ok(name),
        Ok(None) => Err(no_plan(day)),
        Err(failure) if failure.exit_code() == exit::NOT_ALLOWED => Err(nothing_published(day)),
        Err(failure) => Err(failure),
    }
}

/// The published plan of a day, if there is one.
pub(super) async fn published(
    desk: &BranchDesk,
    day: NaiveDate,
) -> Result<Option<v1::Plan>, Failure> {
    let request = v1::GetPublishedPlanRequest {
        parent: desk.parent(),
        day: Some(wire(day)),
    };
    match desk.link.get_published_plan(request).await {
        Ok(answer) => Ok(answer.plan),
        Err(failure) if failure.exit_code() == exit::NOT_FOUND => Ok(None),
        Err(failure) => Err(failure),
    }
}

/// The latest draft of a day, without its stops, that was planned from nothing. Which proposal is wanted is for somebody to
/// say: the latest is not the best.
pub(super) async fn latest_draft(
    desk: &BranchDesk,
    day: NaiveDate,
) -> Result<Option<v1::Plan>, Failure> {
    let request = v1::ListPlansRequest {
        parent: desk.parent(),
        day: Some(wire(day)),
        state: v1::PlanState::Draft.into(),
        page_size: DRAFTS_LOOKED_AT,
        ..v1::ListPlansRequest::default()
    };
    let answer = desk.link.list_plans(request).await?;
    let mut drafts = answer.plans.into_iter();
    Ok(drafts.find(|plan| plan.base_plan.is_empty()))
}

pub(super) async fn get(desk: &BranchDesk, name: String) -> Result<v1::Plan, Failure> {
    let answer = desk.link.get_plan(v1::GetPlanRequest { name }).await?;
    Ok(answer.plan.unwrap_or_default())
}

/// There is nothing that crews go by that day.
fn nothing_published(day: NaiveDate) -> Failure {
    Failure::NotFound(format!(
        "there is no plan for {} yet: nothing is published",
        day_words(Some(&wire(day)))
    ))
}

/// There is nothing planned for that day.
pub(super) fn no_plan(day: NaiveDate) -> Failure {
    Failure::NotFound(format!(
        "there is no plan for {}; make one with `forenoon plan {day}`",
        day_words(Some(&wire(day)))
    ))
}

#[cfg(test)]
mod tests {
    use tonic::Status;

    use super::*;

    #[test]
    fn who_may_not_see_drafts_is_told_that_nothing_is_published() {
        let day = NaiveDate::from_ymd_opt(2027, 4, 20).unwrap();
        let denied = Status::permission_denied("may not call ListPlans").into();
        let failure = instead_of_published(Err(denied), day).unwrap_err();
        assert_eq!(failure.exit_code(), exit::NOT_FOUND);
        assert_eq!(
            failure.to_string(),
            "there is no plan for Tue 20 Apr 2027 yet: nothing is published"
        );
        let away = Status::unavailable("starting").into();
        let failure = instead_of_published(Err(away), day).unwrap_err();
        assert_eq!(failure.exit_code(), exit::UNREACHABLE);
        let draft = instead_of_published(Ok(Some("a".to_owned())), day);
        assert_eq!(draft.unwrap(), "a");
    }
}
