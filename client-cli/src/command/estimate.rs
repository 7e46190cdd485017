//! `estimate`: what a job would take and cost, with its working.

use forenoon_proto::v1;

use super::cells;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::import::record::job::job as read_job;
use crate::import::table;
use crate::names::{Collection, id};
use crate::output::estimate::{grid, page};

/// How `estimate` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Takes a stored job, or a site with columns of jobs; a job with columns asks what if:\n\
                        work that was composed is composed for it, and work that people wrote stays.\n\
                        `forenoon job add --columns` lists the columns. Stores nothing.\n\n\
                        Examples:\n  forenoon estimate j-weld\n  \
                        forenoon estimate j-weld --crew bluestem --unit m-36\n  \
                        forenoon estimate site=weld turf_height=\"40 in\" first_service=yes\n  \
                        forenoon estimate j-weld wet=yes"
)]
pub struct Args {
    /// A job's id, columns with their values, or both
    #[arg(value_name = "JOB | COLUMN=VALUE", required = true)]
    what: Vec<String>,
    /// The crew that would do it, by id
    #[arg(
        long,
        value_name = "CREW",
        default_value = "",
        hide_default_value = true
    )]
    crew: String,
    /// A unit that would be used, by id; may be given several times
    #[arg(long = "unit", value_name = "UNIT")]
    units: Vec<String>,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let (words, ids): (Vec<String>, Vec<String>) = args
        .what
        .iter()
        .cloned()
        .partition(|word| word.contains('='));
    if ids.len() > 1 {
        return Err(Failure::Usage(format!(
            "one job at a time: {} were named",
            ids.join(" and ")
        )));
    }
    let stored = match ids.first() {
        Some(job) => Some(stored_job(&desk, job).await?),
        None => None,
    };
    let title = stored.as_ref().map_or_else(String::new, |job| {
        format!(
            "ESTIMATE {}, {} ({})",
            job.display_name,
            id(&job.site),
            id(&job.name)
        )
    });
    let (title, job) = match stored {
        Some(job) if words.is_empty() => (
            title,
            v1::Job {
                name: job.name,
                ..v1::Job::default()
            },
        ),
        stored => what_if(&desk, stored, &title, &words)?,
    };
    let request = v1::EstimateJobRequest {
        parent: desk.parent(),
        job: Some(job),
        crew: desk.name(Collection::Crews, &args.crew),
        units: args
            .units
            .iter()
            .map(|unit| desk.name(Collection::Units, unit))
            .collect(),
    };
    let estimate = desk
        .link
        .estimate_job(request)
        .await?
        .estimate
        .unwrap_or_default();
    desk.screen.answer(
        &estimate,
        || grid(&estimate),
        |width| page(&title, &estimate, width),
    )
}

async fn stored_job(desk: &BranchDesk, job: &str) -> Result<v1::Job, Failure> {
    let request = v1::GetJobRequest {
        name: desk.name(Collection::Jobs, job),
    };
    Ok(desk.link.get_job(request).await?.job.unwrap_or_default())
}

/// A job as it would be with these columns. A stored one goes by its name, so that the server knows whether another state of
/// the site asks for other work, or the work is as people wrote it.
fn what_if(
    desk: &BranchDesk,
    stored: Option<v1::Job>,
    title: &str,
    words: &[String],
) -> Result<(String, v1::Job), Failure> {
    let mut job = stored.unwrap_or_default();
    let row = cells::row(&table::JOBS, words)?;
    cells::apply(&row, &desk.context(), &mut job, read_job)?;
    let title = if title.is_empty() {
        format!("ESTIMATE for {}", id(&job.site))
    } else {
        format!("{title}, with {}", words.join(", "))
    };
    Ok((title, job))
}
