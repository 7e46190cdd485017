//! Money, between wire and whole minor units of the branch's currency.

use forenoon_proto::google::r#type::Money;
use iso_currency::Currency;

use forenoon_desk::WAGE_MINOR_MAX;

use crate::work::Reason;

use super::checks::{Checked, Checks};

/// Decimal digits of the wire's fraction.
const NANO_DIGITS: u32 = 9;
/// The most money there may be in one amount, in whole units: well inside 64 bits of minor units.
const UNITS_MAX: i64 = 1_000_000_000_000;

/// Minor units in one unit of the currency, as 100 cents; ISO 4217's exponent.
fn minor_per_unit(currency: Currency) -> Option<i64> {
    10_i64.checked_pow(u32::from(currency.exponent()?))
}

/// Minor units as the wire has them.
pub(crate) fn money(minor: i64, currency_code: &str) -> Money {
    // A code is checked before it is stored; one that is unknown here would be a fault of ours, and
    // whole units show it better than a panic.
    let per_unit = Currency::from_code(currency_code)
        .and_then(minor_per_unit)
        .unwrap_or(1);
    let nanos_per_minor = 10_i64.pow(NANO_DIGITS) / per_unit;
    Money {
        currency_code: currency_code.to_owned(),
        units: minor / per_unit,
        nanos: i32::try_from(minor % per_unit * nanos_per_minor).unwrap_or(0),
    }
}

impl Checks {
    /// An ISO 4217 currency with minor units.
    pub(crate) fn currency(&mut self, field: &str, code: String) -> Option<String> {
        if code.is_empty() {
            return self.fault(
                field,
                Reason::Required,
                "is empty; give an ISO 4217 code, as USD",
            );
        }
        if Currency::from_code(&code)
            .and_then(minor_per_unit)
            .is_none()
        {
            return self.fault(
                field,
                Reason::Malformed,
                "is no ISO 4217 currency code; give one as USD",
            );
        }
        Some(code)
    }

    /// What an hour of work costs: an amount within what plans reckon with, none where absent.
    pub(crate) fn wage(
        &mut self,
        field: &str,
        value: Option<Money>,
        branch_currency: &str,
    ) -> Checked<Option<i64>> {
        let minor = self.money(field, value, branch_currency)?;
        if minor.is_some_and(|minor| minor > WAGE_MINOR_MAX) {
            let Money { units, .. } = money(WAGE_MINOR_MAX, branch_currency);
            return self.fault(
                field,
                Reason::OutOfRange,
                format!("is more than plans reckon with; give {units} {branch_currency} at most"),
            );
        }
        Some(minor)
    }

    /// An amount in the branch's currency, not negative and in whole minor units; none where absent.
    /// Where the amount names no currency, the branch's is meant.
    pub(crate) fn money(
        &mut self,
        field: &str,
        value: Option<Money>,
        branch_currency: &str,
    ) -> Checked<Option<i64>> {
        let Some(Money {
            currency_code,
            units,
            nanos,
        }) = value
        else {
            return Some(None);
        };
        if !currency_code.is_empty() && currency_code != branch_currency {
            return self.fault(
                field,
                Reason::OtherCurrency,
                format!("is in {currency_code}; the branch's money is in {branch_currency}"),
            );
        }
        if !(0..=UNITS_MAX).contains(&units) || !(0..1_000_000_000).contains(&nanos) {
            return self.fault(
                field,
                Reason::OutOfRange,
                "is negative or too much; give 0 or more",
            );
        }
        let per_unit = Currency::from_code(branch_currency).and_then(minor_per_unit)?;
        let nanos_per_minor = 10_i64.pow(NANO_DIGITS) / per_unit;
        let nanos = i64::from(nanos);
        if nanos % nanos_per_minor != 0 {
            return self.fault(
                field,
                Reason::OutOfRange,
                format!("is finer than {branch_currency} goes; round it"),
            );
        }
        Some(Some(units * per_unit + nanos / nanos_per_minor))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn amount(code: &str, units: i64, nanos: i32) -> Money {
        Money {
            currency_code: code.to_owned(),
            units,
            nanos,
        }
    }

    /// Exponents: ISO 4217, table A.1 (USD 2, JPY 0, KWD 3).
    #[test]
    fn amounts_are_whole_minor_units_of_their_currency() {
        for (code, units, nanos, minor) in [
            ("USD", 45, 500_000_000, 4_550),
            ("USD", 0, 10_000_000, 1),
            ("JPY", 45, 0, 45),
            ("KWD", 1, 1_000_000, 1_001),
        ] {
            let mut checks = Checks::new();
            let read = checks.money("price", Some(amount(code, units, nanos)), code);
            assert_eq!(read, Some(Some(minor)), "{code}");
            assert_eq!(money(minor, code), amount(code, units, nanos));
        }
    }

    #[test]
    fn refuses_other_currencies_fractions_of_a_cent_and_debts() {
        for value in [
            amount("EUR", 1, 0),
            amount("USD", 0, 1),
            amount("USD", 0, 5_000_000),
            amount("USD", -1, 0),
            amount("USD", 0, -10_000_000),
            amount("USD", i64::MAX, 0),
            amount("USD", 0, 1_000_000_000),
        ] {
            assert_eq!(
                Checks::new().money("price", Some(value.clone()), "USD"),
                None,
                "{value:?}"
            );
        }
        assert_eq!(Checks::new().money("price", None, "USD"), Some(None));
        assert_eq!(
            Checks::new().money("price", Some(amount("", 2, 0)), "USD"),
            Some(Some(200))
        );
    }

    #[test]
    fn a_wage_beyond_what_plans_reckon_with_is_refused() {
        for (code, most) in [("USD", 1_000_000), ("JPY", 100_000_000), ("KWD", 100_000)] {
            let read = |units| {
                Checks::new()
                    .wage("w", Some(amount(code, units, 0)), code)
                    .flatten()
            };
            assert_eq!(read(most), Some(100_000_000), "{code}");
            assert_eq!(read(most + 1), None, "{code}");
        }
        assert_eq!(Checks::new().wage("w", None, "USD"), Some(None));
    }

    #[test]
    fn knows_currencies() {
        let known = |code: &str| Checks::new().currency("c", code.to_owned()).is_some();
        assert!(known("USD") && known("JPY"));
        assert!(!known("") && !known("usd") && !known("ABC") && !known("XXX"));
    }
}
