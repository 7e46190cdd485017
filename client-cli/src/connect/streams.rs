//! Calls with a stream on one side.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use forenoon_proto::v1;
use forenoon_proto::v1::day_service_client::DayServiceClient;
use forenoon_proto::v1::import_branch_request;
use forenoon_proto::v1::transfer_service_client::TransferServiceClient;
use forenoon_proto::v1::upload_photo_request::Part;
use forenoon_proto::v1::visit_service_client::VisitServiceClient;
use tonic::{Request, Status, Streaming};

use super::{ANSWER_BYTES_MAX, Link};
use crate::failure::Failure;

/// Bytes of a photograph sent at a time; the contract's most is 1 MiB.
const PART_BYTES: usize = 256 * 1024;

impl Link {
    /// Sends a photograph; again where the server is away, since the same bytes are stored once.
    ///
    /// # Errors
    /// What the server answers, or that it cannot be reached.
    pub async fn upload_photo(
        &self,
        header: v1::PhotoHeader,
        bytes: &[u8],
    ) -> Result<v1::UploadPhotoResponse, Failure> {
        let parts: Vec<v1::UploadPhotoRequest> = std::iter::once(Part::Header(header))
            .chain(
                bytes
                    .chunks(PART_BYTES)
                    .map(|chunk| Part::Chunk(chunk.to_vec())),
            )
            .map(|part| v1::UploadPhotoRequest { part: Some(part) })
            .collect();
        self.call(parts, |request| {
            let mut client = VisitServiceClient::new(self.channel.clone());
            let (metadata, extensions, parts) = request.into_parts();
            let parts = tokio_stream::iter(parts);
            async move {
                client
                    .upload_photo(Request::from_parts(metadata, extensions, parts))
                    .await
            }
        })
        .await
    }

    /// Reads a photograph back: its media type and its bytes.
    ///
    /// # Errors
    /// What the server answers, or that it cannot be reached.
    pub async fn download_photo(
        &self,
        request: v1::DownloadPhotoRequest,
    ) -> Result<(String, Vec<u8>), Failure> {
        let mut parts = self
            .call(request, |request| {
                let mut client = VisitServiceClient::new(self.channel.clone())
                    .max_decoding_message_size(ANSWER_BYTES_MAX);
                async move { client.download_photo(request).await }
            })
            .await?;
        let mut media_type = String::new();
        let mut bytes = Vec::new();
        while let Some(part) = parts.message().await? {
            if media_type.is_empty() {
                media_type = part.media_type;
            }
            bytes.extend_from_slice(&part.chunk);
        }
        Ok((media_type, bytes))
    }

    /// Reads a whole branch and hands its lines over part by part. Answers with the number of bytes.
    ///
    /// # Errors
    /// What the server answers, that it cannot be reached, and what `take` finds.
    pub async fn export_branch(
        &self,
        request: v1::ExportBranchRequest,
        mut take: impl FnMut(&[u8]) -> Result<(), Failure>,
    ) -> Result<u64, Failure> {
        // Whole years take longer than a call: no deadline but that of the stream's life.
        let mut client = TransferServiceClient::new(self.channel.clone())
            .max_decoding_message_size(ANSWER_BYTES_MAX);
        let mut parts = client
            .export_branch(request)
            .await
            .map_err(|status| self.away(status))?
            .into_inner();
        let mut bytes = 0;
        while let Some(part) = parts.message().await? {
            take(&part.chunk)?;
            bytes += u64::try_from(part.chunk.len()).unwrap_or(u64::MAX);
        }
        Ok(bytes)
    }

    /// Sends a whole branch from a file.
    ///
    /// # Errors
    /// What the server answers, that it cannot be reached, and that the file cannot be read.
    pub async fn import_branch(
        &self,
        header: v1::ImportBranchHeader,
        file: &Path,
    ) -> Result<v1::ImportBranchResponse, Failure> {
        let fault = |cause: std::io::Error| Failure::File {
            path: file.display().to_string(),
            cause: cause.to_string(),
        };
        let mut opened = File::open(file).map_err(fault)?;
        // Where reading fails the stream ends early, and the server misses the last line.
        let chunks = std::iter::from_fn(move || {
            let mut chunk = vec![0; PART_BYTES];
            let count = opened.read(&mut chunk).ok().filter(|count| *count > 0)?;
            chunk.truncate(count);
            Some(import_branch_request::Part::Chunk(chunk))
        });
        let parts = std::iter::once(import_branch_request::Part::Header(header))
            .chain(chunks)
            .map(|part| v1::ImportBranchRequest { part: Some(part) });
        let mut client = TransferServiceClient::new(self.channel.clone());
        let answer = client
            .import_branch(tokio_stream::iter(parts))
            .await
            .map_err(|status| self.away(status))?;
        Ok(answer.into_inner())
    }

    /// Follows a day. It has no deadline: it ends when the server stops or the caller goes.
    ///
    /// # Errors
    /// What the server answers, or that it cannot be reached.
    pub async fn watch_day(
        &self,
        request: v1::WatchDayRequest,
    ) -> Result<Streaming<v1::WatchDayResponse>, Status> {
        let mut client =
            DayServiceClient::new(self.channel.clone()).max_decoding_message_size(ANSWER_BYTES_MAX);
        Ok(client.watch_day(request).await?.into_inner())
    }
}
