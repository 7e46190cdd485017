//! Resource names, as `branches/north/sites/mill-lawn`.

use crate::work::Reason;

use super::checks::{Checked, Checks};
use super::sign_in;

/// The most characters of an id.
const ID_LENGTH_MAX: usize = 63;

/// The name of a resource in a branch.
pub(crate) fn in_branch(branch: &str, collection: &str, id: &str) -> String {
    format!("branches/{branch}/{collection}/{id}")
}

/// Whether a caller may choose this id: a lower-case letter, then letters, digits or hyphens.
pub(crate) fn is_id(id: &str) -> bool {
    id.len() <= ID_LENGTH_MAX
        && id.starts_with(|first: char| first.is_ascii_lowercase())
        && id.chars().all(is_id_character)
}

fn is_id_character(character: char) -> bool {
    character.is_ascii_lowercase() || character.is_ascii_digit() || character == '-'
}

/// The ids in a name of the given collections; `None` where it is no such name.
///
/// Ids we gave ourselves, as those of plans, begin with a digit; so any id character may come first.
pub(crate) fn parse<const N: usize>(collections: [&str; N], name: &str) -> Option<[String; N]> {
    let mut segments = name.split('/');
    let mut ids = [const { String::new() }; N];
    for (collection, id) in collections.into_iter().zip(&mut ids) {
        if segments.next()? != collection {
            return None;
        }
        let segment = segments.next()?;
        let sound = !segment.is_empty()
            && segment.len() <= ID_LENGTH_MAX
            && segment.chars().all(is_id_character);
        if !sound {
            return None;
        }
        segment.clone_into(id);
    }
    segments.next().is_none().then_some(ids)
}

impl Checks {
    /// The ids in the resource name that a request is about. Its branch must be one that the caller may see.
    pub(crate) fn name<const N: usize>(
        &mut self,
        field: &str,
        collections: [&str; N],
        name: &str,
    ) -> Option<[String; N]> {
        let ids = self.ids(field, collections, name)?;
        match sign_in::refuse(&ids[0]) {
            Some(error) => self.refuse(error),
            None => Some(ids),
        }
    }

    /// The ids in a resource name that must be given, of whatever branch.
    pub(crate) fn ids<const N: usize>(
        &mut self,
        field: &str,
        collections: [&str; N],
        name: &str,
    ) -> Option<[String; N]> {
        if name.is_empty() {
            return self.fault(
                field,
                Reason::Required,
                format!("is empty; give a name as {}", pattern(&collections)),
            );
        }
        parse(collections, name).or_else(|| {
            self.fault(
                field,
                Reason::Malformed,
                format!("is no name of the form {}", pattern(&collections)),
            )
        })
    }

    /// The id in a reference to something in the same branch; none where it is empty.
    pub(crate) fn reference(
        &mut self,
        field: &str,
        branch: &str,
        collection: &str,
        name: &str,
    ) -> Checked<Option<String>> {
        if name.is_empty() {
            return Some(None);
        }
        let [named_branch, id] = self.ids(field, ["branches", collection], name)?;
        if named_branch != branch {
            return self.fault(
                field,
                Reason::UnknownReference,
                format!("is in branch {named_branch}; refer to something in branch {branch}"),
            );
        }
        Some(Some(id))
    }

    /// An id the caller chose for something new.
    pub(crate) fn new_id(&mut self, field: &str, id: String) -> Option<String> {
        if id.is_empty() {
            return self.fault(field, Reason::Required, "is empty; choose an id");
        }
        if !is_id(&id) {
            return self.fault(
                field,
                Reason::Malformed,
                "must be a lower-case letter, then lower-case letters, digits or hyphens, 63 at most",
            );
        }
        Some(id)
    }
}

/// The form of a name, as `branches/{branch}/sites/{site}`.
fn pattern(collections: &[&str]) -> String {
    collections
        .iter()
        .map(|collection| format!("{collection}/ID"))
        .collect::<Vec<_>>()
        .join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_names_of_its_collections_only() {
        let site = ["branches", "sites"];
        assert_eq!(
            parse(site, "branches/north/sites/mill-lawn"),
            Some(["north".to_owned(), "mill-lawn".to_owned()])
        );
        assert_eq!(
            parse(["branches", "plans"], "branches/north/plans/2027-04-20-3").map(|[_, id]| id),
            Some("2027-04-20-3".to_owned())
        );
        for bad in [
            "",
            "branches/north",
            "branches/north/units/a",
            "branches/north/sites/",
            "branches/north/sites/a/",
            "branches/north/sites/a/areas/b",
            "/branches/north/sites/a",
            "branches/North/sites/a",
            "branches/no rth/sites/a",
        ] {
            assert_eq!(parse(site, bad), None, "{bad}");
        }
    }

    #[test]
    fn an_id_begins_with_a_letter_and_has_63_characters_at_most() {
        assert!(is_id("a"));
        assert!(is_id(&"a".repeat(63)));
        for bad in [
            "",
            "1a",
            "-a",
            "A",
            "ä",
            "a_b",
            "a.b",
            "a/b",
            &"a".repeat(64),
        ] {
            assert!(!is_id(bad), "{bad}");
        }
    }
}
