//! `cancel`: a job is called off.

use forenoon_proto::v1;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{Collection, id, request_id};
use crate::output::cells::job::list;

/// How `cancel` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "A published plan that has the job wants a re-plan afterwards.\n\n\
                        Example:\n  forenoon cancel j-9 --reason \"customer moved it to May\""
)]
pub struct CancelArgs {
    /// The job, by id
    #[arg(value_name = "JOB")]
    job: String,
    /// Why, in words
    #[arg(long, value_name = "WORDS")]
    reason: String,
}

pub(super) async fn cancel(desk: &Desk, args: CancelArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::CancelJobRequest {
        name: desk.name(Collection::Jobs, &args.job),
        reason: args.reason,
        etag: String::new(),
        request_id: request_id(),
    };
    let job = desk.link.cancel_job(request).await?.job.unwrap_or_default();
    desk.screen.answer(
        &job,
        || list(std::slice::from_ref(&job)),
        |_| format!("{} called off: {}\n", id(&job.name), job.cancel_reason),
    )
}
