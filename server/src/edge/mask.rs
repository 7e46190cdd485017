//! Field masks: which fields of a resource an update changes.

use prost_types::FieldMask;

use crate::work::Reason;

use super::checks::Checks;

/// The fields an update changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Mask {
    /// All that can be changed.
    All,
    /// These.
    Fields(Vec<String>),
}

impl Mask {
    /// Whether the update changes this field.
    pub(crate) fn has(&self, field: &str) -> bool {
        match self {
            Self::All => true,
            Self::Fields(fields) => fields.iter().any(|named| named == field),
        }
    }
}

impl Checks {
    /// Reads a mask that names whole fields, each once in `updatable`; absent or `*` means all.
    pub(crate) fn mask(
        &mut self,
        mask: Option<FieldMask>,
        updatable: &[&str],
        fixed: &[&str],
    ) -> Option<Mask> {
        let Some(FieldMask { paths }) = mask else {
            return Some(Mask::All);
        };
        if paths.is_empty() || paths == ["*"] {
            return Some(Mask::All);
        }
        let mut sound = true;
        for (index, path) in paths.iter().enumerate() {
            let field = format!("update_mask.paths[{index}]");
            if fixed.contains(&path.as_str()) {
                let words = format!("{path} cannot be changed; leave it out");
                self.fault::<()>(&field, Reason::Immutable, words);
                sound = false;
            } else if !updatable.contains(&path.as_str()) {
                let words = format!(
                    "there is no field {path:?} to change; name whole fields of {}",
                    updatable.join(", ")
                );
                self.fault::<()>(&field, Reason::UnknownField, words);
                sound = false;
            }
        }
        sound.then_some(Mask::Fields(paths))
    }
}

/// Declares which fields of a message can be changed, and the function that changes them by a mask.
///
/// The message is taken apart completely: a new field of the contract has to be put in one list.
macro_rules! updatable {
    ($message:ty { $($field:ident),+ $(,)? } fixed { $($fixed:ident),+ $(,)? }) => {
        /// The fields that can be changed.
        const UPDATABLE: &[&str] = &[$(stringify!($field)),+];
        /// The fields that cannot.
        const FIXED: &[&str] = &[$(stringify!($fixed)),+];

        /// Lays the fields of `from` that the mask names over `into`.
        fn overlay(into: &mut $message, from: $message, mask: &crate::edge::mask::Mask) {
            type Message = $message;
            let Message { $($field,)+ $($fixed: _,)+ } = from;
            $(if mask.has(stringify!($field)) {
                into.$field = $field;
            })+
        }
    };
}
pub(crate) use updatable;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    #[test]
    fn names_whole_fields_that_can_be_changed() {
        let read = |paths: &[&str]| {
            let mut checks = Checks::new();
            let mask = FieldMask {
                paths: paths.iter().map(|&path| path.to_owned()).collect(),
            };
            let mask = checks.mask(Some(mask), &["a", "b"], &["name"]);
            checks.finish(mask)
        };
        let both = read(&["b", "a"]).expect("both can be changed");
        assert!(both.has("a") && both.has("b") && !both.has("c"));
        assert_eq!(read(&["*"]).expect("all"), Mask::All);
        assert_eq!(read(&[]).expect("all"), Mask::All);
        let Err(Error::Invalid(found)) = read(&["a", "name", "c", "a.b"]) else {
            panic!("three paths are wrong");
        };
        let reasons: Vec<_> = found
            .iter()
            .map(|fault| (fault.field.as_str(), fault.reason))
            .collect();
        assert_eq!(
            reasons,
            [
                ("update_mask.paths[1]", Reason::Immutable),
                ("update_mask.paths[2]", Reason::UnknownField),
                ("update_mask.paths[3]", Reason::UnknownField),
            ]
        );
    }
}
