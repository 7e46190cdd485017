//! Money in whole minor units with its currency.
//!
//! **Rounding.** One rule throughout: an amount worked out in decimals is rounded to the nearest
//! minor unit, halves away from zero, once, when it becomes [`Money`]. Totals are sums of rounded
//! amounts, so what is printed adds up.

use crate::fault::Fault;
use core::fmt;
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

/// A currency: its ISO 4217 code and how many digits its minor unit has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Currency {
    code: [u8; 3],
    minor_digits: u8,
}

impl Currency {
    /// United States dollars and cents.
    pub const USD: Self = Self {
        code: *b"USD",
        minor_digits: 2,
    };

    /// A currency by its code and the digits of its minor unit (2 for cents, 0 for yen).
    ///
    /// # Errors
    /// [`Fault::Empty`] if the code is not three capital letters; [`Fault::OutOfRange`] for more
    /// than four digits, more than any currency of the standard has.
    pub fn new(code: &str, minor_digits: u8) -> Result<Self, Fault> {
        crate::fault::within("currency.minor_digits", f64::from(minor_digits), 0.0, 4.0)?;
        match <[u8; 3]>::try_from(code.as_bytes()) {
            Ok(code) if code.iter().all(u8::is_ascii_uppercase) => Ok(Self { code, minor_digits }),
            _ => Err(Fault::Empty {
                field: "currency.code",
            }),
        }
    }

    /// Digits of the minor unit.
    pub const fn minor_digits(self) -> u8 {
        self.minor_digits
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.code
            .iter()
            .try_for_each(|letter| write!(f, "{}", char::from(*letter)))
    }
}

/// An amount of money.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Money {
    minor: i64,
    currency: Currency,
}

impl Money {
    /// From whole minor units (cents).
    pub const fn from_minor(minor: i64, currency: Currency) -> Self {
        Self { minor, currency }
    }

    /// Nothing, in a currency.
    pub const fn zero(currency: Currency) -> Self {
        Self::from_minor(0, currency)
    }

    /// Rounds a decimal amount of major units (dollars) to the minor unit, halves away from zero.
    ///
    /// # Errors
    /// [`Fault::MoneyOverflow`] naming `field` beyond 64 bits of minor units.
    pub fn round(major: Decimal, currency: Currency, field: &'static str) -> Result<Self, Fault> {
        let unit = Decimal::from(10_i64.pow(u32::from(currency.minor_digits)));
        major
            .checked_mul(unit)
            .map(|minor| minor.round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero))
            .and_then(|minor| minor.to_i64())
            .map(|minor| Self { minor, currency })
            .ok_or(Fault::MoneyOverflow { field })
    }

    /// Whole minor units.
    pub const fn minor(self) -> i64 {
        self.minor
    }

    /// The currency.
    pub const fn currency(self) -> Currency {
        self.currency
    }

    /// As a decimal of major units, exactly.
    pub fn major(self) -> Decimal {
        Decimal::new(self.minor, u32::from(self.currency.minor_digits))
    }

    /// The sum.
    ///
    /// # Errors
    /// [`Fault::CurrencyMismatch`], or [`Fault::MoneyOverflow`] beyond 64 bits.
    pub fn plus(self, other: Self) -> Result<Self, Fault> {
        self.same(other)?;
        self.minor
            .checked_add(other.minor)
            .map(|minor| Self { minor, ..self })
            .ok_or(Fault::MoneyOverflow { field: "sum" })
    }

    /// The difference.
    ///
    /// # Errors
    /// [`Fault::CurrencyMismatch`], or [`Fault::MoneyOverflow`] beyond 64 bits.
    pub fn minus(self, other: Self) -> Result<Self, Fault> {
        self.same(other)?;
        self.minor
            .checked_sub(other.minor)
            .map(|minor| Self { minor, ..self })
            .ok_or(Fault::MoneyOverflow {
                field: "difference",
            })
    }

    /// This amount times a factor, rounded.
    ///
    /// # Errors
    /// [`Fault::MoneyOverflow`] naming `field` if the factor is not finite or the result too large.
    pub fn times(self, factor: f64, field: &'static str) -> Result<Self, Fault> {
        let product = decimal(factor, field)?.checked_mul(self.major());
        Self::round(
            product.ok_or(Fault::MoneyOverflow { field })?,
            self.currency,
            field,
        )
    }

    pub(crate) fn same(self, other: Self) -> Result<(), Fault> {
        if self.currency == other.currency {
            Ok(())
        } else {
            Err(Fault::CurrencyMismatch {
                left: self.currency,
                right: other.currency,
            })
        }
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.currency, self.major())
    }
}

/// A physical quantity on its way into money: the nearest decimal, kept to 12 places.
pub(crate) fn decimal(value: f64, field: &'static str) -> Result<Decimal, Fault> {
    Decimal::try_from(value)
        .map(|value| value.round_dp(12))
        .map_err(|_| Fault::MoneyOverflow { field })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_round_away_from_zero() {
        for (thousandths, cents) in [(1_005, 101), (1_004, 100), (-1_005, -101), (0, 0)] {
            let money = Money::round(Decimal::new(thousandths, 3), Currency::USD, "x").unwrap();
            assert_eq!(money.minor(), cents);
        }
    }

    #[test]
    fn a_currency_has_its_own_minor_unit() {
        let yen = Currency::new("JPY", 0).unwrap();
        let money = Money::round(Decimal::new(1_005, 1), yen, "x").unwrap();
        assert_eq!(
            (money.minor(), money.to_string()),
            (101, "JPY 101".to_owned())
        );
        assert_eq!(
            Money::from_minor(7000, Currency::USD).to_string(),
            "USD 70.00"
        );
        assert!(Currency::new("usd", 2).is_err());
        assert!(money.plus(Money::zero(Currency::USD)).is_err());
    }

    #[test]
    fn too_much_money_is_a_fault() {
        let most = Money::from_minor(i64::MAX, Currency::USD);
        assert!(most.plus(Money::from_minor(1, Currency::USD)).is_err());
        assert!(most.times(2.0, "x").is_err());
        assert!(most.times(f64::NAN, "x").is_err());
        assert!(most.times(f64::INFINITY, "x").is_err());
    }
}
