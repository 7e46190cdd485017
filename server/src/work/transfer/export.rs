//! Reads a whole branch as it stands at one moment.

use std::time::Duration;

use bytes::Bytes;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::{Database, rows};
use futures::StreamExt;
use sha2::{Digest, Sha256};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::PART_BYTES_MAX;
use super::lines::{End, Head, Last, Row, written};
use crate::work::digest::hexadecimal;
use crate::work::{Error, branch};

/// Parts that wait for a reader.
const PARTS_AHEAD: usize = 2;
/// Bytes at which a part is sent.
const PART_BYTES: usize = PART_BYTES_MAX / 4;
/// Longest wait for a reader: a snapshot of the database is held for it.
const READER_MAX: Duration = Duration::from_mins(1);

/// An export under way: parts of its lines.
#[derive(Debug)]
pub struct Export(mpsc::Receiver<Result<Bytes, Error>>);

impl Export {
    /// The next part; none after the last.
    pub async fn next(&mut self) -> Option<Result<Bytes, Error>> {
        self.0.recv().await
    }
}

/// Begins to read a branch. Where the reader goes away, falls asleep or the server goes down, it ends.
///
/// # Errors
/// [`Error::NotFound`] where the branch is not there.
pub async fn export(
    database: &Database,
    id: &str,
    going_down: &CancellationToken,
) -> Result<Export, Error> {
    let transaction = database.begin_read().await?;
    branch::get(&transaction, id).await?;
    let (sender, receiver) = mpsc::channel(PARTS_AHEAD);
    let mut writer = Writer {
        sender: sender.clone(),
        part: Vec::with_capacity(PART_BYTES),
        digest: Sha256::new(),
    };
    let id = id.to_owned();
    let going_down = going_down.clone();
    tokio::spawn(async move {
        let written = going_down.run_until_cancelled(write(&transaction, &id, &mut writer));
        let error = match written.await {
            Some(Ok(())) => None,
            Some(Err(error)) => Some(error),
            None => Some(Error::GoingDown),
        };
        // Nothing was written: the snapshot is only let go.
        let _ = transaction.rollback().await;
        if let Some(error) = error {
            let _ = sender.send_timeout(Err(error), READER_MAX).await;
        }
    });
    Ok(Export(receiver))
}

async fn write(
    transaction: &DatabaseTransaction,
    id: &str,
    writer: &mut Writer,
) -> Result<(), Error> {
    writer.line(&written(&Head::of(id))?).await?;
    let mut count = 0;
    for table in rows::TABLES {
        let mut rows = rows::rows(transaction, table, id, None).await?;
        while let Some(row) = rows.next().await {
            let table = (*table).to_owned();
            writer.line(&Row { table, row: row? }.written()?).await?;
            count += 1;
        }
    }
    let end = End {
        rows: count,
        sha256: hexadecimal(&writer.digest.clone().finalize()),
    };
    writer.line(&written(&Last { end })?).await?;
    writer.send().await
}

struct Writer {
    sender: mpsc::Sender<Result<Bytes, Error>>,
    part: Vec<u8>,
    digest: Sha256,
}

impl Writer {
    async fn line(&mut self, text: &[u8]) -> Result<(), Error> {
        self.digest.update(text);
        for piece in text.chunks(PART_BYTES_MAX) {
            if self.part.len() + piece.len() > PART_BYTES {
                self.send().await?;
            }
            self.part.extend_from_slice(piece);
        }
        Ok(())
    }

    async fn send(&mut self) -> Result<(), Error> {
        if self.part.is_empty() {
            return Ok(());
        }
        let part = Bytes::from(std::mem::take(&mut self.part));
        self.sender
            .send_timeout(Ok(part), READER_MAX)
            .await
            .map_err(|_| Error::TooMuch {
                limit: format!("{} s of waiting for the reader", READER_MAX.as_secs()),
            })
    }
}
