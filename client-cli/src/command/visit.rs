//! `start`, `finish` and `visits`: what crews report.

use forenoon_proto::v1;

use super::show_plan::{DayArg, find};
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::clock::Times;
use crate::output::records::visits;
use crate::parse::measure::stretch;

/// Whose report it is. A crew lead says it once, in the environment.
#[derive(Clone, Debug, clap::Args)]
pub(super) struct CrewArg {
    /// The crew, by id
    #[arg(long, short, env = "FORENOON_CREW", value_name = "CREW")]
    pub(super) crew: String,
}

/// What every report on a job says: which job, which crew, when.
#[derive(Debug, clap::Args)]
pub(super) struct StepArg {
    /// The job, by id
    #[arg(value_name = "JOB")]
    job: String,
    #[command(flatten)]
    crew: CrewArg,
    /// When [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

impl StepArg {
    /// The names of the job and the crew, and the time.
    pub(super) fn read(
        &self,
        desk: &BranchDesk,
    ) -> Result<(String, String, Option<prost_types::Timestamp>), Failure> {
        Ok((
            desk.name(Collection::Jobs, &self.job),
            desk.name(Collection::Crews, &self.crew.crew),
            time(desk, self.at.as_deref())?,
        ))
    }
}

/// How `start` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Refused (exit code 5) where a unit the plan gives the job is tagged out.\n\n\
                        Examples:\n  forenoon start j-alder --crew bluestem\n  \
                        forenoon start j-alder --crew bluestem --at 07:06"
)]
pub struct StartArgs {
    #[command(flatten)]
    step: StepArg,
}

/// How `finish` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon finish j-alder --crew bluestem --bags 3\n  \
                        forenoon finish j-alder --crew bluestem --at 07:58 --task mow=\"25 min\" \\\n      \
                        --task edge=\"12 min:ph-1+ed-2\" --note \"gate latch is broken\""
)]
pub struct FinishArgs {
    #[command(flatten)]
    step: StepArg,
    /// Bags of clippings or brush taken away
    #[arg(long, value_name = "NUMBER", default_value_t = 0, value_parser = clap::value_parser!(i32).range(0..=1000))]
    bags: i32,
    /// What the office should know
    #[arg(
        long,
        value_name = "WORDS",
        default_value = "",
        hide_default_value = true
    )]
    note: String,
    /// What a task took, and with which units; once for each task
    #[arg(long = "task", value_name = "TASK=TIME[:UNIT+UNIT]")]
    tasks: Vec<String>,
}

/// How `visits` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  forenoon visits\n  forenoon visits --day yesterday")]
pub struct ListArgs {
    #[command(flatten)]
    day: DayArg,
}

pub(super) async fn start(desk: &Desk, args: &StartArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let (job, crew, start_time) = args.step.read(&desk)?;
    let request = v1::StartJobRequest {
        job,
        crew,
        start_time,
        request_id: request_id(),
    };
    let visit = desk.link.start_job(request).await?.visit;
    tell(&desk, visit)
}

pub(super) async fn finish(desk: &Desk, args: FinishArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let task_actuals = task_actuals(&desk, &args.tasks)?;
    let (job, crew, finish_time) = args.step.read(&desk)?;
    let request = v1::FinishJobRequest {
        job,
        crew,
        finish_time,
        task_actuals,
        bags: args.bags,
        note: args.note,
        request_id: request_id(),
    };
    let visit = desk.link.finish_job(request).await?.visit;
    tell(&desk, visit)
}

/// Reads what tasks took.
pub(super) fn task_actuals(
    desk: &BranchDesk,
    written: &[String],
) -> Result<Vec<v1::TaskActual>, Failure> {
    let unit = |unit: &str| desk.name(Collection::Units, unit);
    let read = written.iter().map(|task| task_actual(task, unit));
    Ok(read.collect::<Result<_, _>>()?)
}

/// Reads what a task took: `mow=25 min` or `mow=25 min:ph-1+ed-2`.
fn task_actual(written: &str, unit: impl Fn(&str) -> String) -> Result<v1::TaskActual, String> {
    let (task, rest) = written
        .split_once('=')
        .ok_or_else(|| format!("\"{written}\" is not written as TASK=TIME, like mow=\"25 min\""))?;
    let (time, units) = rest.split_once(':').unwrap_or((rest, ""));
    Ok(v1::TaskActual {
        task_id: task.trim().to_owned(),
        duration: Some(stretch(time)?),
        units: units
            .split('+')
            .map(str::trim)
            .filter(|name| !name.is_empty())
            .map(unit)
            .collect(),
    })
}

pub(super) async fn list(desk: &Desk, args: &ListArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let day = args.day.read(&desk)?;
    let plan = find(&desk, None, day).await?;
    let answer = desk
        .link
        .list_visits(v1::ListVisitsRequest { plan: plan.name })
        .await?;
    desk.screen
        .grid(&answer, &visits(&answer.visits, desk.times(Times::Hours)))
}

/// A time on today's clock; none for now.
pub(super) fn time(
    desk: &BranchDesk,
    text: Option<&str>,
) -> Result<Option<prost_types::Timestamp>, Failure> {
    text.map(|text| desk.time(text, desk.today)).transpose()
}

/// Shows the visit as it stands now.
pub(super) fn tell(desk: &BranchDesk, visit: Option<v1::Visit>) -> Result<(), Failure> {
    let visit = visit.unwrap_or_default();
    let grid = visits(std::slice::from_ref(&visit), desk.times(Times::Hours));
    desk.screen.grid(&visit, &grid)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tasks_say_what_they_took_and_with_what() {
        let read = |text| task_actual(text, |unit| format!("u/{unit}"));
        let edge = read("edge=12 min:ph-1+ed-2").unwrap();
        assert_eq!(edge.task_id, "edge");
        assert_eq!(edge.duration.map(|duration| duration.seconds), Some(720));
        assert_eq!(edge.units, ["u/ph-1", "u/ed-2"]);
        assert!(read("mow=25 min").unwrap().units.is_empty());
        assert!(read("mow").is_err());
        assert!(read("mow=25").unwrap_err().contains("no unit"));
    }
}
