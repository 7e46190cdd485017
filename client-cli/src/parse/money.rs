//! Amounts of money in the branch's currency, exact to its last digit; no binary fractions anywhere.

use forenoon_proto::google::r#type::Money;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// Nanos in one unit of a currency, as `google.type.Money` counts.
const NANOS_PER_UNIT: i64 = 1_000_000_000;

/// Reads an amount: `70`, `70.50`, `$1,250.00`, `USD 70.50`. At most four digits after the point.
///
/// # Errors
/// A sentence for no amount, another currency than the branch's, or an amount finer or larger than can be kept.
pub fn money(text: &str, currency: &str) -> Result<Money, String> {
    let wrong = || format!("\"{text}\" is not an amount; write it like 70.50");
    let bare = text.trim();
    let bare = if currency == "USD" {
        bare.strip_prefix('$').unwrap_or(bare)
    } else {
        bare
    };
    let letters: String = bare.chars().filter(char::is_ascii_alphabetic).collect();
    if !letters.is_empty() && !letters.eq_ignore_ascii_case(currency) {
        return Err(format!(
            "\"{text}\" is not in {currency}, the branch's currency"
        ));
    }
    let figure: String = bare
        .chars()
        .filter(|sign| !sign.is_ascii_alphabetic())
        .collect();
    // Blanks set off thousands as commas do.
    let figure = super::ungrouped(&figure.trim().replace(' ', ","), text)?;
    let amount: Decimal = figure.parse().map_err(|_| wrong())?;
    if amount.scale() > 4 {
        return Err(format!(
            "\"{text}\" has more than four digits after the point"
        ));
    }
    let units = amount.trunc().to_i64().ok_or_else(wrong)?;
    let nanos = (amount.fract() * Decimal::from(NANOS_PER_UNIT))
        .to_i32()
        .ok_or_else(wrong)?;
    Ok(Money {
        currency_code: currency.to_owned(),
        units,
        nanos,
    })
}

/// An amount for people: `$1,250.00`, `EUR 70.50`. Digits beyond the second show only where they are not zero.
pub fn show(money: &Money) -> String {
    let negative = money.units < 0 || money.nanos < 0;
    let mut digits = format!("{:09}", money.nanos.unsigned_abs());
    while digits.len() > 2 && digits.ends_with('0') {
        digits.pop();
    }
    let sign = if negative { "-" } else { "" };
    let units = grouped(money.units.unsigned_abs());
    match money.currency_code.as_str() {
        "USD" => format!("{sign}${units}.{digits}"),
        "" => format!("{sign}{units}.{digits}"),
        code => format!("{code} {sign}{units}.{digits}"),
    }
}

/// A whole number with its thousands set off.
pub fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut shown = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            shown.push(',');
        }
        shown.push(digit);
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_go_there_and_back() {
        for (typed, shown) in [
            ("70", "$70.00"),
            ("$1,250.5", "$1,250.50"),
            ("USD 0.07", "$0.07"),
            ("-3.25", "-$3.25"),
            ("0.1234", "$0.1234"),
            ("1234567", "$1,234,567.00"),
            ("$ 1 250.50", "$1,250.50"),
        ] {
            assert_eq!(show(&money(typed, "USD").unwrap()), shown);
        }
        assert_eq!(show(&money("70.50 eur", "EUR").unwrap()), "EUR 70.50");
    }

    #[test]
    fn wrong_amounts_are_refused() {
        assert!(money("EUR 5", "USD").unwrap_err().contains("not in USD"));
        assert!(money("$5", "EUR").is_err());
        assert!(money("", "USD").is_err());
        assert!(money("5.00001", "USD").unwrap_err().contains("four digits"));
        assert!(money("99999999999999999999", "USD").is_err());
        for comma in ["70,50", "$70,50", "USD 1.250,50", "0,5", "70 50"] {
            let said = money(comma, "USD").unwrap_err();
            assert!(said.contains("decimals with a point"), "{said}");
        }
    }
}
