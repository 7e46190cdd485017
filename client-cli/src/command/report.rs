//! `load`, `depart`, `arrive`, `pause`, `resume` and `not-done`: a crew lead's short reports.
//!
//! The crew is said once, with `FORENOON_CREW`; then a report is a word and a job.

use chrono::NaiveDate;
use forenoon_proto::v1;

use super::show_plan::find;
use super::visit::{CrewArg, StepArg, task_actuals, tell, time};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{Collection, id, ids, plan_day, request_id};
use crate::output::grid::Grid;

/// How `load` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Say which units are not aboard; the day then wants a re-plan.\n\n\
                  Examples:\n  forenoon load -c bluestem\n  forenoon load -c bluestem --missing m-36"
)]
pub struct LoadArgs {
    #[command(flatten)]
    crew: CrewArg,
    /// A unit of the load-out that is not aboard, by id; once for each
    #[arg(long, short, value_name = "UNIT")]
    missing: Vec<String>,
    /// The plan, by id [default: today's published one]
    #[arg(long, value_name = "PLAN")]
    plan: Option<String>,
    /// When [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

/// How `depart`, `arrive` and `resume` are written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Late reports are fine: say when it was. The same told twice is heard once.\n\n\
                  Examples:\n  forenoon depart j-alder -c bluestem\n  forenoon arrive j-alder -c bluestem --at 07:04"
)]
pub struct StepArgs {
    #[command(flatten)]
    step: StepArg,
}

/// How `pause` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  forenoon pause j-alder rain -c bluestem")]
pub struct PauseArgs {
    #[command(flatten)]
    step: StepArg,
    /// Why
    #[arg(value_name = "WHY", default_value = "", hide_default_value = true)]
    why: String,
}

/// How `not-done` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "The job is open again for another day.\n\n\
                  Examples:\n  forenoon not-done j-alder \"gate locked, nobody home\" -c bluestem\n  \
                  forenoon not-done j-alder \"thunder\" -c bluestem --task mow=\"25 min:m-36\"")]
pub struct NotDoneArgs {
    #[command(flatten)]
    step: StepArg,
    /// Why
    #[arg(value_name = "WHY")]
    why: String,
    /// What was worked at a task until then, and with which units; once for each task
    #[arg(long = "task", value_name = "TASK=TIME[:UNIT+UNIT]")]
    tasks: Vec<String>,
}

pub(super) async fn load(desk: &Desk, args: &LoadArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let plan = match &args.plan {
        Some(plan) => desk.name(Collection::Plans, plan),
        None => find(&desk, None, desk.today).await?.name,
    };
    let crew = desk.name(Collection::Crews, &args.crew.crew);
    let missing: Vec<String> = args
        .missing
        .iter()
        .map(|unit| desk.name(Collection::Units, unit))
        .collect();
    let answer = desk
        .link
        .confirm_load(v1::ConfirmLoadRequest {
            plan: plan.clone(),
            crew: crew.clone(),
            missing_units: missing.clone(),
            load_time: time(&desk, args.at.as_deref())?,
            request_id: request_id(),
        })
        .await?;
    let row = || {
        let mut grid = Grid::new(&["plan", "crew", "missing", "re-plan"]);
        grid.row([
            id(&plan).to_owned(),
            id(&crew).to_owned(),
            ids(&missing, ";"),
            if answer.wants_replan { "yes" } else { "no" }.to_owned(),
        ]);
        grid
    };
    desk.screen.answer(&answer, row, |_| {
        let day = plan_day(&plan).unwrap_or(desk.today);
        if answer.wants_replan && missing.is_empty() {
            with_tagged(id(&crew), day)
        } else if answer.wants_replan {
            without(id(&crew), &ids(&missing, ", "), day)
        } else {
            format!("{} loaded, everything aboard\n", id(&crew))
        }
    })
}

/// All is aboard, also what was tagged out since: what to do.
fn with_tagged(crew: &str, day: NaiveDate) -> String {
    format!(
        "{crew} loaded, and what is aboard was tagged out since: leave it in the yard and ask for a re-plan: \
         forenoon replan {day} --cause \"{crew} loaded what is tagged out\"\n"
    )
}

/// What is missing, and the command that asks for a re-plan of that day.
fn without(crew: &str, units: &str, day: NaiveDate) -> String {
    format!(
        "{crew} loaded without {units}; ask for a re-plan: \
         forenoon replan {day} --cause \"{crew} is without {units}\"\n"
    )
}

pub(super) async fn depart(desk: &Desk, args: &StepArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let (job, crew, event_time) = args.step.read(&desk)?;
    let request = v1::DepartForJobRequest {
        job,
        crew,
        event_time,
        request_id: request_id(),
    };
    tell(&desk, desk.link.depart_for_job(request).await?.visit)
}

pub(super) async fn arrive(desk: &Desk, args: &StepArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let (job, crew, event_time) = args.step.read(&desk)?;
    let request = v1::ArriveAtJobRequest {
        job,
        crew,
        event_time,
        request_id: request_id(),
    };
    tell(&desk, desk.link.arrive_at_job(request).await?.visit)
}

pub(super) async fn resume(desk: &Desk, args: &StepArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let (job, crew, event_time) = args.step.read(&desk)?;
    let request = v1::ResumeJobRequest {
        job,
        crew,
        event_time,
        request_id: request_id(),
    };
    tell(&desk, desk.link.resume_job(request).await?.visit)
}

pub(super) async fn pause(desk: &Desk, args: PauseArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let (job, crew, event_time) = args.step.read(&desk)?;
    let request = v1::PauseJobRequest {
        job,
        crew,
        event_time,
        request_id: request_id(),
        reason: args.why,
    };
    tell(&desk, desk.link.pause_job(request).await?.visit)
}

pub(super) async fn not_done(desk: &Desk, args: NotDoneArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let (job, crew, event_time) = args.step.read(&desk)?;
    let request = v1::ReportNotDoneRequest {
        job,
        crew,
        event_time,
        request_id: request_id(),
        reason: args.why,
        task_actuals: task_actuals(&desk, &args.tasks)?,
    };
    tell(&desk, desk.link.report_not_done(request).await?.visit)
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;
    use crate::command::Cli;

    #[test]
    fn the_re_plan_that_is_offered_can_be_asked_for_as_it_stands() {
        let day = NaiveDate::from_ymd_opt(2027, 4, 21).unwrap();
        let said = without("bluestem", "m-36, p-1", day);
        let command = said.split_once("re-plan: ").unwrap().1.trim();
        assert_eq!(
            command,
            "forenoon replan 2027-04-21 --cause \"bluestem is without m-36, p-1\""
        );
        let (words, cause) = command.split_once(" \"").unwrap();
        let words = words.split(' ').chain([cause.trim_end_matches('"')]);
        assert!(Cli::try_parse_from(words).is_ok(), "{command}");
    }
}
