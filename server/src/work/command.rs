//! Runs a command: exactly one transaction with the change of state, the audit entries, the events
//! and the kept answer. All of it happens, or none.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{audit_entry, command_answer, outbox_event};
use forenoon_store::sea_orm::{ConnectionTrait, DatabaseTransaction};
use forenoon_store::{Database, Write, record};
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

use super::{Clock, Error};

/// Who asks for a command, for which branch, and with what id.
#[derive(Clone, Debug)]
pub struct Call {
    /// Who asks, as the audit shows it.
    pub actor: String,
    /// The branch it changes.
    pub branch: String,
    /// The method, as `forenoon.v1.BranchService/CreateBranch`.
    pub method: &'static str,
    /// What makes a retry of it recognisable, where the caller gave an id.
    pub retry: Option<Retry>,
}

/// What makes a retry of a command recognisable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Retry {
    /// The caller's id of the command.
    pub request_id: Uuid,
    /// A digest of caller, method and request.
    pub fingerprint: Vec<u8>,
}

/// A change of state that is done whole or not at all.
pub trait Command: Sync {
    /// What it answers.
    type Answer: Send + Sync;

    /// Whether nobody else writes to the branch meanwhile ([`Write::is_without_rivals`]).
    fn is_without_rivals(&self) -> bool {
        false
    }

    /// Checks and changes. May be run again from the start where others wrote at the same time.
    fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> impl Future<Output = Result<Accepted<Self::Answer>, Error>> + Send;
}

/// A command that was accepted, with every change it made.
#[derive(Clone, Debug)]
pub struct Accepted<A> {
    /// What it answers.
    pub answer: A,
    /// What it changed; empty where all was so already.
    pub changes: Vec<Change>,
}

/// A change of one resource, as audit and events tell it.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Resource name of what changed.
    pub subject: String,
    /// What happened to it, as `branch.created`.
    pub kind: &'static str,
    /// What it was; none where it was created.
    pub before: Option<Value>,
    /// What it is; none where it was deleted.
    pub after: Option<Value>,
}

impl Change {
    /// A change from one row to another.
    ///
    /// # Errors
    /// Where a row cannot be written as JSON, which is a fault of ours.
    pub fn of<R: Serialize>(
        subject: impl Into<String>,
        kind: &'static str,
        before: Option<&R>,
        after: Option<&R>,
    ) -> Result<Self, Error> {
        let json = |row: Option<&R>| {
            row.map(serde_json::to_value)
                .transpose()
                .map_err(|error| Error::Internal(format!("a row as JSON: {error}")))
        };
        Ok(Self {
            subject: subject.into(),
            kind,
            before: json(before)?,
            after: json(after)?,
        })
    }
}

/// A pure function from a row to what an update makes of it.
pub type Edit<R> = dyn Fn(&R) -> Result<R, Error> + Send + Sync;

/// How a command came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome<A> {
    /// It was done now.
    Done(A),
    /// It was done before; this is the answer given then, encoded.
    Replayed(Vec<u8>),
}

/// Runs a command in one transaction.
///
/// `encode` makes the bytes that are kept for a retry. They are the caller's to read: this layer
/// knows no wire format.
///
/// # Errors
/// Those of the command; [`Error::RequestIdReused`] where its id was used for another one.
pub async fn run_command<C: Command>(
    database: &Database,
    clock: &dyn Clock,
    call: &Call,
    command: &C,
    encode: &(dyn Fn(&C::Answer) -> Vec<u8> + Send + Sync),
) -> Result<Outcome<C::Answer>, Error> {
    let attempt = Attempt {
        clock,
        call,
        command,
        encode,
    };
    database.write(&call.branch, &attempt).await
}

/// The answer kept for a call that was answered before, so that long work for a retry need not begin.
///
/// # Errors
/// [`Error::RequestIdReused`] where its id was used for another command.
pub async fn kept_answer(database: &Database, call: &Call) -> Result<Option<Vec<u8>>, Error> {
    kept(database.read(), call).await
}

async fn kept(connection: &impl ConnectionTrait, call: &Call) -> Result<Option<Vec<u8>>, Error> {
    let Some(retry) = &call.retry else {
        return Ok(None);
    };
    let Some(kept) = record::find_answer(connection, retry.request_id).await? else {
        return Ok(None);
    };
    if kept.fingerprint != retry.fingerprint {
        return Err(Error::RequestIdReused {
            request_id: retry.request_id.to_string(),
        });
    }
    Ok(Some(kept.answer))
}

/// A command with all that is written beside it, as the one piece of work that [`run_command`] hands to
/// [`Database::write`]. Tests put faults around it.
pub struct Attempt<'a, C: Command> {
    /// When it happens.
    pub clock: &'a dyn Clock,
    /// Who asks.
    pub call: &'a Call,
    /// What is asked.
    pub command: &'a C,
    /// Makes the bytes that are kept for a retry.
    pub encode: &'a (dyn Fn(&C::Answer) -> Vec<u8> + Send + Sync),
}

impl<C: Command> Write for Attempt<'_, C> {
    type Output = Outcome<C::Answer>;
    type Error = Error;

    fn is_without_rivals(&self) -> bool {
        self.command.is_without_rivals()
    }

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<Self::Output, Error> {
        let Self {
            clock,
            call,
            command,
            encode,
        } = self;
        if let Some(answer) = kept(transaction, call).await? {
            return Ok(Outcome::Replayed(answer));
        }

        let now = clock.now();
        let Accepted { answer, changes } = command.run(transaction, now).await?;
        record_changes(transaction, call, changes, now).await?;
        if let Some(retry) = &call.retry {
            let kept = command_answer::Model {
                request_id: retry.request_id,
                branch_id: call.branch.clone(),
                method: call.method.to_owned(),
                fingerprint: retry.fingerprint.clone(),
                answer: encode(&answer),
                at: now,
            };
            record::keep_answer(transaction, kept).await?;
        }
        Ok(Outcome::Done(answer))
    }
}

async fn record_changes(
    transaction: &DatabaseTransaction,
    call: &Call,
    changes: Vec<Change>,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    if changes.is_empty() {
        return Ok(());
    }
    let count = i64::try_from(changes.len())
        .map_err(|_| Error::Internal("more changes than numbers".to_owned()))?;
    let first = record::take_numbers(transaction, &call.branch, count).await?;
    let mut entries = Vec::with_capacity(changes.len());
    let mut events = Vec::with_capacity(changes.len());
    for (change, seq) in changes.into_iter().zip(first..) {
        let Change {
            subject,
            kind,
            before,
            after,
        } = change;
        events.push(outbox_event::Model {
            branch_id: call.branch.clone(),
            seq,
            kind: kind.to_owned(),
            subject: subject.clone(),
            body: after.clone().unwrap_or(Value::Null),
            at: now,
        });
        entries.push(audit_entry::Model {
            branch_id: call.branch.clone(),
            seq,
            at: now,
            actor: call.actor.clone(),
            method: call.method.to_owned(),
            request_id: call.retry.as_ref().map(|retry| retry.request_id),
            subject,
            kind: kind.to_owned(),
            before,
            after,
        });
    }
    record::append(transaction, &entries, &events).await?;
    Ok(())
}
