//! `bench`, `diagnose`, `repair`, `inspect` and `release`: the mechanic's way from tag to release.

use forenoon_proto::v1;
use tonic::Code;

use super::photo::of;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::bench::{grid, page, queue_grid, services_page};
use crate::output::clock::Times;
use crate::output::screen::Format;

/// How `bench` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Without words: the tagged units, the most wanted first.\n\nExamples:\n  forenoon bench\n  forenoon bench t-42\n  forenoon bench --all --unit m-36"
)]
pub struct Args {
    /// Show this tag, by its number
    #[arg(value_name = "TAG")]
    tag: Option<String>,
    /// Released tags too
    #[arg(long)]
    all: bool,
    /// Only this unit's, by id
    #[arg(
        long,
        value_name = "UNIT",
        default_value = "",
        hide_default_value = true
    )]
    unit: String,
}

/// How `diagnose` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon diagnose t-42 --by moss \"bent blade\"\n  \
                        forenoon diagnose t-42 --by moss --waiting-for-parts --back \"fri 14:00\" \"bent spindle\""
)]
pub struct DiagnoseArgs {
    /// The tag, by its number
    #[arg(value_name = "TAG")]
    tag: String,
    /// The mechanic, by id
    #[arg(long, value_name = "WORKER")]
    by: String,
    /// What is wrong
    #[arg(value_name = "WORDS")]
    words: String,
    /// It waits for parts
    #[arg(long)]
    waiting_for_parts: bool,
    /// When it is expected back: a time, with its day where that is not today
    #[arg(long, value_name = "TIME")]
    back: Option<String>,
}

/// How `repair` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  forenoon repair t-42 --by moss \"new blade, torqued, balanced\""
)]
pub struct RepairArgs {
    /// The tag, by its number
    #[arg(value_name = "TAG")]
    tag: String,
    /// The mechanic, by id
    #[arg(long, value_name = "WORKER")]
    by: String,
    /// What was done
    #[arg(value_name = "WORDS")]
    words: String,
}

/// How `inspect` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon inspect t-42 --by fern --passed \"guards on, stops within the time given\"\n  \
                        forenoon inspect t-42 --by fern --failed \"still shakes\""
)]
pub struct InspectArgs {
    /// The tag, by its number
    #[arg(value_name = "TAG")]
    tag: String,
    /// The mechanic, by id
    #[arg(long, value_name = "WORKER")]
    by: String,
    /// What was inspected and how it was found
    #[arg(value_name = "WORDS")]
    words: String,
    /// It is fit
    #[arg(long, required_unless_present = "failed", conflicts_with = "failed")]
    passed: bool,
    /// It goes back to the bench
    #[arg(long)]
    failed: bool,
}

/// How `release` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Only a mechanic releases, and only after an inspection that was passed.\n\n\
                        Example:\n  forenoon release t-42 --by fern"
)]
pub struct ReleaseArgs {
    /// The tag, by its number
    #[arg(value_name = "TAG")]
    tag: String,
    /// The mechanic, by id
    #[arg(long, value_name = "WORKER")]
    by: String,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    if let Some(tag) = &args.tag {
        let request = v1::GetTagOutRequest {
            name: desk.name(Collection::TagOuts, tag),
        };
        return tell(&desk, desk.link.get_tag_out(request).await?.tag_out).await;
    }
    if !args.all && args.unit.is_empty() {
        let request = v1::ListBenchQueueRequest {
            parent: desk.parent(),
        };
        let answer = desk.link.list_bench_queue(request).await?;
        let tags = answer.items.iter().filter_map(|item| item.tag_out.as_ref());
        let photos = photos(&desk, tags).await?;
        return desk.screen.answer(
            &answer,
            || queue_grid(&answer.items, &photos, desk.times(Times::Days)),
            |width| {
                format!(
                    "{}{}",
                    queue_grid(&answer.items, &photos, desk.times(Times::Days)).table(width),
                    services_page(&answer.services_due)
                )
            },
        );
    }
    let tag_outs = desk
        .link
        .all_tag_outs(v1::ListTagOutsRequest {
            parent: desk.parent(),
            open_only: !args.all,
            unit: desk.name(Collection::Units, &args.unit),
            ..v1::ListTagOutsRequest::default()
        })
        .await?;
    let rows = grid(&tag_outs, desk.times(Times::Days));
    let answer = v1::ListTagOutsResponse {
        tag_outs,
        next_page_token: String::new(),
    };
    desk.screen.grid(&answer, &rows)
}

pub(super) async fn diagnose(desk: &Desk, args: DiagnoseArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let expected_return_time = match &args.back {
        Some(text) => Some(back(&desk, text)?),
        None => None,
    };
    let request = v1::RecordDiagnosisRequest {
        name: desk.name(Collection::TagOuts, &args.tag),
        mechanic: desk.name(Collection::Workers, &args.by),
        diagnosis: args.words,
        waiting_for_parts: args.waiting_for_parts,
        expected_return_time,
        etag: String::new(),
        request_id: request_id(),
    };
    tell(&desk, desk.link.record_diagnosis(request).await?.tag_out).await
}

/// Reads `14:00`, `fri 14:00`, `tomorrow 09:00` or a date and time.
fn back(desk: &BranchDesk, text: &str) -> Result<prost_types::Timestamp, Failure> {
    match text.trim().split_once(' ') {
        Some((day, time)) => desk.time(time.trim(), desk.day(day)?),
        None => desk.time(text, desk.today),
    }
}

pub(super) async fn repair(desk: &Desk, args: RepairArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::RecordRepairRequest {
        name: desk.name(Collection::TagOuts, &args.tag),
        mechanic: desk.name(Collection::Workers, &args.by),
        repair: args.words,
        etag: String::new(),
        request_id: request_id(),
    };
    tell(&desk, desk.link.record_repair(request).await?.tag_out).await
}

pub(super) async fn inspect(desk: &Desk, args: InspectArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::RecordInspectionRequest {
        name: desk.name(Collection::TagOuts, &args.tag),
        mechanic: desk.name(Collection::Workers, &args.by),
        inspection: args.words,
        passed: args.passed,
        etag: String::new(),
        request_id: request_id(),
    };
    tell(&desk, desk.link.record_inspection(request).await?.tag_out).await
}

pub(super) async fn release(desk: &Desk, args: &ReleaseArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::ReleaseTagOutRequest {
        name: desk.name(Collection::TagOuts, &args.tag),
        mechanic: desk.name(Collection::Workers, &args.by),
        etag: String::new(),
        request_id: request_id(),
    };
    tell(&desk, desk.link.release_tag_out(request).await?.tag_out).await
}

async fn tell(desk: &BranchDesk, tag: Option<v1::TagOut>) -> Result<(), Failure> {
    let tag = tag.unwrap_or_default();
    // What was to be done is done: that photographs cannot be listed now is no failure of it.
    let photos = photos(desk, [&tag]).await.unwrap_or_default();
    desk.screen.answer(
        &tag,
        || grid(std::slice::from_ref(&tag), desk.times(Times::Days)),
        |width| page(&tag, &photos, desk.clock, width),
    )
}

/// The photographs of tags. Programs are given the message alone, and a server of the version before lists none.
async fn photos(
    desk: &BranchDesk,
    tags: impl IntoIterator<Item = &v1::TagOut>,
) -> Result<Vec<v1::Photo>, Failure> {
    if desk.screen.format == Format::Json {
        return Ok(Vec::new());
    }
    let names = tags.into_iter().map(|tag| tag.name.clone()).collect();
    match of(desk, names).await {
        Err(Failure::Refused { status }) if status.code() == Code::Unimplemented => Ok(Vec::new()),
        listed => listed,
    }
}
