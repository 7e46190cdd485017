//! Stores a photograph.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, photo, photo_part, site_case, tag_out};
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait};
use forenoon_store::value::MediaType;
use serde_json::json;

use super::{PART_BYTES_MAX, link};
use crate::work::{Accepted, Change, Command, Error, Reason, row};

/// Stores a photograph. The same bytes are stored once, whatever they are said to be of.
pub struct StorePhoto {
    /// The branch.
    pub branch: String,
    /// What it is of.
    pub subject: Subject,
    /// What its bytes are.
    pub media_type: MediaType,
    /// SHA-256 of its bytes, in lower-case hexadecimal.
    pub sha256: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// What a photograph may be of, by id.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Subject {
    /// A job.
    Job(String),
    /// A tag-out.
    TagOut(String),
    /// A case.
    Case(String),
}

impl Subject {
    /// Its resource name.
    pub fn name(&self, branch: &str) -> String {
        match self {
            Self::Job(id) => format!("branches/{branch}/jobs/{id}"),
            Self::TagOut(id) => crate::work::tag_out::name(branch, id),
            Self::Case(id) => crate::work::case::name(branch, id),
        }
    }

    async fn is_there(
        &self,
        transaction: &DatabaseTransaction,
        branch: &str,
    ) -> Result<bool, Error> {
        let key = |id: &str| (branch.to_owned(), id.to_owned());
        Ok(match self {
            Self::Job(id) => job::Entity::find_by_id(key(id))
                .one(transaction)
                .await?
                .is_some(),
            Self::TagOut(id) => tag_out::Entity::find_by_id(key(id))
                .one(transaction)
                .await?
                .is_some(),
            Self::Case(id) => site_case::Entity::find_by_id(key(id))
                .one(transaction)
                .await?
                .is_some(),
        })
    }
}

impl Command for StorePhoto {
    type Answer = String;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<String>, Error> {
        crate::work::branch::get(transaction, &self.branch).await?;
        if !self.subject.is_there(transaction, &self.branch).await? {
            return Err(Error::violation(
                "header.subject",
                Reason::UnknownReference,
                "names nothing of the branch",
            ));
        }
        let subject = self.subject.name(&self.branch);
        let key = (self.branch.clone(), self.sha256.clone());
        let known = photo::Entity::find_by_id(key).one(transaction).await?;
        if known.is_none() {
            self.put(transaction, now).await?;
        }
        if !link(transaction, &self.branch, &subject, &self.sha256, now).await? {
            return Ok(Accepted {
                answer: self.sha256.clone(),
                changes: vec![],
            });
        }
        let change = Change {
            subject,
            kind: "photo.stored",
            before: None,
            after: Some(json!({
                "sha256": self.sha256,
                "media_type": self.media_type,
                "size_bytes": self.bytes.len(),
            })),
        };
        Ok(Accepted {
            answer: self.sha256.clone(),
            changes: vec![change],
        })
    }
}

impl StorePhoto {
    async fn put(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let too_many = |_| Error::Internal("a photograph beyond its bound".to_owned());
        let photo = photo::Model {
            branch_id: self.branch.clone(),
            sha256: self.sha256.clone(),
            media_type: self.media_type,
            size_bytes: i32::try_from(self.bytes.len()).map_err(too_many)?,
            create_time: now,
        };
        row::insert(transaction, &photo).await?;
        for (position, bytes) in self.bytes.chunks(PART_BYTES_MAX).enumerate() {
            let part = photo_part::Model {
                branch_id: self.branch.clone(),
                sha256: self.sha256.clone(),
                position: i32::try_from(position).map_err(too_many)?,
                bytes: bytes.to_vec(),
            };
            row::insert(transaction, &part).await?;
        }
        Ok(())
    }
}
