//! One file for each kind of record: which cell goes into which field.
//!
//! Each function fills the fields whose cells are there, of a new record or of one read from the server.

pub mod crew;
pub mod job;
pub mod site;
pub mod unit;

use forenoon_proto::v1::Contact;

use crate::names::{Collection, resource};
use crate::parse::list;
use crate::parse::word::Word;

/// Reads one word of an enumeration for the wire.
///
/// # Errors
/// A sentence that lists the words there are.
fn word<E: Word>(text: &str) -> Result<i32, String> {
    E::read(text).map(Into::into)
}

/// Reads several words of an enumeration for the wire.
fn words<E: Word>(text: &str) -> Result<Vec<i32>, String> {
    list(text).iter().map(|part| word::<E>(part)).collect()
}

#[expect(
    clippy::unnecessary_wraps,
    reason = "used where readers that can fail are"
)]
fn texts(text: &str) -> Result<Vec<String>, String> {
    Ok(list(text))
}

/// A contact, where it says anything: without a word it is nobody.
fn somebody(contact: Contact) -> Option<Contact> {
    (contact != Contact::default()).then_some(contact)
}

/// Reads an id as a resource name of the branch.
fn reference(branch: &str, collection: Collection) -> impl Fn(&str) -> Result<String, String> {
    move |text| Ok(resource(branch, collection, text))
}
