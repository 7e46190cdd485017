//! The one error of the server.
//!
//! Where errors come from: the edge finds what is wrong with a request ([`Error::Invalid`]); use
//! cases find what stands in the way; the store reports what the database says. What a client may
//! rely on: the status code, the reason, and the structured details. Words may change. New variants
//! come only where a client would act differently.

use forenoon_store::{Contended, StoreError};

/// Why a call was not done. Nothing was written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The request itself is wrong, in all the listed places.
    #[error("the request is invalid in {} places", .0.len())]
    Invalid(Vec<Violation>),
    /// What the request names is not there.
    #[error("{name} not found")]
    NotFound {
        /// Its resource name.
        name: String,
    },
    /// What the request wants to create is there already.
    #[error("{name} exists already")]
    AlreadyExists {
        /// Its resource name.
        name: String,
    },
    /// The etag given is not the present one.
    #[error("{name} has changed since it was read")]
    StaleEtag {
        /// The resource name.
        name: String,
    },
    /// The request id was used for another command.
    #[error("request id {request_id} was used for another command")]
    RequestIdReused {
        /// The id.
        request_id: String,
    },
    /// The state of things stands in the way.
    #[error("{} obstacles", .0.len())]
    Obstructed(Vec<Obstacle>),
    /// Somebody who asks must say who they are.
    #[error("nobody said who asks")]
    Unauthenticated,
    /// Who asks may not do this.
    #[error("not permitted: {action}")]
    NotPermitted {
        /// What they may not do, in words.
        action: String,
    },
    /// A store of what was asked for does not do it: beyond a limit of this server.
    #[error("beyond the limit of {limit}")]
    TooMuch {
        /// The limit, in words.
        limit: String,
    },
    /// What a resume token goes on from is gone.
    #[error("the resume token is too old")]
    TokenTooOld,
    /// Another server took over the search while this one was silent.
    #[error("another server took over the search")]
    LeaseLost,
    /// The server is going down.
    #[error("the server is going down")]
    GoingDown,
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A fault of ours. The words are for the log.
    #[error("internal: {0}")]
    Internal(String),
}

/// One thing wrong with a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// The path of the field from the request, as `site.areas[0].surface`.
    pub field: String,
    /// The kind of fault, for programs.
    pub reason: Reason,
    /// What is wrong and what to do, for people.
    pub description: String,
}

/// The kinds of faults in requests.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Reason {
    /// Must be given and is not.
    Required,
    /// Is not of the form it must have.
    Malformed,
    /// A number, time or text outside its range.
    OutOfRange,
    /// Text longer than it may be.
    TooLong,
    /// More items than there may be.
    TooMany,
    /// Appears twice and may only once.
    Duplicate,
    /// Refers to something that is not there.
    UnknownReference,
    /// A field the mask names that there is not.
    UnknownField,
    /// A field that cannot be changed.
    Immutable,
    /// Stretches of time that overlap.
    Overlap,
    /// An end that is not after its start.
    EndBeforeStart,
    /// A local time that clocks jump over.
    NonexistentLocalTime,
    /// A local time that comes twice, given without its offset.
    AmbiguousLocalTime,
    /// Money in another currency than the branch's.
    OtherCurrency,
    /// Given together with something it does not go with.
    Conflict,
}

/// One thing that stands in the way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Obstacle {
    /// The kind, for programs.
    pub kind: ObstacleKind,
    /// The resource name of what stands in the way, or of what it concerns.
    pub subject: String,
    /// What stands in the way and what to do, for people.
    pub description: String,
}

/// The kinds of things that stand in the way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ObstacleKind {
    /// It owns other things.
    StillOwns,
    /// Other things refer to it.
    StillReferredTo,
    /// A job is on the area.
    AreaInUse,
    /// A crew drives or tows the unit.
    UnitOfCrew,
    /// A published plan has the unit aboard.
    UnitAboard,
    /// Plans are in the time zone.
    TimeZoneInUse,
    /// Amounts are in the currency.
    CurrencyInUse,
    /// No crew goes out on the day.
    NoCrew,
    /// No job may be done on the day.
    NoJob,
    /// A record is beyond what can be planned.
    NotPlannable,
    /// Nothing is published for the day.
    NoPublishedPlan,
    /// The plan is no draft.
    NotADraft,
    /// The plan was made from scratch.
    NotAProposal,
    /// Another plan is published than when this was made.
    BaseReplaced,
    /// What the plan was made from has changed since.
    DayChanged,
    /// Crews are at work by the day's published plan.
    DayUnderWay,
    /// A unit is tagged out.
    UnitTaggedOut,
    /// A unit is limited by its tag, and wanted for what it must not do.
    UnitLimited,
    /// A job was called off.
    JobCancelled,
    /// The unit has an open tag-out.
    AlreadyTaggedOut,
    /// The tag-out does not stand where this step can be taken.
    TagOutState,
    /// Whoever repaired must not pass the unit.
    OwnRepair,
    /// The job is done or was called off.
    NotOpen,
    /// The crew does not have the job in the day's published plan.
    NotPlanned,
    /// The job was begun.
    AlreadyStarted,
    /// The job was not begun.
    NotStarted,
    /// Another crew has begun the job.
    OtherCrew,
    /// The job is done, or its end is reported with other figures.
    AlreadyFinished,
    /// The job was reported as not done.
    GivenUp,
    /// No crew is at the job.
    NotArrived,
    /// The job is not done.
    NotFinished,
    /// The plan was not published.
    NotPublished,
    /// The case is closed.
    CaseClosed,
    /// The record of what was deleted is kept under its id.
    RecordKept,
}

impl Error {
    /// One violation.
    pub fn violation(
        field: impl Into<String>,
        reason: Reason,
        description: impl Into<String>,
    ) -> Self {
        Self::Invalid(vec![Violation {
            field: field.into(),
            reason,
            description: description.into(),
        }])
    }

    /// One obstacle.
    pub fn obstacle(
        kind: ObstacleKind,
        subject: impl Into<String>,
        description: impl Into<String>,
    ) -> Self {
        Self::Obstructed(vec![Obstacle {
            kind,
            subject: subject.into(),
            description: description.into(),
        }])
    }

    /// Something is not there.
    pub fn not_found(name: impl Into<String>) -> Self {
        Self::NotFound { name: name.into() }
    }
}

/// Refuses where anything is wrong.
///
/// # Errors
/// [`Error::Invalid`] with all of it.
pub fn refuse_violations(violations: Vec<Violation>) -> Result<(), Error> {
    if violations.is_empty() {
        return Ok(());
    }
    Err(Error::Invalid(violations))
}

impl Contended for Error {
    fn is_contention(&self) -> bool {
        match self {
            Self::Store(error) => error.is_contention(),
            _ => false,
        }
    }

    fn may_be_contention(&self) -> bool {
        match self {
            Self::Store(error) => error.may_be_contention(),
            _ => false,
        }
    }
}

impl From<forenoon_store::sea_orm::DbErr> for Error {
    fn from(error: forenoon_store::sea_orm::DbErr) -> Self {
        Self::Store(error.into())
    }
}
