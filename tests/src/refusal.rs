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
    /// The fields blamed, in the order given.
    pub fields: Vec<String>,
    /// The descriptions beside the fields.
    pub descriptions: Vec<String>,
    /// The kinds of obstacles told.
    pub obstacles: Vec<String>,
}

impl From<Status> for Refusal {
    fn from(status: Status) -> Self {
        let (fields, descriptions) = status
            .get_details_bad_request()
            .map(|details| {
                details
                    .field_violations
                    .into_iter()
                    .map(|violation| (violation.field, violation.description))
                    .unzip()
            })
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
            fields,
            descriptions,
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
