//! Gives out a key.

use chrono::{DateTime, Utc};
use forenoon_store::entity::access_key;
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait, IntoActiveModel};
use forenoon_store::value::{Role, Roles};
use forenoon_store::{Database, StoreError, Write};

use super::secret::{Secret, id};
use crate::work::{Error, branch, worker};

/// For whom a key is, and what it is good for.
#[derive(Clone, Debug, Default)]
pub struct Terms {
    /// The only branch; none for every branch.
    pub branch: Option<String>,
    /// The worker of the branch who holds it. Their roles hold, as they are when they call.
    pub worker: Option<String>,
    /// Who else holds it, in words.
    pub holder: Option<String>,
    /// The roles of who else holds it.
    pub roles: Vec<Role>,
    /// Everything, whatever the roles.
    pub everything: bool,
}

/// A key that was given out.
#[derive(Debug)]
pub struct Issued {
    /// What it is called by.
    pub id: String,
    /// The key. It cannot be had again.
    pub secret: Secret,
    /// Who holds it.
    pub holder: String,
}

/// Why no key was given out or ended.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// A worker is one of a branch.
    #[error("say which branch the worker is of, with --branch")]
    WorkerWithoutBranch,
    /// Nobody would hold it.
    #[error("say who holds the key, with --worker or --holder")]
    NoHolder,
    /// It would be good for nothing.
    #[error("say what the holder may do, with --role or --everything")]
    NoRole,
    /// What a worker may do stands in their record.
    #[error("what a worker may do is in the worker's record; leave --role and --everything out")]
    RolesOfWorker,
    /// The holder's name is empty, too long, or has characters that cannot go into a header.
    #[error("write the holder in 1 to 60 printable ASCII characters")]
    Holder,
    /// No key has the id.
    #[error("no key {0}; `forenoon-server key list` tells which there are")]
    NoSuchKey(String),
    /// The system gives no random bytes.
    #[error("the system gives no random bytes: {0}")]
    Random(#[from] getrandom::Error),
    /// The branch or worker is not there, or the database.
    #[error(transparent)]
    Work(#[from] Error),
}

impl From<StoreError> for KeyError {
    fn from(error: StoreError) -> Self {
        Self::Work(error.into())
    }
}

/// Most characters of a holder's name: with whom they speak for it stands in the audit.
const HOLDER_LENGTH_MAX: usize = 60;

/// Gives out a key on some terms.
///
/// # Errors
/// Terms that go wrong, or the database's.
pub async fn issue_key(
    database: &Database,
    terms: Terms,
    now: DateTime<Utc>,
) -> Result<Issued, KeyError> {
    let holder = terms.holder()?;
    let secret = Secret::draw()?;
    let digest = secret.digest();
    let row = access_key::Model {
        id: id(&digest),
        branch_id: terms.branch,
        worker_id: terms.worker,
        holder: holder.clone(),
        roles: Roles(terms.roles),
        everything: terms.everything,
        digest,
        issue_time: now,
        end_time: None,
    };
    let id = row.id.clone();
    let scope = row.branch_id.clone().unwrap_or_default();
    database.write_untold(&scope, &Put(row)).await?;
    Ok(Issued { id, secret, holder })
}

impl Terms {
    /// Who holds the key, where the terms go together.
    fn holder(&self) -> Result<String, KeyError> {
        match (&self.worker, &self.branch, &self.holder) {
            (Some(_), None, _) => Err(KeyError::WorkerWithoutBranch),
            (Some(_), _, _) if self.everything || !self.roles.is_empty() => {
                Err(KeyError::RolesOfWorker)
            }
            (Some(worker), Some(branch), _) => Ok(worker::name(branch, worker)),
            (None, _, None) => Err(KeyError::NoHolder),
            (None, _, Some(_)) if !self.everything && self.roles.is_empty() => {
                Err(KeyError::NoRole)
            }
            (None, _, Some(holder)) => {
                let sound = (1..=HOLDER_LENGTH_MAX).contains(&holder.len())
                    && holder.bytes().all(|byte| (b' '..=b'~').contains(&byte));
                if sound {
                    Ok(holder.clone())
                } else {
                    Err(KeyError::Holder)
                }
            }
        }
    }
}

struct Put(access_key::Model);

impl Write for Put {
    type Output = ();
    type Error = Error;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), Error> {
        if let Some(branch) = &self.0.branch_id {
            branch::get(transaction, branch).await?;
            if let Some(worker) = &self.0.worker_id {
                worker::get(transaction, branch, worker).await?;
            }
        }
        access_key::Entity::insert(self.0.clone().into_active_model())
            .exec_without_returning(transaction)
            .await?;
        Ok(())
    }
}
