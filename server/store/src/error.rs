//! One error for both databases.
//!
//! What a caller can act on has a variant of its own; everything else is [`StoreError::Other`] with
//! the database's own words, which are for the log and never for a client.

use forenoon_migrations::GUARD_PREFIX;
use sea_orm::sqlx;
use sea_orm::{ConnAcquireErr, DbErr, RuntimeErr};

/// What went wrong in the store.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another row has the value already.
    #[error("unique rule {0:?} broken")]
    Unique(UniqueRule),
    /// A row refers to one that is not there, or one that is to go is still referred to.
    #[error("foreign key broken: {detail}")]
    ForeignKey {
        /// The database's words.
        detail: String,
    },
    /// A guard of the schema refused the write.
    #[error("guard {0:?} refused")]
    Guard(GuardRule),
    /// Others wrote the same rows at the same time, and no attempt came through.
    #[error("contention: {detail}")]
    Contention {
        /// The database's words.
        detail: String,
    },
    /// The database cannot be reached now.
    #[error("unavailable: {detail}")]
    Unavailable {
        /// The database's words.
        detail: String,
    },
    /// No space is left for the database.
    #[error("storage full: {detail}")]
    Full {
        /// The database's words.
        detail: String,
    },
    /// The database cannot be written.
    #[error("not writable: {detail}")]
    NotWritable {
        /// The database's words.
        detail: String,
    },
    /// Anything else: a fault of ours or of the database.
    #[error(transparent)]
    Other(DbErr),
}

/// The unique rules of the schema which a caller can break.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UniqueRule {
    /// A row with the same key is there.
    Key,
    /// One serial number, one unit.
    UnitSerialNumber,
    /// One open tag on a unit.
    OpenTagOut,
    /// One number, one tag-out.
    TagOutNumber,
    /// A release is taken back once.
    TagOutReopens,
    /// One published plan for a day.
    PublishedPlan,
    /// One plan for a day and revision.
    PlanDayRevision,
    /// One stop at a place in a crew's day.
    StopPosition,
    /// One spell with a crew at a place in a unit's day.
    LoadOutUnit,
    /// One visit at a time for a job.
    Visit,
    /// One number, one case.
    CaseNumber,
    /// One answer for a request id.
    RequestId,
}

/// The guards of the schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuardRule {
    /// A unit with an open out-of-service tag is on no load-out and no stop.
    UnitTaggedOut,
    /// A unit is with one crew of a plan at a time.
    UnitWithAnotherCrew,
    /// A unit's spell with a crew ends after it begins.
    SpellEndsBeforeItBegins,
    /// A plan begins as a draft.
    PlanBeginsAsDraft,
    /// A plan's state goes from draft to published to replaced, or from draft to discarded.
    PlanTransition,
    /// A plan that was published or discarded never changes.
    PlanFixed,
    /// A tag-out is released only after an inspection.
    ReleaseNeedsInspection,
    /// A released tag-out never changes.
    TagOutReleased,
    /// An open tag-out is never deleted.
    TagOutOpen,
    /// A tag-out takes up a released one of the same unit, or none.
    TagOutReopens,
    /// PostgreSQL's guards hold between serializable transactions only: what they look at is written by no other.
    NotSerializable,
}

/// Each unique rule as PostgreSQL names it and as SQLite spells it.
const UNIQUE_RULES: [(UniqueRule, &str, &str); 15] = [
    (
        UniqueRule::UnitSerialNumber,
        "unit_serial_number_key",
        "unit.branch_id, unit.serial_number",
    ),
    (
        UniqueRule::OpenTagOut,
        "tag_out_open_key",
        "tag_out.branch_id, tag_out.unit_id",
    ),
    (
        UniqueRule::TagOutNumber,
        "tag_out_number_key",
        "tag_out.branch_id, tag_out.number",
    ),
    // Ids that carry a number.
    (
        UniqueRule::TagOutNumber,
        "tag_out_pkey",
        "tag_out.branch_id, tag_out.id",
    ),
    (
        UniqueRule::PlanDayRevision,
        "plan_pkey",
        "plan.branch_id, plan.id",
    ),
    (
        UniqueRule::CaseNumber,
        "site_case_pkey",
        "site_case.branch_id, site_case.id",
    ),
    (
        UniqueRule::TagOutReopens,
        "tag_out_reopens_key",
        "tag_out.branch_id, tag_out.reopens_id",
    ),
    (
        UniqueRule::PlanDayRevision,
        "plan_day_revision_key",
        "plan.branch_id, plan.day, plan.day_revision",
    ),
    (
        UniqueRule::PublishedPlan,
        "plan_published_key",
        "plan.branch_id, plan.day",
    ),
    (
        UniqueRule::StopPosition,
        "plan_stop_position_key",
        "plan_stop.branch_id, plan_stop.plan_id, plan_stop.crew_id, plan_stop.position",
    ),
    (
        UniqueRule::LoadOutUnit,
        "plan_load_out_pkey",
        "plan_load_out.branch_id, plan_load_out.plan_id, plan_load_out.unit_id, plan_load_out.spell",
    ),
    (
        UniqueRule::Visit,
        "visit_current_key",
        "visit.branch_id, visit.job_id",
    ),
    (
        UniqueRule::Visit,
        "visit_attempt_pkey",
        "visit.branch_id, visit.job_id, visit.attempt",
    ),
    (
        UniqueRule::CaseNumber,
        "site_case_number_key",
        "site_case.branch_id, site_case.number",
    ),
    (
        UniqueRule::RequestId,
        "command_answer_pkey",
        "command_answer.request_id",
    ),
];

/// Each guard as its message ends.
const GUARD_RULES: [(&str, GuardRule); 11] = [
    ("unit_tagged_out", GuardRule::UnitTaggedOut),
    ("unit_with_another_crew", GuardRule::UnitWithAnotherCrew),
    (
        "spell_ends_before_it_begins",
        GuardRule::SpellEndsBeforeItBegins,
    ),
    ("plan_begins_as_draft", GuardRule::PlanBeginsAsDraft),
    ("plan_transition", GuardRule::PlanTransition),
    ("plan_fixed", GuardRule::PlanFixed),
    (
        "release_needs_inspection",
        GuardRule::ReleaseNeedsInspection,
    ),
    ("tag_out_released", GuardRule::TagOutReleased),
    ("tag_out_open", GuardRule::TagOutOpen),
    ("tag_out_reopens", GuardRule::TagOutReopens),
    ("not_serializable", GuardRule::NotSerializable),
];

/// Whether an error means that the same work may come through if tried again.
pub trait Contended {
    /// True where others wrote at the same time.
    fn is_contention(&self) -> bool;

    /// True where others may have written at the same time, or a rule was broken: PostgreSQL tells of a key taken by a
    /// transaction that began later as of any other. Tried once more, the use case sees which it was.
    fn may_be_contention(&self) -> bool;
}

impl Contended for StoreError {
    fn is_contention(&self) -> bool {
        // Two calls with one request id race to keep the answer; the loser finds it when it tries again. So it is with
        // numbers that two servers give at the same time, and with what use cases look for before they write.
        matches!(
            self,
            Self::Contention { .. }
                | Self::Unique(
                    UniqueRule::RequestId
                        | UniqueRule::Visit
                        | UniqueRule::CaseNumber
                        | UniqueRule::TagOutNumber
                        | UniqueRule::PlanDayRevision
                        | UniqueRule::OpenTagOut
                        | UniqueRule::PublishedPlan
                )
        )
    }

    fn may_be_contention(&self) -> bool {
        matches!(self, Self::Unique(_))
    }
}

impl From<DbErr> for StoreError {
    fn from(error: DbErr) -> Self {
        match &error {
            DbErr::Exec(RuntimeErr::SqlxError(cause))
            | DbErr::Query(RuntimeErr::SqlxError(cause))
            | DbErr::Conn(RuntimeErr::SqlxError(cause)) => {
                from_sqlx(cause).unwrap_or(Self::Other(error))
            }
            DbErr::ConnectionAcquire(
                ConnAcquireErr::Timeout | ConnAcquireErr::ConnectionClosed,
            ) => Self::Unavailable {
                detail: error.to_string(),
            },
            _ => Self::Other(error),
        }
    }
}

fn from_sqlx(error: &sqlx::Error) -> Option<StoreError> {
    let detail = error.to_string();
    match error {
        sqlx::Error::Database(cause) => {
            let code = cause.code()?;
            if let Some(rule) = guard_rule(cause.message()) {
                return Some(StoreError::Guard(rule));
            }
            if cause
                .try_downcast_ref::<sqlx::postgres::PgDatabaseError>()
                .is_some()
            {
                from_postgres(&code, cause.constraint(), detail)
            } else {
                from_sqlite(&code, cause.message(), detail)
            }
        }
        sqlx::Error::Io(_)
        | sqlx::Error::Tls(_)
        | sqlx::Error::PoolTimedOut
        | sqlx::Error::PoolClosed
        | sqlx::Error::WorkerCrashed => Some(StoreError::Unavailable { detail }),
        _ => None,
    }
}

fn guard_rule(message: &str) -> Option<GuardRule> {
    let (_, rule) = message.split_once(GUARD_PREFIX)?;
    GUARD_RULES
        .iter()
        .find(|(name, _)| *name == rule.trim())
        .map(|(_, rule)| *rule)
}

/// By SQLSTATE, PostgreSQL's documentation, appendix A.
fn from_postgres(code: &str, constraint: Option<&str>, detail: String) -> Option<StoreError> {
    match code {
        "23505" => {
            let rule = UNIQUE_RULES
                .iter()
                .find(|(_, name, _)| Some(*name) == constraint)
                .map_or(UniqueRule::Key, |(rule, _, _)| *rule);
            Some(StoreError::Unique(rule))
        }
        "23001" | "23503" => Some(StoreError::ForeignKey { detail }),
        "40001" | "40P01" | "55P03" => Some(StoreError::Contention { detail }),
        "53100" => Some(StoreError::Full { detail }),
        "25006" => Some(StoreError::NotWritable { detail }),
        "25P03" | "53300" | "57P01" | "57P02" | "57P03" => Some(StoreError::Unavailable { detail }),
        _ if code.starts_with("08") => Some(StoreError::Unavailable { detail }),
        _ => None,
    }
}

/// By result code, SQLite's documentation, "Result and Error Codes". The low byte is the primary code.
fn from_sqlite(code: &str, message: &str, detail: String) -> Option<StoreError> {
    const CONSTRAINT_FOREIGN_KEY: u32 = 787;
    const CONSTRAINT_PRIMARY_KEY: u32 = 1555;
    const CONSTRAINT_UNIQUE: u32 = 2067;
    const BUSY: u32 = 5;
    const LOCKED: u32 = 6;
    const READ_ONLY: u32 = 8;
    const IO: u32 = 10;
    const FULL: u32 = 13;
    const CANNOT_OPEN: u32 = 14;

    let code: u32 = code.parse().ok()?;
    match (code, code & 0xff) {
        (CONSTRAINT_PRIMARY_KEY | CONSTRAINT_UNIQUE, _) => {
            let columns = message.rsplit(": ").next().unwrap_or_default();
            let rule = UNIQUE_RULES
                .iter()
                .find(|(_, _, spelled)| *spelled == columns)
                .map_or(UniqueRule::Key, |(rule, _, _)| *rule);
            Some(StoreError::Unique(rule))
        }
        (CONSTRAINT_FOREIGN_KEY, _) => Some(StoreError::ForeignKey { detail }),
        (_, BUSY | LOCKED) => Some(StoreError::Contention { detail }),
        (_, FULL) => Some(StoreError::Full { detail }),
        (_, READ_ONLY | CANNOT_OPEN) => Some(StoreError::NotWritable { detail }),
        (_, IO) => Some(StoreError::Unavailable { detail }),
        _ => None,
    }
}
