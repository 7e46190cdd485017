//! Reads a refused call: its code and the fields it blames.

use tonic::{Code, Response, Status};
use tonic_types::StatusExt;

/// A refused call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// The status code.
    pub code: Code,
    /// The message for people.
    pub message: String,
    /// The reason for programs, from `google.rpc.ErrorInfo`.
    pub reason: String,
    /// The fields blamed, in the order given.
    pub faults: Vec<Fault>,
    /// The kinds of obstacles told.
    pub obstacles: Vec<String>,
}

/// One field blamed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The path of the field, as `site.areas[0].surface`.
    pub field: String,
    /// The reason for programs, as `TOO_LONG`.
    pub reason: String,
    /// What is wrong and what to do.
    pub description: String,
}

impl From<Status> for Refusal {
    fn from(status: Status) -> Self {
        let faults = status
            .get_details_bad_request()
            .map(|details| details.field_violations)
            .unwrap_or_default()
            .into_iter()
            .map(|violation| Fault {
                field: violation.field,
                reason: violation.reason,
                description: violation.description,
            })
            .collect();
        let reason = status
            .get_details_error_info()
            .map(|info| info.reason)
            .unwrap_or_default();
        let obstacles = status
            .get_details_precondition_failure()
            .map(|details| {
                details
                    .violations
                    .into_iter()
                    .map(|violation| violation.r#type)
                    .collect()
            })
            .unwrap_or_default();
        Self {
            code: status.code(),
            message: status.message().to_owned(),
            reason,
            faults,
            obstacles,
        }
    }
}

/// The refusal of a call that must be refused.
pub fn refused<T: std::fmt::Debug>(answer: Result<Response<T>, Status>, what: &str) -> Refusal {
    match answer {
        Ok(answer) => panic!("{what}: accepted, though it must be refused: {answer:?}"),
        Err(status) => status.into(),
    }
}
