//! The one place where errors become gRPC statuses.
//!
//! The match has no wildcard: a new variant must choose its code. Details are made from fields, not
//! from words. What the database said goes to the log only.

use std::collections::HashMap;
use std::time::Duration;

use forenoon_store::{GuardRule, StoreError, UniqueRule};
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, PreconditionViolation, StatusExt};
use tracing::{error, warn};

use crate::work::{Error, Obstacle, ObstacleKind, Reason, Violation};

/// The domain of every `google.rpc.ErrorInfo`.
pub const ERROR_DOMAIN: &str = "forenoon";
/// When to try again after contention.
const RETRY_SOON: Duration = Duration::from_millis(50);
/// When to try again where the database or the server is away.
const RETRY_LATER: Duration = Duration::from_secs(2);
/// Most bytes of the items in a status. All of it travels in headers, in base 64 and beside the
/// message, and many clients take 16 KiB of headers and no more.
const ITEM_BYTES_MAX: usize = 5_000;
/// Obstacles that the message tells; the details have more.
const WORDED_MAX: usize = 5;
/// Bytes that each item takes beside its texts, at most.
const ITEM_FRAME_BYTES: usize = 16;

impl Reason {
    /// The reason as programs read it. It never changes.
    pub fn code(self) -> &'static str {
        match self {
            Self::Required => "REQUIRED",
            Self::Malformed => "MALFORMED",
            Self::OutOfRange => "OUT_OF_RANGE",
            Self::TooLong => "TOO_LONG",
            Self::TooMany => "TOO_MANY",
            Self::Duplicate => "DUPLICATE",
            Self::UnknownReference => "UNKNOWN_REFERENCE",
            Self::UnknownField => "UNKNOWN_FIELD",
            Self::Immutable => "IMMUTABLE",
            Self::Overlap => "OVERLAP",
            Self::EndBeforeStart => "END_BEFORE_START",
            Self::NonexistentLocalTime => "NONEXISTENT_LOCAL_TIME",
            Self::AmbiguousLocalTime => "AMBIGUOUS_LOCAL_TIME",
            Self::OtherCurrency => "OTHER_CURRENCY",
            Self::Conflict => "CONFLICT",
        }
    }
}

impl ObstacleKind {
    /// The kind as programs read it. It never changes.
    pub fn code(self) -> &'static str {
        match self {
            Self::StillOwns => "STILL_OWNS",
            Self::StillReferredTo => "STILL_REFERRED_TO",
            Self::AreaInUse => "AREA_IN_USE",
            Self::UnitOfCrew => "UNIT_OF_CREW",
            Self::UnitAboard => "UNIT_ABOARD",
            Self::TimeZoneInUse => "TIME_ZONE_IN_USE",
            Self::CurrencyInUse => "CURRENCY_IN_USE",
            Self::NoCrew => "NO_CREW",
            Self::NoJob => "NO_JOB",
            Self::NotPlannable => "NOT_PLANNABLE",
            Self::NoPublishedPlan => "NO_PUBLISHED_PLAN",
            Self::NotADraft => "NOT_A_DRAFT",
            Self::NotAProposal => "NOT_A_PROPOSAL",
            Self::BaseReplaced => "BASE_REPLACED",
            Self::DayChanged => "DAY_CHANGED",
            Self::DayUnderWay => "DAY_UNDER_WAY",
            Self::UnitTaggedOut => "UNIT_TAGGED_OUT",
            Self::UnitLimited => "UNIT_LIMITED",
            Self::JobCancelled => "JOB_CANCELLED",
            Self::AlreadyTaggedOut => "ALREADY_TAGGED_OUT",
            Self::TagOutState => "TAG_OUT_STATE",
            Self::OwnRepair => "OWN_REPAIR",
            Self::NotOpen => "NOT_OPEN",
            Self::NotPlanned => "NOT_PLANNED",
            Self::AlreadyStarted => "ALREADY_STARTED",
            Self::NotStarted => "NOT_STARTED",
            Self::OtherCrew => "OTHER_CREW",
            Self::AlreadyFinished => "ALREADY_FINISHED",
            Self::GivenUp => "GIVEN_UP",
            Self::NotArrived => "NOT_ARRIVED",
            Self::NotFinished => "NOT_FINISHED",
            Self::NotPublished => "NOT_PUBLISHED",
            Self::CaseClosed => "CASE_CLOSED",
            Self::RecordKept => "RECORD_KEPT",
        }
    }
}

/// The status a client gets.
pub(crate) fn status(error: Error) -> Status {
    match error {
        Error::Invalid(violations) => invalid(&violations),
        Error::NotFound { name } => {
            let words = format!("{name} is not there");
            about(Code::NotFound, "NOT_FOUND", name, words)
        }
        Error::AlreadyExists { name } => {
            let words = format!("{name} is there already; choose another id, or update it");
            about(Code::AlreadyExists, "ALREADY_EXISTS", name, words)
        }
        Error::StaleEtag { name } => {
            let words = format!("{name} has changed since it was read; read it and try again");
            about(Code::Aborted, "STALE_ETAG", name, words)
        }
        Error::RequestIdReused { request_id } => {
            let words = "the request id was used for another command; choose a new one";
            plain(
                Code::FailedPrecondition,
                "REQUEST_ID_REUSED",
                words,
                [("request_id", request_id)],
            )
        }
        Error::Obstructed(obstacles) => obstructed(&obstacles),
        Error::Unauthenticated => plain(
            Code::Unauthenticated,
            "UNAUTHENTICATED",
            "the call has no key that is good",
            [],
        ),
        Error::NotPermitted { action } => plain(
            Code::PermissionDenied,
            "NOT_PERMITTED",
            format!("not permitted: {action}"),
            [],
        ),
        Error::TooMuch { limit } => plain(
            Code::ResourceExhausted,
            "TOO_MUCH",
            format!("beyond the limit of {limit}"),
            [],
        ),
        Error::TokenTooOld => plain(
            Code::OutOfRange,
            "TOKEN_TOO_OLD",
            "the resume token cannot be gone on from; begin again without one",
            [],
        ),
        Error::LeaseLost => retry(
            Code::Aborted,
            "LEASE_LOST",
            "another server took over the search; nothing was stored by this one, send the same again",
            RETRY_SOON,
        ),
        Error::GoingDown => retry(
            Code::Unavailable,
            "GOING_DOWN",
            "the server is going down; try again",
            RETRY_LATER,
        ),
        Error::Store(error) => store(error),
        Error::Internal(words) => {
            error!(%words, "internal error");
            internal()
        }
    }
}

fn store(error: StoreError) -> Status {
    match error {
        // Use cases look first and name what stands in the way; what comes to these two slipped in
        // between, or past them.
        StoreError::Unique(rule) => match rule {
            UniqueRule::Key => taken("it is there already"),
            UniqueRule::UnitSerialNumber => taken("another unit has the serial number"),
            UniqueRule::OpenTagOut => taken("the unit has an open tag-out"),
            UniqueRule::TagOutReopens => taken("the tag-out is taken up again already"),
            UniqueRule::PublishedPlan => taken("the day has a published plan"),
            UniqueRule::LoadOutUnit => taken("the unit is with another crew"),
            UniqueRule::TagOutNumber
            | UniqueRule::PlanDayRevision
            | UniqueRule::StopPosition
            | UniqueRule::Visit
            | UniqueRule::CaseNumber
            | UniqueRule::RequestId => retry(
                Code::Aborted,
                "CONTENTION",
                "others did the same at the same time; try again",
                RETRY_SOON,
            ),
        },
        StoreError::ForeignKey { detail } => {
            warn!(%detail, "a foreign key stood in the way");
            plain(
                Code::FailedPrecondition,
                "REFERENCE",
                "it refers to something that is gone, or something still refers to it",
                [],
            )
        }
        StoreError::Guard(rule) => guard(rule).map_or_else(
            || {
                error!(?rule, "a write that is not as the schema wants it");
                internal()
            },
            |(reason, words)| plain(Code::FailedPrecondition, reason, words, []),
        ),
        StoreError::Contention { detail } => {
            warn!(%detail, "no attempt came through");
            retry(
                Code::Aborted,
                "CONTENTION",
                "others write at the same time; try again",
                RETRY_SOON,
            )
        }
        StoreError::Unavailable { detail } => {
            error!(%detail, "the database is away");
            retry(
                Code::Unavailable,
                "DATABASE_AWAY",
                "the database cannot be reached; try again",
                RETRY_LATER,
            )
        }
        StoreError::Full { detail } => {
            error!(%detail, "no space is left for the database");
            plain(
                Code::ResourceExhausted,
                "STORAGE_FULL",
                "no space is left for the database; nothing was written",
                [],
            )
        }
        StoreError::NotWritable { detail } => {
            error!(%detail, "the database cannot be written");
            plain(
                Code::Unavailable,
                "NOT_WRITABLE",
                "the database cannot be written",
                [],
            )
        }
        StoreError::Other(cause) => {
            error!(%cause, "database error");
            internal()
        }
    }
}

/// Reason and words of a guard; none where only a fault of ours can meet it.
fn guard(rule: GuardRule) -> Option<(&'static str, &'static str)> {
    Some(match rule {
        GuardRule::NotSerializable => return None,
        GuardRule::SpellEndsBeforeItBegins => (
            "SPELL_ENDS_BEFORE_IT_BEGINS",
            "a unit is with a crew until after it came to it",
        ),
        GuardRule::UnitTaggedOut => (
            "UNIT_TAGGED_OUT",
            "a unit of the plan is tagged out; plan the day again without it",
        ),
        GuardRule::UnitWithAnotherCrew => (
            "UNIT_WITH_ANOTHER_CREW",
            "a unit is with one crew of a plan at a time",
        ),
        GuardRule::PlanBeginsAsDraft => ("PLAN_BEGINS_AS_DRAFT", "a plan begins as a draft"),
        GuardRule::PlanTransition => (
            "PLAN_TRANSITION",
            "a plan goes from draft to published to replaced, or from draft to discarded",
        ),
        GuardRule::PlanFixed => ("PLAN_FIXED", "a plan that was published never changes"),
        GuardRule::ReleaseNeedsInspection => (
            "RELEASE_NEEDS_INSPECTION",
            "a tag-out is released only after an inspection that was passed",
        ),
        GuardRule::TagOutReleased => ("TAG_OUT_RELEASED", "the tag-out was released"),
        GuardRule::TagOutOpen => ("TAG_OUT_OPEN", "the tag-out is open"),
        GuardRule::TagOutReopens => (
            "TAG_OUT_REOPENS",
            "only a released tag-out of the same unit is taken up again",
        ),
    })
}

/// The first items whose texts fit into a status; always one.
fn fitting<T>(items: &[T], text_bytes: impl Fn(&T) -> usize) -> &[T] {
    let mut bytes = 0;
    let fit = items.iter().take_while(|item| {
        bytes += text_bytes(item) + ITEM_FRAME_BYTES;
        bytes <= ITEM_BYTES_MAX
    });
    let count = Ord::max(fit.count(), 1);
    items.get(..count).unwrap_or(items)
}

fn invalid(violations: &[Violation]) -> Status {
    let shown = fitting(violations, |violation| {
        violation.field.len() + violation.description.len() + violation.reason.code().len()
    });
    let mut details = ErrorDetails::new();
    details.set_error_info("INVALID_ARGUMENT", ERROR_DOMAIN, HashMap::new());
    details.set_bad_request(
        shown
            .iter()
            .map(|violation| {
                let mut detail = FieldViolation::new(&violation.field, &violation.description);
                violation.reason.code().clone_into(&mut detail.reason);
                detail
            })
            .collect::<Vec<_>>(),
    );
    let words = match violations {
        [only] => format!("{}: {}", only.field, only.description),
        [first, rest @ ..] => format!(
            "{}: {}; and {} more",
            first.field,
            first.description,
            rest.len()
        ),
        [] => "the request is invalid".to_owned(),
    };
    Status::with_error_details(Code::InvalidArgument, words, details)
}

fn obstructed(obstacles: &[Obstacle]) -> Status {
    let Some(first) = obstacles.first() else {
        error!("a call was obstructed by nothing");
        return internal();
    };
    let shown = fitting(obstacles, |obstacle| {
        obstacle.subject.len() + obstacle.description.len() + obstacle.kind.code().len()
    });
    let mut details = ErrorDetails::new();
    details.set_error_info(first.kind.code(), ERROR_DOMAIN, HashMap::new());
    details.set_precondition_failure(
        shown
            .iter()
            .map(|obstacle| {
                PreconditionViolation::new(
                    obstacle.kind.code(),
                    &obstacle.subject,
                    &obstacle.description,
                )
            })
            .collect::<Vec<_>>(),
    );
    let words: Vec<_> = obstacles
        .iter()
        .take(WORDED_MAX)
        .map(|obstacle| format!("{}: {}", obstacle.subject, obstacle.description))
        .chain((obstacles.len() > WORDED_MAX).then(|| {
            let more = obstacles.len() - WORDED_MAX;
            format!("and {more} more")
        }))
        .collect();
    let words = words.join("; ");
    Status::with_error_details(Code::FailedPrecondition, words, details)
}

/// A status about one resource.
fn about(code: Code, reason: &str, name: String, words: String) -> Status {
    let mut details = ErrorDetails::new();
    details.set_error_info(reason, ERROR_DOMAIN, HashMap::new());
    details.set_resource_info(kind_of(&name), name, "", "");
    Status::with_error_details(code, words, details)
}

/// The message type of a resource, by its name.
fn kind_of(name: &str) -> &'static str {
    let mut segments = name.split('/').rev();
    match segments.nth(1) {
        Some("branches") => "forenoon.v1.Branch",
        Some("sites") => "forenoon.v1.Site",
        Some("crews") => "forenoon.v1.Crew",
        Some("workers") => "forenoon.v1.Worker",
        Some("units") => "forenoon.v1.Unit",
        Some("jobs") => "forenoon.v1.Job",
        Some("plans") => "forenoon.v1.Plan",
        Some("tagOuts") => "forenoon.v1.TagOut",
        Some("cases") => "forenoon.v1.Case",
        _ => "",
    }
}

fn taken(words: &str) -> Status {
    plain(Code::AlreadyExists, "ALREADY_EXISTS", words, [])
}

fn retry(code: Code, reason: &str, words: &str, delay: Duration) -> Status {
    let mut details = ErrorDetails::new();
    details.set_error_info(reason, ERROR_DOMAIN, HashMap::new());
    details.set_retry_info(Some(delay));
    Status::with_error_details(code, words, details)
}

fn internal() -> Status {
    plain(
        Code::Internal,
        "INTERNAL",
        "a fault of the server; its log has the details",
        [],
    )
}

fn plain<const N: usize>(
    code: Code,
    reason: &str,
    words: impl Into<String>,
    metadata: [(&str, String); N],
) -> Status {
    let mut details = ErrorDetails::new();
    let metadata: HashMap<_, _> = metadata
        .into_iter()
        .map(|(key, value)| (key.to_owned(), value))
        .collect();
    details.set_error_info(reason, ERROR_DOMAIN, metadata);
    Status::with_error_details(code, words, details)
}

#[cfg(test)]
mod tests {
    /// The table beside the contract names every reason that this file gives, and no other.
    #[test]
    fn the_table_of_reasons_is_complete() {
        let table = include_str!("../../../proto/REASONS.md");
        let mut told: Vec<_> = table
            .lines()
            .filter_map(|line| line.strip_prefix("| `")?.split('`').next())
            .collect();
        let source = include_str!("status.rs");
        let source = source.split("mod tests").next().unwrap_or_default();
        let mut given: Vec<_> = source
            .split('"')
            .skip(1)
            .step_by(2)
            .filter(|text| {
                text.len() > 3 && text.chars().all(|c| c.is_ascii_uppercase() || c == '_')
            })
            .collect();
        for list in [&mut told, &mut given] {
            list.sort_unstable();
            list.dedup();
        }
        assert_eq!(told, given);
    }
}
