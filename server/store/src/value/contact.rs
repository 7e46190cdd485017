//! Somebody to ask or to meet.

use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

/// Somebody to ask or to meet. What is not known is empty.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct Contact {
    /// Name as it should be spoken.
    pub display_name: String,
    /// Telephone number as it should be dialled.
    pub phone: String,
    /// Electronic mail address.
    pub email: String,
}
