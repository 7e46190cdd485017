//! Collects everything that is wrong with a request, so that the caller is told all at once.
//!
//! A converter reports its faults and returns `None`; who calls it goes on with the next field, and
//! at the end [`Checks::finish`] turns faults into the error, or hands the value on.

use std::fmt::Display;
use std::ops::RangeInclusive;

use uuid::Uuid;

use crate::work::{Error, Reason, Violation};

/// A checked value; none where a fault was noted.
pub(crate) type Checked<T> = Option<T>;

/// The faults found so far, and where in the request we are.
#[derive(Debug, Default)]
pub(crate) struct Checks {
    path: Vec<String>,
    found: Vec<Violation>,
    refused: Option<Error>,
}

impl Checks {
    /// Nothing found yet.
    pub(crate) fn new() -> Self {
        Self::default()
    }

    /// Checks what lies below `segment`, as `areas[3]`.
    pub(crate) fn within<T>(
        &mut self,
        segment: impl Display,
        check: impl FnOnce(&mut Self) -> T,
    ) -> T {
        self.path.push(segment.to_string());
        let outcome = check(self);
        self.path.pop();
        outcome
    }

    /// Checks every item of a list of at most `count_max`.
    pub(crate) fn each<W, T>(
        &mut self,
        field: &str,
        items: Vec<W>,
        count_max: usize,
        mut check: impl FnMut(&mut Self, W) -> Option<T>,
    ) -> Option<Vec<T>> {
        let count = items.len();
        if count > count_max {
            return self.fault(
                field,
                Reason::TooMany,
                format!("{count} given; give {count_max} at most"),
            );
        }
        let mut all = Some(Vec::with_capacity(count));
        for (index, item) in items.into_iter().enumerate() {
            let one = self.within(format_args!("{field}[{index}]"), |checks| {
                check(checks, item)
            });
            all = all.zip(one).map(|(mut all, one)| {
                all.push(one);
                all
            });
        }
        all
    }

    /// Notes a fault at `field`; the empty field is where we are. Always `None`, to be returned.
    pub(crate) fn fault<T>(
        &mut self,
        field: &str,
        reason: Reason,
        description: impl Into<String>,
    ) -> Option<T> {
        let mut path = self.path.join(".");
        if !field.is_empty() {
            if !path.is_empty() {
                path.push('.');
            }
            path.push_str(field);
        }
        self.found.push(Violation {
            field: path,
            reason,
            description: description.into(),
        });
        None
    }

    /// Notes that the caller may not do this at all, which goes before every fault. Always `None`, to be returned.
    pub(crate) fn refuse<T>(&mut self, error: Error) -> Option<T> {
        self.refused = Some(error);
        None
    }

    /// The value, where nothing is wrong.
    pub(crate) fn finish<T>(self, value: Option<T>) -> Result<T, Error> {
        if let Some(refused) = self.refused {
            return Err(refused);
        }
        if !self.found.is_empty() {
            return Err(Error::Invalid(self.found));
        }
        value.ok_or_else(|| Error::Internal("a check failed without saying why".to_owned()))
    }

    /// Whether anything was found.
    pub(crate) const fn has_faults(&self) -> bool {
        !self.found.is_empty()
    }

    /// What was found, where the caller goes on all the same.
    pub(crate) fn into_faults(self) -> Vec<Violation> {
        self.found
    }

    /// A part that must be given.
    pub(crate) fn required<T>(&mut self, field: &str, value: Option<T>) -> Option<T> {
        if value.is_none() {
            return self.fault(field, Reason::Required, "is missing; give one");
        }
        value
    }

    /// Text of a length in characters, without control characters.
    pub(crate) fn text(
        &mut self,
        field: &str,
        value: String,
        length: RangeInclusive<usize>,
    ) -> Option<String> {
        let count = value.chars().count();
        if count == 0 && *length.start() > 0 {
            return self.fault(field, Reason::Required, "is empty; give some text");
        }
        if count > *length.end() {
            return self.fault(
                field,
                Reason::TooLong,
                format!(
                    "has {count} characters; {} are the most there may be",
                    length.end()
                ),
            );
        }
        if count < *length.start() {
            return self.fault(
                field,
                Reason::OutOfRange,
                format!("has {count} characters; give at least {}", length.start()),
            );
        }
        if value
            .chars()
            .any(|c| c.is_control() && c != '\n' && c != '\t')
        {
            return self.fault(
                field,
                Reason::Malformed,
                "has control characters; leave them out",
            );
        }
        Some(value)
    }

    /// A whole number within a range.
    pub(crate) fn whole(
        &mut self,
        field: &str,
        value: i32,
        range: RangeInclusive<i32>,
    ) -> Option<i32> {
        if range.contains(&value) {
            return Some(value);
        }
        self.out_of_range(field, value, range.start(), range.end())
    }

    /// A number within a range; neither infinite nor undefined.
    pub(crate) fn number(
        &mut self,
        field: &str,
        value: f64,
        range: RangeInclusive<f64>,
    ) -> Option<f64> {
        if value.is_finite() && range.contains(&value) {
            // Negative zero is zero: it would come back as another number.
            return Some(value + 0.0);
        }
        self.out_of_range(field, value, range.start(), range.end())
    }

    fn out_of_range<T>(
        &mut self,
        field: &str,
        value: impl Display,
        least: impl Display,
        most: impl Display,
    ) -> Option<T> {
        self.fault(
            field,
            Reason::OutOfRange,
            format!("is {value}; give one from {least} to {most}"),
        )
    }

    /// A value of an enumeration; `none` stands for the unspecified value, where that is allowed.
    pub(crate) fn word<W, T>(
        &mut self,
        field: &str,
        value: i32,
        none: Option<T>,
        convert: impl FnOnce(W) -> Option<T>,
    ) -> Option<T>
    where
        W: TryFrom<i32>,
    {
        let Ok(word) = W::try_from(value) else {
            return self.fault(
                field,
                Reason::OutOfRange,
                format!("{value} is no value of the enumeration"),
            );
        };
        let converted = convert(word).or(none);
        if converted.is_none() {
            return self.fault(field, Reason::Required, "is unspecified; choose one");
        }
        converted
    }

    /// The id of a command: a UUID, or empty.
    pub(crate) fn request_id(&mut self, value: &str) -> Checked<Option<Uuid>> {
        if value.is_empty() {
            return Some(None);
        }
        match Uuid::try_parse(value) {
            Ok(id) if !id.is_nil() => Some(Some(id)),
            _ => self.fault(
                "request_id",
                Reason::Malformed,
                "is no UUID; give one chosen at random, or none",
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(checks: Checks) -> Vec<(String, Reason)> {
        match checks.finish(Some(())) {
            Err(Error::Invalid(found)) => found
                .into_iter()
                .map(|fault| (fault.field, fault.reason))
                .collect(),
            other => panic!("expected faults, got {other:?}"),
        }
    }

    #[test]
    fn finds_all_faults_with_their_paths() {
        let mut checks = Checks::new();
        checks.within("site", |checks| {
            checks.text("display_name", String::new(), 1..=5);
            checks.each("areas", vec![1.0, f64::NAN, -1.0], 10, |checks, slope| {
                checks.number("slope_percent", slope, 0.0..=200.0)
            });
        });
        assert_eq!(
            fields(checks),
            [
                ("site.display_name".to_owned(), Reason::Required),
                ("site.areas[1].slope_percent".to_owned(), Reason::OutOfRange),
                ("site.areas[2].slope_percent".to_owned(), Reason::OutOfRange),
            ]
        );
    }

    #[test]
    fn counts_characters_and_not_bytes() {
        let mut checks = Checks::new();
        assert_eq!(
            checks.text("a", "äöüßé".to_owned(), 1..=5),
            Some("äöüßé".to_owned())
        );
        assert_eq!(checks.text("b", "äöüßéx".to_owned(), 1..=5), None);
        assert_eq!(checks.text("c", "bell\u{7}".to_owned(), 1..=5), None);
        assert_eq!(
            fields(checks),
            [
                ("b".to_owned(), Reason::TooLong),
                ("c".to_owned(), Reason::Malformed)
            ]
        );
    }

    #[test]
    fn takes_a_uuid_or_nothing_as_request_id() {
        let mut checks = Checks::new();
        assert_eq!(checks.request_id(""), Some(None));
        let id = "0190c5d4-7c4c-7b1e-9b5e-0b1f2c3d4e5f";
        assert_eq!(
            checks.request_id(id).flatten().map(|id| id.to_string()),
            Some(id.to_owned())
        );
        assert_eq!(checks.request_id("again"), None);
        assert_eq!(
            checks.request_id("00000000-0000-0000-0000-000000000000"),
            None
        );
        assert_eq!(fields(checks).len(), 2);
    }
}
