//! `damage`, `callback`, `complaint` and `case`: what went wrong at a customer's, and how it ended.

use std::path::PathBuf;

use forenoon_proto::v1;

use super::photo::upload;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{Collection, id, request_id};
use crate::output::cases::cases;
use crate::output::clock::Times;

/// What every case is opened with.
#[derive(Debug, clap::Args)]
struct Told {
    /// The job it came of, by id
    #[arg(value_name = "JOB")]
    job: String,
    /// What happened
    #[arg(value_name = "WORDS")]
    words: String,
    /// Who told it
    #[arg(
        long,
        value_name = "NAME",
        default_value = "",
        hide_default_value = true
    )]
    by: String,
    /// A photograph, a JPEG or PNG file; once for each
    #[arg(long, value_name = "FILE")]
    photo: Vec<PathBuf>,
}

/// How `damage` and `complaint` are written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Damage becomes a hazard that every later sheet for the site shows.\n\n\
                  Examples:\n  forenoon damage j-alder \"line head broke the west window\" --by ada --photo window.jpg"
)]
pub struct OpenArgs {
    #[command(flatten)]
    told: Told,
    /// What caused it
    #[arg(
        long,
        value_name = "WORDS",
        default_value = "",
        hide_default_value = true
    )]
    cause: String,
}

/// How `callback` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Makes a job to do the work again within a week, at no charge.\n\n\
                  Examples:\n  forenoon callback j-alder \"strip left along the fence\" \"mower too wide\""
)]
pub struct CallbackArgs {
    #[command(flatten)]
    told: Told,
    /// Why it must be done again
    #[arg(value_name = "WHY")]
    why: String,
}

/// How `case` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon case\n  forenoon case c-7\n  forenoon case c-7 --close \"window replaced\""
)]
pub struct CaseArgs {
    /// The case; the open ones where left out
    #[arg(value_name = "CASE")]
    case: Option<String>,
    /// How it ended; closes the case
    #[arg(long, value_name = "WORDS", requires = "case")]
    close: Option<String>,
    /// Closed ones too
    #[arg(long, conflicts_with = "case")]
    all: bool,
}

pub(super) async fn damage(desk: &Desk, args: OpenArgs) -> Result<(), Failure> {
    open(desk, v1::CaseKind::Damage, args.told, args.cause).await
}

pub(super) async fn complaint(desk: &Desk, args: OpenArgs) -> Result<(), Failure> {
    open(desk, v1::CaseKind::Complaint, args.told, args.cause).await
}

pub(super) async fn callback(desk: &Desk, args: CallbackArgs) -> Result<(), Failure> {
    open(desk, v1::CaseKind::Callback, args.told, args.why).await
}

async fn open(desk: &Desk, kind: v1::CaseKind, told: Told, cause: String) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let job = desk.name(Collection::Jobs, &told.job);
    let mut photos = Vec::new();
    for file in &told.photo {
        photos.push(upload(&desk, &job, file).await?.sha256);
    }
    let request = v1::OpenCaseRequest {
        parent: desk.parent(),
        case: Some(v1::Case {
            kind: kind.into(),
            job,
            description: told.words,
            cause,
            photos,
            reported_by: told.by,
            ..v1::Case::default()
        }),
        request_id: request_id(),
    };
    let opened = desk.link.open_case(request).await?.case.unwrap_or_default();
    let grid = cases(std::slice::from_ref(&opened), desk.times(Times::Days));
    desk.screen.answer(
        &opened,
        || grid,
        |_| {
            let short = id(&opened.name);
            if !opened.hazard_id.is_empty() {
                format!("{short} opened; every later sheet for the site warns of it\n")
            } else if opened.return_job.is_empty() {
                format!("{short} opened\n")
            } else {
                let returning = id(&opened.return_job);
                format!("{short} opened; {returning} does the work again at no charge\n")
            }
        },
    )
}

pub(super) async fn case(desk: &Desk, args: CaseArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let Some(case) = &args.case else {
        let found = desk
            .link
            .all_cases(v1::ListCasesRequest {
                parent: desk.parent(),
                open_only: !args.all,
                ..v1::ListCasesRequest::default()
            })
            .await?;
        let grid = cases(&found, desk.times(Times::Days));
        let answer = v1::ListCasesResponse {
            cases: found,
            ..v1::ListCasesResponse::default()
        };
        return desk.screen.grid(&answer, &grid);
    };
    let name = desk.name(Collection::Cases, case);
    let case = match args.close {
        Some(resolution) => {
            let request = v1::CloseCaseRequest {
                name,
                resolution,
                etag: String::new(),
                request_id: request_id(),
            };
            desk.link.close_case(request).await?.case
        }
        None => desk.link.get_case(v1::GetCaseRequest { name }).await?.case,
    }
    .unwrap_or_default();
    let grid = cases(std::slice::from_ref(&case), desk.times(Times::Days));
    desk.screen.grid(&case, &grid)
}
