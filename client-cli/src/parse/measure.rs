//! Lengths, surfaces, volumes and stretches of time with their units.
//!
//! A figure without a unit is refused rather than guessed: a gate of 36 inches and one of 36 feet differ.

use forenoon_proto::v1::{
    Length, Surface, Temperature, Volume, length, surface, temperature, volume,
};

/// Splits `0.25 ac` into figure and unit.
fn split(text: &str, what: &str, example: &str) -> Result<(f64, String), String> {
    let trimmed = text.trim();
    let end = trimmed
        .find(|sign: char| !(sign.is_ascii_digit() || matches!(sign, '.' | ',' | '-' | '+')))
        .unwrap_or(trimmed.len());
    let (figure, unit) = trimmed.split_at(end);
    let unit = unit.trim().to_ascii_lowercase();
    let figure = super::ungrouped(figure, text)?
        .parse::<f64>()
        .map_err(|_| format!("\"{text}\" is not a {what}; write it like {example}"))?;
    if unit.is_empty() {
        return Err(format!("\"{text}\" has no unit; write it like {example}"));
    }
    if figure < 0.0 {
        return Err(format!("\"{text}\" is negative; a {what} cannot be"));
    }
    Ok((figure, unit))
}

fn unknown(text: &str, unit: &str, known: &str) -> String {
    format!("\"{text}\": the unit \"{unit}\" is none of: {known}")
}

/// Reads a length: `36 in`, `3 ft`, `0.9 m`, `900 mm`, `90 cm`.
///
/// # Errors
/// A sentence for a missing figure or unit, an unknown unit or a negative figure.
pub fn length(text: &str) -> Result<Length, String> {
    let (figure, unit) = split(text, "length", "\"36 in\" or \"0.9 m\"")?;
    let value = match unit.as_str() {
        "m" | "metre" | "metres" | "meter" | "meters" => length::Value::Metres(figure),
        "cm" => length::Value::Millimetres(figure * 10.0),
        "mm" => length::Value::Millimetres(figure),
        "ft" | "'" | "foot" | "feet" => length::Value::Feet(figure),
        "in" | "\"" | "inch" | "inches" => length::Value::Inches(figure),
        // The international yard is three feet exactly.
        "yd" | "yard" | "yards" => length::Value::Feet(figure * 3.0),
        other => return Err(unknown(text, other, "in, ft, yd, mm, cm, m")),
    };
    Ok(Length { value: Some(value) })
}

/// Reads a temperature: `96 F`, `35 C`, `-3 C`.
///
/// # Errors
/// A sentence for a missing figure or scale, or an unknown scale.
pub fn temperature(text: &str) -> Result<Temperature, String> {
    let trimmed = text.trim();
    let (below, rest) = trimmed
        .strip_prefix('-')
        .map_or((1.0, trimmed), |rest| (-1.0, rest));
    let (figure, scale) = split(rest, "temperature", "\"96 F\" or \"35 C\"")?;
    let figure = below * figure;
    let value = match scale.trim_start_matches('\u{b0}') {
        "f" | "fahrenheit" => temperature::Value::Fahrenheit(figure),
        "c" | "celsius" => temperature::Value::Celsius(figure),
        other => return Err(unknown(text, other, "F, C")),
    };
    Ok(Temperature { value: Some(value) })
}

/// Reads a surface: `12000 sqft`, `0.25 ac`, `450 m2`.
///
/// # Errors
/// A sentence for a missing figure or unit, an unknown unit or a negative figure.
pub fn surface(text: &str) -> Result<Surface, String> {
    let (figure, unit) = split(text, "surface", "\"12000 sqft\" or \"0.25 ac\"")?;
    let value = match unit.as_str() {
        "sqft" | "sq ft" | "ft2" | "ft²" | "sf" => surface::Value::SquareFeet(figure),
        "ac" | "acre" | "acres" => surface::Value::Acres(figure),
        "m2" | "m²" | "sqm" | "sq m" => surface::Value::SquareMetres(figure),
        // A hectare is ten thousand square metres.
        "ha" | "hectare" | "hectares" => surface::Value::SquareMetres(figure * 10_000.0),
        other => return Err(unknown(text, other, "sqft, ac, m2, ha")),
    };
    Ok(Surface { value: Some(value) })
}

/// Reads a volume: `300 cuft`, `60 l`, `2 m3`.
///
/// # Errors
/// A sentence for a missing figure or unit, an unknown unit or a negative figure.
pub fn volume(text: &str) -> Result<Volume, String> {
    let (figure, unit) = split(text, "volume", "\"300 cuft\" or \"60 l\"")?;
    let value = match unit.as_str() {
        "cuft" | "cu ft" | "ft3" | "ft³" | "cf" => volume::Value::CubicFeet(figure),
        "l" | "litre" | "litres" | "liter" | "liters" => volume::Value::Litres(figure),
        "m3" | "m³" => volume::Value::Litres(figure * 1000.0),
        other => return Err(unknown(text, other, "cuft, l, m3")),
    };
    Ok(Volume { value: Some(value) })
}

/// Reads a stretch of time in whole seconds: `90 min`, `1.5 h`, `1 h 30 min`, `45 s`.
///
/// # Errors
/// A sentence for a missing figure or unit, an unknown unit or a negative figure.
pub fn stretch(text: &str) -> Result<prost_types::Duration, String> {
    /// Beyond a leap year no stretch in this trade is meant.
    const LONGEST_SECONDS: f64 = 366.0 * 86_400.0;
    let mut seconds = 0.0;
    let mut rest = text.trim();
    if rest.is_empty() {
        return Err(
            "a stretch of time is missing; write it like \"90 min\" or \"1.5 h\"".to_owned(),
        );
    }
    while !rest.is_empty() {
        let unit_at = rest
            .find(|sign: char| sign.is_alphabetic())
            .unwrap_or(rest.len());
        let length = rest
            .get(unit_at..)
            .and_then(|tail| tail.find(|sign: char| !sign.is_alphabetic()))
            .map_or(rest.len(), |more| unit_at + more);
        let (part, tail) = rest.split_at(length);
        let (figure, unit) = split(part, "stretch of time", "\"90 min\" or \"1.5 h\"")?;
        seconds += figure
            * match unit.as_str() {
                "s" | "sec" | "second" | "seconds" => 1.0,
                "m" | "min" | "minute" | "minutes" => 60.0,
                "h" | "hr" | "hour" | "hours" => 3600.0,
                other => return Err(unknown(text, other, "s, min, h")),
            };
        rest = tail.trim_start();
    }
    if seconds > LONGEST_SECONDS {
        return Err(format!("\"{text}\" is longer than a year"));
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "bounded by the longest stretch above"
    )]
    let seconds = seconds.round() as i64;
    Ok(prost_types::Duration { seconds, nanos: 0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn temperatures_name_their_scale() {
        let value = |text| temperature(text).unwrap().value.unwrap();
        assert_eq!(value("96 F"), temperature::Value::Fahrenheit(96.0));
        assert_eq!(value("35.5C"), temperature::Value::Celsius(35.5));
        assert_eq!(value("-3 \u{b0}C"), temperature::Value::Celsius(-3.0));
        for wrong in ["96", "warm", "300 K", "--3 C"] {
            assert!(temperature(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn lengths_keep_the_unit_they_came_in() {
        let read = |text| length(text).unwrap().value.unwrap();
        assert_eq!(read("36 in"), length::Value::Inches(36.0));
        assert_eq!(read("36\""), length::Value::Inches(36.0));
        assert_eq!(read("0.9m"), length::Value::Metres(0.9));
        assert_eq!(read("90 cm"), length::Value::Millimetres(900.0));
        assert_eq!(read("1,200 ft"), length::Value::Feet(1200.0));
        assert_eq!(read("2 yd"), length::Value::Feet(6.0));
    }

    #[test]
    fn surfaces_and_volumes() {
        let read = |text| surface(text).unwrap().value.unwrap();
        assert_eq!(read("12000 sqft"), surface::Value::SquareFeet(12_000.0));
        assert_eq!(read("12,000 sq ft"), surface::Value::SquareFeet(12_000.0));
        assert_eq!(read("0.25 ac"), surface::Value::Acres(0.25));
        assert_eq!(read("0.5 ha"), surface::Value::SquareMetres(5000.0));
        assert_eq!(
            volume("2 m3").unwrap().value.unwrap(),
            volume::Value::Litres(2000.0)
        );
        assert_eq!(
            volume("300 cu ft").unwrap().value.unwrap(),
            volume::Value::CubicFeet(300.0)
        );
    }

    #[test]
    fn stretches_add_their_parts() {
        let read = |text| stretch(text).unwrap().seconds;
        assert_eq!(read("90 min"), 5400);
        assert_eq!(read("1.5h"), 5400);
        assert_eq!(read("1 h 30 min"), 5400);
        assert_eq!(read("1h30m"), 5400);
        assert_eq!(read("45 s"), 45);
    }

    #[test]
    fn what_cannot_be_meant_is_refused_with_the_way_to_write_it() {
        for (said, part) in [
            (length("36").unwrap_err(), "has no unit"),
            (length("wide").unwrap_err(), "is not a length"),
            (length("-3 ft").unwrap_err(), "negative"),
            (length("3 furlongs").unwrap_err(), "in, ft, yd, mm, cm, m"),
            (length("").unwrap_err(), "is not a length"),
            (surface("3 ft").unwrap_err(), "sqft, ac, m2, ha"),
            (volume("3 m").unwrap_err(), "cuft, l, m3"),
            (stretch("").unwrap_err(), "missing"),
            (stretch("90").unwrap_err(), "has no unit"),
            (stretch("99999999 h").unwrap_err(), "longer than a year"),
            (stretch("1 fortnight").unwrap_err(), "s, min, h"),
            (length("1.2.3 m").unwrap_err(), "is not a length"),
            (length("0.9 µ").unwrap_err(), "µ"),
            (length("0,9 m").unwrap_err(), "decimals with a point"),
            (surface("0,250 ac").unwrap_err(), "decimals with a point"),
            (volume("1.200,5 l").unwrap_err(), "decimals with a point"),
            (stretch("1,5 h").unwrap_err(), "decimals with a point"),
            (temperature("-3,5 C").unwrap_err(), "decimals with a point"),
        ] {
            assert!(said.contains(part), "{said:?} should speak of {part:?}");
        }
    }
}
