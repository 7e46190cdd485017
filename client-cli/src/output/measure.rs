//! Lengths, surfaces and volumes as the server sent them.

use forenoon_proto::v1::{Length, Surface, Volume, length, surface, volume};

/// A figure without needless digits.
pub fn figure(value: f64) -> String {
    let rounded = format!("{value:.2}");
    let bare = rounded.trim_end_matches('0').trim_end_matches('.');
    if bare.is_empty() {
        "0".to_owned()
    } else {
        bare.to_owned()
    }
}

/// A length; empty where absent.
pub fn length(length: Option<&Length>) -> String {
    match length.and_then(|length| length.value.as_ref()) {
        Some(length::Value::Metres(value)) => format!("{} m", figure(*value)),
        Some(length::Value::Millimetres(value)) => format!("{} mm", figure(*value)),
        Some(length::Value::Feet(value)) => format!("{} ft", figure(*value)),
        Some(length::Value::Inches(value)) => format!("{} in", figure(*value)),
        None => String::new(),
    }
}

/// A surface; empty where absent.
pub fn surface(surface: Option<&Surface>) -> String {
    match surface.and_then(|surface| surface.value.as_ref()) {
        Some(surface::Value::SquareMetres(value)) => format!("{} m²", figure(*value)),
        Some(surface::Value::SquareFeet(value)) => format!("{} sq ft", figure(*value)),
        Some(surface::Value::Acres(value)) => format!("{} ac", figure(*value)),
        None => String::new(),
    }
}

/// A volume; empty where absent.
pub fn volume(volume: Option<&Volume>) -> String {
    match volume.and_then(|volume| volume.value.as_ref()) {
        Some(volume::Value::Litres(value)) => format!("{} l", figure(*value)),
        Some(volume::Value::CubicFeet(value)) => format!("{} cu ft", figure(*value)),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse::measure as parse;

    #[test]
    fn measures_read_as_they_were_typed() {
        for typed in ["36 in", "0.9 m", "1200 ft"] {
            assert_eq!(length(parse::length(typed).ok().as_ref()), typed);
        }
        assert_eq!(surface(parse::surface("0.25 ac").ok().as_ref()), "0.25 ac");
        assert_eq!(volume(parse::volume("300 cuft").ok().as_ref()), "300 cu ft");
        assert_eq!(length(None), "");
        assert_eq!(figure(100.0), "100");
        assert_eq!(figure(0.0), "0");
    }
}
