//! `walk` and `photo`: walks of the site, and photographs.

use std::path::{Path, PathBuf};

use forenoon_proto::v1;

use super::cells::word;
use super::visit::{CrewArg, tell, time};
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::clock::Times;
use crate::output::grid::Grid;
use crate::output::photos::photos;

/// Most bytes of a photograph, as the contract has it.
const BYTES_MAX: u64 = 20 * 1024 * 1024;
/// Most subjects of one list of photographs, as the contract has it.
const SUBJECTS_MAX: usize = 100;

/// How `walk` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "OUTCOME is met, not-home (give a photograph) or crew-only.\n\n\
                  Examples:\n  forenoon walk j-alder before met -c bluestem\n  \
                  forenoon walk j-alder after not-home --photo lawn.jpg -c bluestem --note \"left a card\""
)]
pub struct WalkArgs {
    /// The job, by id
    #[arg(value_name = "JOB")]
    job: String,
    /// Before the work or after it
    #[arg(value_name = "before|after", value_enum, hide_possible_values = true)]
    side: Side,
    /// Whether the customer walked along
    #[arg(value_name = "OUTCOME", value_parser = word::<v1::WalkthroughOutcome>)]
    outcome: v1::WalkthroughOutcome,
    #[command(flatten)]
    crew: CrewArg,
    /// A photograph, a JPEG or PNG file; once for each
    #[arg(long, value_name = "FILE")]
    photo: Vec<PathBuf>,
    /// What was seen or agreed
    #[arg(
        long,
        value_name = "WORDS",
        default_value = "",
        hide_default_value = true
    )]
    note: String,
    /// When [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

/// Which walk it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Side {
    /// Before the work.
    Before,
    /// After the work.
    After,
}

/// How `photo` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Without a file: lists the photographs there are of it.\n\n\
                  Examples:\n  forenoon photo gate.jpg --job j-alder\n  forenoon photo leak.png --tag t-42\n  \
                  forenoon photo --tag t-42\n  forenoon photo --get 3a7bd3e2360a... --to gate.jpg"
)]
#[command(group = clap::ArgGroup::new("subject").required(true).args(["job", "tag", "case", "get"]))]
pub struct PhotoArgs {
    /// A JPEG or PNG file of 20 MiB at most; several may be named
    #[arg(value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The job it is of, by id
    #[arg(long, value_name = "JOB")]
    job: Option<String>,
    /// The tag it is of
    #[arg(long, value_name = "TAG")]
    tag: Option<String>,
    /// The case it is of
    #[arg(long, value_name = "CASE")]
    case: Option<String>,
    /// Read a photograph back, by its SHA-256
    #[arg(long, value_name = "SHA256", requires = "to", conflicts_with = "files")]
    get: Option<String>,
    /// Where to write it
    #[arg(long, value_name = "FILE", requires = "get")]
    to: Option<PathBuf>,
}

pub(super) async fn walk(desk: &Desk, args: WalkArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let job = desk.name(Collection::Jobs, &args.job);
    let mut photos = Vec::new();
    for file in &args.photo {
        photos.push(upload(&desk, &job, file).await?.sha256);
    }
    let request = v1::RecordWalkthroughRequest {
        job,
        crew: desk.name(Collection::Crews, &args.crew.crew),
        walkthrough: Some(v1::Walkthrough {
            before_work: args.side == Side::Before,
            outcome: args.outcome.into(),
            walk_time: time(&desk, args.at.as_deref())?,
            note: args.note,
            photos,
        }),
        request_id: request_id(),
    };
    tell(&desk, desk.link.record_walkthrough(request).await?.visit)
}

pub(super) async fn photo(desk: &Desk, args: &PhotoArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    if let (Some(sha256), Some(to)) = (&args.get, &args.to) {
        return fetch(&desk, sha256, to).await;
    }
    let named = [
        (Collection::Jobs, &args.job),
        (Collection::TagOuts, &args.tag),
        (Collection::Cases, &args.case),
    ];
    let subject = named
        .into_iter()
        .find_map(|(collection, id)| Some(desk.name(collection, id.as_deref()?)))
        .unwrap_or_default();
    if args.files.is_empty() {
        return list(&desk, subject).await;
    }
    for file in &args.files {
        let answer = upload(&desk, &subject, file).await?;
        let row = || {
            let mut grid = Grid::new(&["file", "photo"]);
            grid.row([file.display().to_string(), answer.sha256.clone()]);
            grid
        };
        desk.screen.answer(&answer, row, |_| {
            format!("{} is stored as {}\n", file.display(), answer.sha256)
        })?;
    }
    Ok(())
}

async fn list(desk: &BranchDesk, subject: String) -> Result<(), Failure> {
    let answer = v1::ListPhotosResponse {
        photos: of(desk, vec![subject]).await?,
        next_page_token: String::new(),
    };
    let rows = photos(&answer.photos, desk.times(Times::Days));
    desk.screen.grid(&answer, &rows)
}

/// The photographs there are of some jobs, tags and cases.
pub(super) async fn of(
    desk: &BranchDesk,
    subjects: Vec<String>,
) -> Result<Vec<v1::Photo>, Failure> {
    let mut found = Vec::new();
    for some in subjects.chunks(SUBJECTS_MAX) {
        let request = v1::ListPhotosRequest {
            parent: desk.parent(),
            subjects: some.to_vec(),
            ..v1::ListPhotosRequest::default()
        };
        found.extend(desk.link.all_photos(request).await?);
    }
    Ok(found)
}

async fn fetch(desk: &BranchDesk, sha256: &str, to: &Path) -> Result<(), Failure> {
    let request = v1::DownloadPhotoRequest {
        parent: desk.parent(),
        sha256: sha256.to_owned(),
    };
    let (_, bytes) = desk.link.download_photo(request).await?;
    if !is_whole(&bytes) {
        return Err(Failure::Other(format!(
            "the photograph {sha256} did not come whole; nothing is written"
        )));
    }
    std::fs::write(to, bytes).map_err(|cause| fault(to, &cause))?;
    desk.screen.say(&format!("written to {}", to.display()));
    Ok(())
}

/// Sends a file as a photograph of something.
pub(super) async fn upload(
    desk: &BranchDesk,
    subject: &str,
    file: &Path,
) -> Result<v1::UploadPhotoResponse, Failure> {
    let size = std::fs::metadata(file)
        .map_err(|cause| fault(file, &cause))?
        .len();
    if size > BYTES_MAX {
        return Err(Failure::BadInput(format!(
            "{} has {size} bytes; {BYTES_MAX} are the most",
            file.display()
        )));
    }
    let bytes = std::fs::read(file).map_err(|cause| fault(file, &cause))?;
    let media_type = media_type(&bytes)
        .ok_or_else(|| Failure::BadInput(format!("{} is neither JPEG nor PNG", file.display())))?;
    let header = v1::PhotoHeader {
        parent: desk.parent(),
        subject: subject.to_owned(),
        media_type: media_type.to_owned(),
        size_bytes: i64::try_from(bytes.len()).unwrap_or(i64::MAX),
    };
    desk.link.upload_photo(header, &bytes).await
}

/// What to announce bytes as, by how they begin. The server looks closely.
fn media_type(bytes: &[u8]) -> Option<&'static str> {
    if bytes.starts_with(&[0xFF, 0xD8]) {
        Some("image/jpeg")
    } else if bytes.starts_with(b"\x89PNG") {
        Some("image/png")
    } else {
        None
    }
}

/// Whether what came has the end of a picture. Servers tell where a photograph goes while it is read; those of earlier
/// versions did not.
fn is_whole(bytes: &[u8]) -> bool {
    match media_type(bytes) {
        Some("image/jpeg") => bytes.windows(2).any(|pair| pair == [0xFF, 0xD9]),
        Some(_) => bytes.ends_with(b"IEND\xAE\x42\x60\x82"),
        None => false,
    }
}

fn fault(file: &Path, cause: &std::io::Error) -> Failure {
    Failure::File {
        path: file.display().to_string(),
        cause: cause.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_announced_by_how_they_begin() {
        assert_eq!(media_type(b"\xff\xd8\xff\xe0"), Some("image/jpeg"));
        assert_eq!(media_type(b"\x89PNG\r\n"), Some("image/png"));
        assert_eq!(media_type(b"GIF89a"), None);
        assert_eq!(media_type(b""), None);
    }

    #[test]
    fn what_came_in_part_is_told() {
        let jpeg = b"\xff\xd8\xff\xe0\0\x10JFIF\0\xff\xd9";
        let png = b"\x89PNG\r\n\x1a\n\0\0\0\0IEND\xae\x42\x60\x82";
        for whole in [&jpeg[..], png] {
            assert!(is_whole(whole));
            for length in 0..whole.len() {
                assert!(!is_whole(&whole[..length]), "{length} of {whole:?}");
            }
        }
    }
}
