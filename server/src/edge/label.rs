//! Text on one line, and lists in which nothing comes twice.

use std::collections::HashMap;
use std::fmt::Display;
use std::hash::Hash;
use std::ops::RangeInclusive;

use crate::work::Reason;

use super::checks::Checks;

/// The most characters of a label.
const LABEL_LENGTH_MAX: usize = 63;

impl Checks {
    /// Text on one line, not blank where it must be given.
    pub(crate) fn line(
        &mut self,
        field: &str,
        value: String,
        length: RangeInclusive<usize>,
    ) -> Option<String> {
        let must_be_given = *length.start() > 0;
        let value = self.text(field, value, length)?;
        if value.contains(['\n', '\t']) {
            return self.fault(field, Reason::Malformed, "is more than one line; give one");
        }
        if must_be_given && value.trim().is_empty() {
            return self.fault(field, Reason::Required, "is blank; give some text");
        }
        Some(value)
    }

    /// A word of a fixed spelling that people agree on, as a skill or a coupling: lower-case letters,
    /// digits or hyphens.
    pub(crate) fn label(&mut self, field: &str, value: String) -> Option<String> {
        let value = self.text(field, value, 1..=LABEL_LENGTH_MAX)?;
        let sound = value
            .chars()
            .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
        if !sound {
            return self.fault(
                field,
                Reason::Malformed,
                "must be lower-case letters, digits or hyphens",
            );
        }
        Some(value)
    }

    /// Labels, each once, at most `count_max`.
    pub(crate) fn labels(
        &mut self,
        field: &str,
        values: Vec<String>,
        count_max: usize,
    ) -> Option<Vec<String>> {
        self.distinct(field, "", &values);
        self.each(field, values, count_max, |checks, value| {
            checks.label("", value)
        })
    }

    /// Notes every value of an enumeration that came before. `name` is empty for what is none.
    pub(crate) fn distinct_words(
        &mut self,
        field: &str,
        values: &[i32],
        name: impl Fn(i32) -> &'static str,
    ) {
        self.distinct(field, "", values.iter().map(|&value| name(value)));
    }

    /// Notes every item of a list whose key came before. `key_field` is the key's place in the item,
    /// empty where the item is the key. Empty keys are for others to judge.
    pub(crate) fn distinct<K>(
        &mut self,
        field: &str,
        key_field: &str,
        keys: impl IntoIterator<Item = K>,
    ) where
        K: Hash + Eq + Display,
    {
        let mut first_at = HashMap::new();
        for (index, key) in keys.into_iter().enumerate() {
            let shown = key.to_string();
            let Some(first) = first_at.get(&key) else {
                if !shown.is_empty() {
                    first_at.insert(key, index);
                }
                continue;
            };
            let words = format!("{shown} stands at {field}[{first}] already; give it once");
            self.within(format_args!("{field}[{index}]"), |checks| {
                checks.fault::<()>(key_field, Reason::Duplicate, words);
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    fn faults(check: impl FnOnce(&mut Checks)) -> Vec<(String, Reason)> {
        let mut checks = Checks::new();
        check(&mut checks);
        match checks.finish(Some(())) {
            Ok(()) => Vec::new(),
            Err(Error::Invalid(found)) => found
                .into_iter()
                .map(|fault| (fault.field, fault.reason))
                .collect(),
            Err(other) => panic!("{other}"),
        }
    }

    #[test]
    fn a_line_is_one_line_and_says_something() {
        for (value, length, expected) in [
            ("Mill Lawn", 1..=9, None),
            ("", 0..=9, None),
            ("", 1..=9, Some(Reason::Required)),
            ("  ", 1..=9, Some(Reason::Required)),
            ("  ", 0..=9, None),
            ("a\nb", 0..=9, Some(Reason::Malformed)),
            ("a\tb", 0..=9, Some(Reason::Malformed)),
            ("Mill Lawns", 1..=9, Some(Reason::TooLong)),
        ] {
            let found = faults(|checks| {
                checks.line("x", value.to_owned(), length);
            });
            let expected: Vec<_> = expected
                .map(|reason| ("x".to_owned(), reason))
                .into_iter()
                .collect();
            assert_eq!(found, expected, "{value:?}");
        }
    }

    #[test]
    fn labels_have_one_spelling_and_come_once() {
        let found = faults(|checks| {
            let values = ["chainsaw", "Chainsaw", "ride-on", "chainsaw", "", "a b"];
            checks.labels("skills", values.map(str::to_owned).to_vec(), 6);
        });
        let at = |index: usize, reason| (format!("skills[{index}]"), reason);
        assert_eq!(
            found,
            [
                at(3, Reason::Duplicate),
                at(1, Reason::Malformed),
                at(4, Reason::Required),
                at(5, Reason::Malformed),
            ]
        );
    }
}
