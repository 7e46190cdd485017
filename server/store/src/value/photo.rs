//! What photographs are.

use serde::{Deserialize, Serialize};

/// What the bytes of a photograph are, spelled as the media types registry has it.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    Hash,
    Serialize,
    Deserialize,
    sea_orm::EnumIter,
    sea_orm::DeriveActiveEnum,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
pub enum MediaType {
    /// JPEG.
    #[sea_orm(string_value = "image/jpeg")]
    #[serde(rename = "image/jpeg")]
    Jpeg,
    /// PNG.
    #[sea_orm(string_value = "image/png")]
    #[serde(rename = "image/png")]
    Png,
}
