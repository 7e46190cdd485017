//! `reopen`: the fault is still there.

use forenoon_proto::v1;

use super::tag_out::consequences;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::bench::{grid, page};
use crate::output::clock::Times;

/// How `reopen` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "The unit is out at once, under a new number; the released tag stays as it was.\n\n\
                        Example:\n  forenoon reopen t-42 --by ada \"shakes again under load\""
)]
pub struct Args {
    /// The released tag, by its number
    #[arg(value_name = "TAG")]
    tag: String,
    /// Who saw it, a worker's id
    #[arg(long, value_name = "WORKER")]
    by: String,
    /// What was seen
    #[arg(value_name = "WORDS")]
    words: String,
}

pub(super) async fn run(desk: &Desk, args: Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::ReopenTagOutRequest {
        name: desk.name(Collection::TagOuts, &args.tag),
        reopened_by: desk.name(Collection::Workers, &args.by),
        description: args.words,
        request_id: request_id(),
    };
    let answer = desk.link.reopen_tag_out(request).await?;
    let tag = answer.tag_out.clone().unwrap_or_default();
    desk.screen.answer(
        &answer,
        || grid(std::slice::from_ref(&tag), desk.times(Times::Days)),
        |width| {
            format!(
                "{}{}",
                page(&tag, &[], desk.clock, width),
                consequences(&desk, &tag, &answer.affected_plans)
            )
        },
    )
}
