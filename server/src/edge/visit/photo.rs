//! Photographs in and out, in parts.
//!
//! An upload is gathered in memory, looked at, and stored in one transaction: one that breaks off leaves nothing. Memory
//! is bounded by how many may be gathered at a time, and a caller who falls silent or drips loses the turn.

use std::sync::Arc;
use std::time::Duration;

use forenoon_proto::v1;
use forenoon_proto::v1::upload_photo_request::Part;
use forenoon_store::value::MediaType;
use futures::stream;
use sha2::{Digest, Sha256};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tonic::{Request, Response, Status, Streaming};

use super::photo_list::subject_from_wire;
use super::service::VisitApi;
use crate::edge::caller::actor;
use crate::edge::checks::Checks;
use crate::edge::gathering::{Gathering, sized};
use crate::edge::status::status;
use crate::work::digest::hexadecimal;
use crate::work::photo::{BYTES_MAX, PART_BYTES_MAX, StorePhoto, Subject, what_it_is};
use crate::work::{self, Call, Error, Reason};

/// Uploads gathered at a time: with 20 MiB each, 160 MiB at most.
const UPLOADS_MAX: usize = 8;
/// The longest that one upload may take: 20 MiB at the 70 KiB a second of a poor line.
const UPLOAD_MAX: Duration = Duration::from_mins(5);
/// The longest wait for a turn.
const TURN_WAIT_MAX: Duration = Duration::from_secs(30);

/// Turns for uploads.
#[derive(Clone, Debug)]
pub struct Uploads(Arc<Semaphore>);

impl Default for Uploads {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(UPLOADS_MAX)))
    }
}

impl Uploads {
    async fn turn(&self) -> Result<OwnedSemaphorePermit, Error> {
        let turn = Arc::clone(&self.0).acquire_owned();
        tokio::time::timeout(TURN_WAIT_MAX, turn)
            .await
            .map_err(|_| Error::TooMuch {
                limit: format!("{UPLOADS_MAX} uploads of one server"),
            })?
            .map_err(|_| Error::GoingDown)
    }
}

/// What a photograph is of, checked.
struct Header {
    branch: String,
    subject: Subject,
    media_type: MediaType,
    size: usize,
}

impl VisitApi {
    pub(super) async fn upload(
        &self,
        request: Request<Streaming<v1::UploadPhotoRequest>>,
    ) -> Result<Response<v1::UploadPhotoResponse>, Status> {
        let actor = actor(request.metadata()).map_err(status)?;
        let mut parts = Gathering::new(request.into_inner(), UPLOAD_MAX, &self.0.going_down);
        let header = match parts.next().await?.and_then(|message| message.part) {
            Some(Part::Header(header)) => read_header(header),
            Some(Part::Chunk(_)) | None => Err(Error::violation(
                "header",
                Reason::Required,
                "the first part must say what the photograph is",
            )),
        }
        .map_err(status)?;
        let _turn = self.0.uploads.turn().await.map_err(status)?;
        parts.begin_anew();
        let mut bytes = Vec::with_capacity(header.size);
        while let Some(message) = parts.next().await? {
            // A message without a part says nothing; it is taken as an empty chunk.
            let part = message.part.unwrap_or_else(|| Part::Chunk(Vec::new()));
            add(&mut bytes, part, &header).map_err(status)?;
        }
        self.keep(actor, header, bytes).await.map_err(status)
    }

    async fn keep(
        &self,
        actor: String,
        header: Header,
        bytes: Vec<u8>,
    ) -> Result<Response<v1::UploadPhotoResponse>, Error> {
        let Header {
            branch,
            subject,
            media_type,
            size,
        } = header;
        if bytes.len() != size {
            return Err(Error::violation(
                "header.size_bytes",
                Reason::OutOfRange,
                format!("says {size}, and {} bytes came", bytes.len()),
            ));
        }
        if what_it_is(&bytes) != Some(media_type) {
            return Err(Error::violation(
                "header.media_type",
                Reason::Conflict,
                "is not what the bytes are, or the picture is not whole",
            ));
        }
        let call = Call {
            actor,
            branch: branch.clone(),
            method: "forenoon.v1.VisitService/UploadPhoto",
            retry: None,
        };
        let command = StorePhoto {
            branch,
            subject,
            media_type,
            sha256: hexadecimal(&Sha256::digest(&bytes)),
            bytes,
        };
        self.0
            .command(&call, &command, |sha256| v1::UploadPhotoResponse {
                sha256: sha256.clone(),
            })
            .await
    }

    pub(super) async fn download(
        &self,
        request: v1::DownloadPhotoRequest,
    ) -> Result<
        Response<<Self as v1::visit_service_server::VisitService>::DownloadPhotoStream>,
        Error,
    > {
        let v1::DownloadPhotoRequest { parent, sha256 } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let sha256 = checks.sha256("sha256", sha256);
        let (branch, sha256) = checks.finish(branch.zip(sha256))?;
        let photo = work::photo::get(self.0.database.read(), &branch, &sha256).await?;
        let database = self.0.database.clone();
        let parts = stream::try_unfold((0_i32, 0_usize), move |(position, sent)| {
            let database = database.clone();
            let photo = photo.clone();
            async move {
                let part = work::photo::part(database.read(), &photo, position, sent)
                    .await
                    .map_err(status)?;
                Ok(part.map(|chunk| {
                    let sent = sent + chunk.len();
                    let media_type = if position == 0 {
                        media_word(photo.media_type).to_owned()
                    } else {
                        String::new()
                    };
                    (
                        v1::DownloadPhotoResponse { media_type, chunk },
                        (position + 1, sent),
                    )
                }))
            }
        });
        Ok(Response::new(Box::pin(parts)))
    }
}

fn add(bytes: &mut Vec<u8>, part: Part, header: &Header) -> Result<(), Error> {
    let chunk = match part {
        Part::Chunk(chunk) => sized(chunk, PART_BYTES_MAX)?,
        Part::Header(_) => {
            return Err(Error::violation(
                "header",
                Reason::Duplicate,
                "comes once, before the bytes",
            ));
        }
    };
    if bytes.len() + chunk.len() > header.size {
        return Err(Error::violation(
            "header.size_bytes",
            Reason::OutOfRange,
            format!("says {}, and more bytes came", header.size),
        ));
    }
    bytes.extend_from_slice(&chunk);
    Ok(())
}

fn read_header(header: v1::PhotoHeader) -> Result<Header, Error> {
    let v1::PhotoHeader {
        parent,
        subject,
        media_type,
        size_bytes,
    } = header;
    let mut checks = Checks::new();
    let header = checks.within("header", |checks| {
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let known = branch.clone().unwrap_or_default();
        let subject = subject_from_wire(checks, "subject", &known, &subject);
        let media_type = [MediaType::Jpeg, MediaType::Png]
            .into_iter()
            .find(|kind| media_word(*kind) == media_type);
        let media_type = media_type.or_else(|| {
            checks.fault(
                "media_type",
                Reason::OutOfRange,
                "is not taken; send image/jpeg or image/png",
            )
        });
        let size = usize::try_from(size_bytes)
            .ok()
            .filter(|size| (1..=BYTES_MAX).contains(size))
            .or_else(|| {
                checks.fault(
                    "size_bytes",
                    Reason::OutOfRange,
                    format!("is {size_bytes}; give 1 to {BYTES_MAX}"),
                )
            });
        Some(Header {
            branch: branch?,
            subject: subject?,
            media_type: media_type?,
            size: size?,
        })
    });
    checks.finish(header)
}

pub(super) const fn media_word(kind: MediaType) -> &'static str {
    match kind {
        MediaType::Jpeg => "image/jpeg",
        MediaType::Png => "image/png",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn who_gets_no_turn_is_told_so_in_time() {
        let uploads = Uploads::default();
        let mut turns = Vec::new();
        for _ in 0..UPLOADS_MAX {
            turns.push(uploads.turn().await.expect("a turn"));
        }
        let refused = tokio::time::timeout(2 * TURN_WAIT_MAX, uploads.turn()).await;
        let refused = refused.expect("an answer");
        assert!(matches!(refused, Err(Error::TooMuch { .. })), "{refused:?}");
        turns.pop();
        assert!(uploads.turn().await.is_ok());
    }
}
