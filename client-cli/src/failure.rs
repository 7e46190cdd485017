//! What can go wrong, as people and scripts learn of it: a sentence, what to do, and an exit code.

use tonic::{Code, Status};
use tonic_types::StatusExt;

/// The exit codes. They are part of the command's contract: see the README beside this crate.
pub mod exit {
    /// Done.
    pub const OK: u8 = 0;
    /// Anything without a code of its own.
    pub const OTHER: u8 = 1;
    /// The command was written wrongly.
    pub const USAGE: u8 = 2;
    /// The data was refused as wrong.
    pub const BAD_INPUT: u8 = 3;
    /// There is no such thing.
    pub const NOT_FOUND: u8 = 4;
    /// It conflicts with how things stand: changed meanwhile, stale, already there, not allowed in this state.
    pub const CONFLICT: u8 = 5;
    /// The server cannot be reached.
    pub const UNREACHABLE: u8 = 6;
    /// The server did not answer in time.
    pub const TIMED_OUT: u8 = 7;
    /// The caller may not do this.
    pub const NOT_ALLOWED: u8 = 8;
}

/// One thing wrong with what was sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// The field, or the thing, it is about.
    pub subject: String,
    /// What is wrong and what to do.
    pub text: String,
}

/// Why a command failed.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The command was written wrongly.
    #[error("{0}")]
    Usage(String),
    /// What was typed or read is wrong; nothing was sent, or all of it was refused.
    #[error("{0}")]
    BadInput(String),
    /// Nothing by that name, or nothing of that kind yet.
    #[error("{0}")]
    NotFound(String),
    /// The server answered with an error.
    #[error("{}", said(.status))]
    Refused {
        /// Its answer.
        status: Box<Status>,
    },
    /// No server answers at the address.
    #[error("no server answers at {address}: {cause}")]
    Unreachable {
        /// The address.
        address: String,
        /// What the connection said.
        cause: String,
    },
    /// A file could not be read or written.
    #[error("{path}: {cause}")]
    File {
        /// Its path.
        path: String,
        /// What the system said.
        cause: String,
    },
    /// Anything else.
    #[error("{0}")]
    Other(String),
}

/// The server's sentence; where it has none, or only repeats its first violation, what kind of answer it is.
fn said(status: &Status) -> String {
    let message = status.message();
    let bad = status.get_details_bad_request();
    let violations = bad.map(|bad| bad.field_violations).unwrap_or_default();
    let repeats = violations.first().is_some_and(|first| {
        message.starts_with(&format!("{}: {}", first.field, first.description))
    });
    if repeats {
        "the server refuses what was sent".to_owned()
    } else if message.is_empty() {
        format!("the server answers {:?} and says no more", status.code())
    } else {
        message.to_owned()
    }
}

impl From<Status> for Failure {
    fn from(status: Status) -> Self {
        Self::Refused {
            status: Box::new(status),
        }
    }
}

impl From<String> for Failure {
    /// The readers in `parse` speak in sentences about one word of the command line.
    fn from(sentence: String) -> Self {
        Self::Usage(sentence)
    }
}

impl Failure {
    /// The exit code.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Usage(_) => exit::USAGE,
            Self::BadInput(_) => exit::BAD_INPUT,
            Self::NotFound(_) => exit::NOT_FOUND,
            Self::Unreachable { .. } => exit::UNREACHABLE,
            Self::File { .. } | Self::Other(_) => exit::OTHER,
            Self::Refused { status } => match status.code() {
                Code::InvalidArgument | Code::OutOfRange => exit::BAD_INPUT,
                Code::NotFound => exit::NOT_FOUND,
                Code::AlreadyExists | Code::FailedPrecondition | Code::Aborted => exit::CONFLICT,
                Code::Unavailable => exit::UNREACHABLE,
                Code::DeadlineExceeded | Code::Cancelled => exit::TIMED_OUT,
                Code::PermissionDenied | Code::Unauthenticated => exit::NOT_ALLOWED,
                Code::Ok
                | Code::Unknown
                | Code::ResourceExhausted
                | Code::Unimplemented
                | Code::Internal
                | Code::DataLoss => exit::OTHER,
            },
        }
    }

    /// The single things wrong, as the server listed them.
    pub fn violations(&self) -> Vec<Violation> {
        let Self::Refused { status } = self else {
            return Vec::new();
        };
        let mut violations = Vec::new();
        if let Some(bad) = status.get_details_bad_request() {
            violations.extend(bad.field_violations.into_iter().map(|violation| Violation {
                subject: violation.field,
                text: violation.description,
            }));
        }
        if let Some(failed) = status.get_details_precondition_failure() {
            violations.extend(failed.violations.into_iter().map(|violation| Violation {
                subject: violation.subject,
                text: violation.description,
            }));
        }
        if let Some(resource) = status.get_details_resource_info() {
            let already_said =
                resource.description.is_empty() || status.message().contains(&resource.description);
            if !already_said {
                violations.push(Violation {
                    subject: resource.resource_name,
                    text: resource.description,
                });
            }
        }
        violations
    }

    /// What to do next, where that follows from the kind of failure.
    pub fn advice(&self) -> Option<&'static str> {
        match self {
            Self::Unreachable { .. } => Some(
                "Start the server, or name another with --server or FORENOON_SERVER; `forenoon ping` tries it.",
            ),
            Self::Refused { status } => advice_by_reason(status).or(match status.code() {
                Code::Aborted => {
                    Some("It has changed since you read it. Look again, then repeat the command.")
                }
                Code::Unauthenticated => Some(
                    "Give a key with FORENOON_KEY; on the server's machine `forenoon-server key issue` makes one.",
                ),
                Code::NotFound => {
                    Some("Check the id and the branch; the `list` command shows what there is.")
                }
                Code::Unavailable => {
                    Some("The server is starting, stopping or overloaded. Try again shortly.")
                }
                Code::DeadlineExceeded => Some("Allow more time with --timeout, or try again."),
                Code::ResourceExhausted => {
                    Some("The server has too much to do. Try again shortly.")
                }
                Code::Unimplemented => Some("The server is older than this command. Update it."),
                Code::Internal | Code::Unknown | Code::DataLoss => {
                    Some("The fault is the server's; its log tells more.")
                }
                _ => None,
            }),
            _ => None,
        }
    }
}

/// What to do next by the server's own reason, where the code alone would say something else.
fn advice_by_reason(status: &Status) -> Option<&'static str> {
    match status.get_details_error_info()?.reason.as_str() {
        "CONTENTION" => Some("Others were writing at the same moment. Repeat the command."),
        "LEASE_LOST" => Some("Another server searches for this plan. Repeat the command."),
        "STORAGE_FULL" => Some(
            "Nothing was written: the server's storage is full. Its operator must make room first.",
        ),
        "NOT_WRITABLE" => {
            Some("The server's database takes no writes. Its operator must see to that first.")
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use super::*;
    use tonic_types::{ErrorDetails, FieldViolation};

    fn refused(code: Code) -> Failure {
        Status::new(code, "no").into()
    }

    #[test]
    fn each_kind_of_failure_has_its_exit_code() {
        for (failure, code) in [
            (refused(Code::InvalidArgument), 3),
            (refused(Code::NotFound), 4),
            (refused(Code::Aborted), 5),
            (refused(Code::FailedPrecondition), 5),
            (refused(Code::AlreadyExists), 5),
            (refused(Code::Unavailable), 6),
            (refused(Code::DeadlineExceeded), 7),
            (refused(Code::PermissionDenied), 8),
            (refused(Code::Internal), 1),
            (Failure::Usage(String::new()), 2),
            (Failure::BadInput(String::new()), 3),
        ] {
            assert_eq!(failure.exit_code(), code, "{failure:?}");
        }
    }

    #[test]
    fn violations_come_out_one_by_one() {
        let details = ErrorDetails::with_bad_request(vec![
            FieldViolation::new(
                "unit.serial_number",
                "is taken by u-2; serial numbers are unique",
            ),
            FieldViolation::new("unit.coupling", "is missing; an attachment needs one"),
        ]);
        let failure: Failure =
            Status::with_error_details(Code::InvalidArgument, "the unit is not valid", details)
                .into();
        let violations = failure.violations();
        assert_eq!(violations.len(), 2);
        assert_eq!(violations[1].subject, "unit.coupling");
        assert_eq!(failure.to_string(), "the unit is not valid");
    }

    #[test]
    fn advice_goes_by_the_reason_before_the_code() {
        let advice = |code, reason: &str| {
            let details = ErrorDetails::with_error_info(reason, "forenoon", HashMap::new());
            let failure: Failure = Status::with_error_details(code, "no", details).into();
            failure.advice().unwrap()
        };
        for (code, reason, words) in [
            (Code::Aborted, "STALE_ETAG", "changed since you read it"),
            (Code::Aborted, "CONTENTION", "Repeat the command"),
            (Code::Aborted, "LEASE_LOST", "Another server"),
            (Code::ResourceExhausted, "TOO_MUCH", "too much to do"),
            (Code::ResourceExhausted, "STORAGE_FULL", "make room"),
            (Code::Unavailable, "GOING_DOWN", "Try again shortly"),
            (Code::Unavailable, "NOT_WRITABLE", "takes no writes"),
        ] {
            assert!(advice(code, reason).contains(words), "{reason}");
        }
    }

    #[test]
    fn a_sentence_that_repeats_a_violation_or_says_nothing_is_replaced() {
        let details = ErrorDetails::with_bad_request_violation("unit.coupling", "is missing");
        let message = "unit.coupling: is missing; and 2 more";
        let failure: Failure =
            Status::with_error_details(Code::InvalidArgument, message, details).into();
        assert_eq!(failure.to_string(), "the server refuses what was sent");
        let silent: Failure = Status::new(Code::Unimplemented, "").into();
        assert!(silent.to_string().contains("Unimplemented"));
    }
}
