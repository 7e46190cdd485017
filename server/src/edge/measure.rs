//! Lengths, surfaces and volumes: either system comes in, SI is inside, the branch's system goes out.

use std::ops::RangeInclusive;

use forenoon_proto::v1;
use forenoon_store::value::UnitSystem;

use crate::work::Reason;

use super::checks::{Checked, Checks};

/// International yard and pound agreement of 1959: 1 ft is 0.3048 m, exactly.
const MILLIMETRES_PER_FOOT: f64 = 304.8;
/// A twelfth of a foot.
const MILLIMETRES_PER_INCH: f64 = 25.4;
/// The square of the foot.
const SQUARE_METRES_PER_SQUARE_FOOT: f64 = 0.092_903_04;
/// 43,560 square feet (NIST Handbook 44, appendix C).
const SQUARE_FEET_PER_ACRE: f64 = 43_560.0;
/// The cube of the foot.
const LITRES_PER_CUBIC_FOOT: f64 = 28.316_846_592;

/// What goes out in US customary units, and temperatures, is rounded to a millionth.
const MILLIONTH: f64 = 1e-6;

/// Something short, as a width or a height: millimetres or inches.
pub(crate) fn short_length(millimetres: f64, system: UnitSystem) -> v1::Length {
    use v1::length::Value;
    let value = match system {
        UnitSystem::Si => Value::Millimetres(millimetres),
        UnitSystem::UsCustomary => Value::Inches(tidy(millimetres / MILLIMETRES_PER_INCH)),
    };
    v1::Length { value: Some(value) }
}

/// Something long, as an edge: metres or feet.
pub(crate) fn long_length(metres: f64, system: UnitSystem) -> v1::Length {
    use v1::length::Value;
    let value = match system {
        UnitSystem::Si => Value::Metres(metres),
        UnitSystem::UsCustomary => Value::Feet(tidy(metres * 1_000.0 / MILLIMETRES_PER_FOOT)),
    };
    v1::Length { value: Some(value) }
}

/// A surface: square metres or square feet.
pub(crate) fn surface(square_metres: f64, system: UnitSystem) -> v1::Surface {
    use v1::surface::Value;
    let value = match system {
        UnitSystem::Si => Value::SquareMetres(square_metres),
        UnitSystem::UsCustomary => {
            Value::SquareFeet(tidy(square_metres / SQUARE_METRES_PER_SQUARE_FOOT))
        }
    };
    v1::Surface { value: Some(value) }
}

/// A volume: litres or cubic feet.
pub(crate) fn volume(litres: f64, system: UnitSystem) -> v1::Volume {
    use v1::volume::Value;
    let value = match system {
        UnitSystem::Si => Value::Litres(litres),
        UnitSystem::UsCustomary => Value::CubicFeet(tidy(litres / LITRES_PER_CUBIC_FOOT)),
    };
    v1::Volume { value: Some(value) }
}

/// A temperature: degrees Celsius or Fahrenheit.
pub(crate) fn temperature(celsius: f64, system: UnitSystem) -> v1::Temperature {
    use v1::temperature::Value;
    let value = match system {
        UnitSystem::Si => Value::Celsius(tidy(celsius)),
        UnitSystem::UsCustomary => Value::Fahrenheit(tidy(celsius * 1.8 + 32.0)),
    };
    v1::Temperature { value: Some(value) }
}

/// Rounds what goes out in US customary units to a millionth, so that what came in as 36 inches does
/// not go out as 36.00000000000001.
fn tidy(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// Rounds what is kept to a thousand-millionth: finer than what goes out, so that a square foot comes
/// back as one; and SI goes out and comes in again without a change. From a million up, a number of 64
/// bits is no finer than that itself.
fn kept(value: f64) -> f64 {
    if value.abs() < 1e6 {
        (value * 1e9).round() / 1e9
    } else {
        value
    }
}

/// A measure as given, in the unit that is kept.
#[derive(Clone, Copy, Debug)]
struct Given {
    value: f64,
    /// As far as it may be off for having gone out rounded.
    rounding: f64,
}

impl Given {
    /// In a unit that goes out as it is kept.
    const fn exact(value: f64) -> Self {
        Self {
            value,
            rounding: 0.0,
        }
    }

    /// In a unit that goes out tidied. So what stands at a bound, 5 mm as 0.19685 in, comes in again.
    fn tidied(value: f64, kept_in_one: f64) -> Self {
        Self {
            value: value * kept_in_one,
            rounding: MILLIONTH * kept_in_one,
        }
    }
}

impl Checks {
    /// A length in millimetres within a range; none where absent.
    pub(crate) fn length_millimetres(
        &mut self,
        field: &str,
        value: Option<v1::Length>,
        range_millimetres: RangeInclusive<f64>,
    ) -> Checked<Option<f64>> {
        use v1::length::Value;
        let Some(v1::Length { value }) = value else {
            return Some(None);
        };
        let millimetres = match value {
            None => return self.no_unit(field),
            Some(Value::Metres(metres)) => Given::exact(metres * 1_000.0),
            Some(Value::Millimetres(millimetres)) => Given::exact(millimetres),
            Some(Value::Feet(feet)) => Given::tidied(feet, MILLIMETRES_PER_FOOT),
            Some(Value::Inches(inches)) => Given::tidied(inches, MILLIMETRES_PER_INCH),
        };
        self.within_range(field, millimetres, &range_millimetres, "mm")
            .map(Some)
    }

    /// A length in metres within a range; none where absent.
    pub(crate) fn length_metres(
        &mut self,
        field: &str,
        value: Option<v1::Length>,
        range_metres: RangeInclusive<f64>,
    ) -> Checked<Option<f64>> {
        let range_millimetres = range_metres.start() * 1_000.0..=range_metres.end() * 1_000.0;
        let millimetres = self.length_millimetres(field, value, range_millimetres)?;
        Some(millimetres.map(|millimetres| kept(millimetres / 1_000.0)))
    }

    /// A surface in square metres within a range; none where absent.
    pub(crate) fn square_metres(
        &mut self,
        field: &str,
        value: Option<v1::Surface>,
        range_square_metres: RangeInclusive<f64>,
    ) -> Checked<Option<f64>> {
        use v1::surface::Value;
        let Some(v1::Surface { value }) = value else {
            return Some(None);
        };
        let square_metres = match value {
            None => return self.no_unit(field),
            Some(Value::SquareMetres(square_metres)) => Given::exact(square_metres),
            Some(Value::SquareFeet(square_feet)) => {
                Given::tidied(square_feet, SQUARE_METRES_PER_SQUARE_FOOT)
            }
            Some(Value::Acres(acres)) => {
                Given::exact(acres * SQUARE_FEET_PER_ACRE * SQUARE_METRES_PER_SQUARE_FOOT)
            }
        };
        self.within_range(field, square_metres, &range_square_metres, "square metres")
            .map(Some)
    }

    /// A volume in litres within a range; none where absent.
    pub(crate) fn litres(
        &mut self,
        field: &str,
        value: Option<v1::Volume>,
        range_litres: RangeInclusive<f64>,
    ) -> Checked<Option<f64>> {
        use v1::volume::Value;
        let Some(v1::Volume { value }) = value else {
            return Some(None);
        };
        let litres = match value {
            None => return self.no_unit(field),
            Some(Value::Litres(litres)) => Given::exact(litres),
            Some(Value::CubicFeet(cubic_feet)) => Given::tidied(cubic_feet, LITRES_PER_CUBIC_FOOT),
        };
        self.within_range(field, litres, &range_litres, "litres")
            .map(Some)
    }

    /// A temperature in degrees Celsius within a range.
    pub(crate) fn celsius(
        &mut self,
        field: &str,
        value: v1::Temperature,
        range_celsius: RangeInclusive<f64>,
    ) -> Checked<f64> {
        use v1::temperature::Value;
        let celsius = match value.value {
            None => return self.no_unit(field),
            Some(Value::Celsius(celsius)) => Given::tidied(celsius, 1.0),
            Some(Value::Fahrenheit(fahrenheit)) => Given::tidied(fahrenheit - 32.0, 1.0 / 1.8),
        };
        self.within_range(field, celsius, &range_celsius, "degrees Celsius")
    }

    fn no_unit<T>(&mut self, field: &str) -> Option<T> {
        self.fault(
            field,
            Reason::Required,
            "has no value in any unit; give one, or leave it out",
        )
    }

    fn within_range(
        &mut self,
        field: &str,
        Given { value, rounding }: Given,
        range: &RangeInclusive<f64>,
        unit: &str,
    ) -> Option<f64> {
        let (least, most) = (*range.start(), *range.end());
        if (least - rounding..=most + rounding).contains(&value) {
            // Negative zero is zero.
            return Some(kept(value.clamp(least, most)) + 0.0);
        }
        self.fault(
            field,
            Reason::OutOfRange,
            format!(
                "is {value} {unit}; give one from {} to {} {unit}",
                range.start(),
                range.end()
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Conversions: NIST Special Publication 811, appendix B.8 (foot, inch, acre of the
    /// international foot, cubic foot).
    #[test]
    fn both_systems_come_in() {
        use v1::{length, surface, volume};
        let mut checks = Checks::new();
        let mut length = |value| {
            checks
                .length_millimetres("x", Some(v1::Length { value: Some(value) }), 0.0..=1e6)
                .flatten()
        };
        assert_eq!(length(length::Value::Inches(36.0)), Some(914.4));
        assert_eq!(length(length::Value::Feet(1.0)), Some(304.8));
        assert_eq!(length(length::Value::Metres(1.5)), Some(1_500.0));
        assert_eq!(length(length::Value::Millimetres(f64::NAN)), None);
        assert_eq!(length(length::Value::Millimetres(-1.0)), None);
        let acre = v1::Surface {
            value: Some(surface::Value::Acres(1.0)),
        };
        let square_metres = Checks::new()
            .square_metres("x", Some(acre), 0.0..=1e6)
            .flatten()
            .expect("an acre");
        assert!((square_metres - 4_046.856).abs() < 0.001, "{square_metres}");
        let foot = v1::Volume {
            value: Some(volume::Value::CubicFeet(1.0)),
        };
        let litres = Checks::new()
            .litres("x", Some(foot), 0.0..=1e6)
            .flatten()
            .expect("a cubic foot");
        assert!((litres - 28.316_85).abs() < 0.000_01, "{litres}");
    }

    #[test]
    fn what_came_in_goes_out_the_same() {
        use v1::length::Value as Long;
        use v1::surface::Value as Wide;
        use v1::volume::Value as Room;
        let us = UnitSystem::UsCustomary;
        let mut checks = Checks::new();
        for size in [
            0.5, 1.0, 3.8, 21.0, 42.0, 61.0, 90.0, 250.0, 4_200.0, 10_890.0, 87_120.5,
        ] {
            let width = v1::Length {
                value: Some(Long::Inches(size)),
            };
            let kept = checks.length_millimetres("x", Some(width), 0.0..=1e8);
            assert_eq!(
                kept.flatten().map(|kept| short_length(kept, us)),
                Some(width)
            );
            let edge = v1::Length {
                value: Some(Long::Feet(size)),
            };
            let kept = checks.length_metres("x", Some(edge), 0.0..=1e5);
            assert_eq!(kept.flatten().map(|kept| long_length(kept, us)), Some(edge));
            let lawn = v1::Surface {
                value: Some(Wide::SquareFeet(size)),
            };
            let kept = checks.square_metres("x", Some(lawn), 0.0..=1e7);
            assert_eq!(kept.flatten().map(|kept| surface(kept, us)), Some(lawn));
            let bag = v1::Volume {
                value: Some(Room::CubicFeet(size)),
            };
            let kept = checks.litres("x", Some(bag), 0.0..=1e7);
            assert_eq!(kept.flatten().map(|kept| volume(kept, us)), Some(bag));
        }
    }

    /// Every bound of a measure that the server takes, as the tables of the edge have them.
    #[test]
    fn what_stands_at_a_bound_comes_in_again_as_it_went_out() {
        let us = UnitSystem::UsCustomary;
        let mut checks = Checks::new();
        for (least, most) in [
            (0.0, 4_000.0),
            (5.0, 300.0),
            (0.0, 1_000.0),
            (0.0, 200.0),
            (254.0, 6_096.0),
            (100.0, 6_096.0),
            (200.0, 30_000.0),
        ] {
            for bound in [least, most] {
                let out = short_length(bound, us);
                let again = checks.length_millimetres("x", Some(out), least..=most);
                assert_eq!(
                    again.flatten().map(|kept| short_length(kept, us)),
                    Some(out),
                    "{bound} mm"
                );
            }
        }
        for bound in [0.1, 100_000.0] {
            let out = long_length(bound, us);
            let again = checks.length_metres("x", Some(out), 0.1..=100_000.0);
            assert_eq!(
                again.flatten().map(|kept| long_length(kept, us)),
                Some(out),
                "{bound} m"
            );
        }
        for bound in [0.09, 10_000_000.0] {
            let out = surface(bound, us);
            let again = checks.square_metres("x", Some(out), 0.09..=10_000_000.0);
            assert_eq!(
                again.flatten().map(|kept| surface(kept, us)),
                Some(out),
                "{bound} m2"
            );
        }
        for (least, most) in [(0.0, 200_000.0), (5.0, 5_000.0)] {
            for bound in [least, most] {
                let out = volume(bound, us);
                let again = checks.litres("x", Some(out), least..=most);
                assert_eq!(
                    again.flatten().map(|kept| volume(kept, us)),
                    Some(out),
                    "{bound} l"
                );
            }
        }
        for system in [us, UnitSystem::Si] {
            for bound in [-50.0, 60.0] {
                let out = temperature(bound, system);
                let again = checks.celsius("x", out, -50.0..=60.0);
                assert_eq!(
                    again.map(|kept| temperature(kept, system)),
                    Some(out),
                    "{bound} C"
                );
            }
        }
        assert!(checks.finish(Some(())).is_ok());
    }

    #[test]
    fn what_is_beyond_a_bound_by_more_than_rounding_is_refused() {
        let inches = |inches| v1::Length {
            value: Some(v1::length::Value::Inches(inches)),
        };
        let millimetres = |millimetres| v1::Length {
            value: Some(v1::length::Value::Millimetres(millimetres)),
        };
        let mut checks = Checks::new();
        let mut read = |given| checks.length_millimetres("x", Some(given), 5.0..=300.0);
        for beyond in [
            inches(0.196_84),
            inches(11.811_03),
            millimetres(4.999_999),
            millimetres(300.000_001),
            inches(f64::NAN),
            inches(f64::INFINITY),
        ] {
            assert_eq!(read(beyond), None, "{beyond:?}");
        }
    }

    #[test]
    fn si_goes_out_and_comes_in_without_a_change() {
        use v1::surface::Value;
        let mut checks = Checks::new();
        for acres in [0.25, 0.33, 1.0 / 3.0, 7.1, 123.456, 2_471.0] {
            let given = v1::Surface {
                value: Some(Value::Acres(acres)),
            };
            let kept = checks.square_metres("x", Some(given), 0.0..=1e7).flatten();
            let out = kept.map(|kept| surface(kept, UnitSystem::Si));
            let again = checks.square_metres("x", out, 0.0..=1e7).flatten();
            assert_eq!((again, kept.is_some()), (kept, true), "{acres}");
        }
    }
}
