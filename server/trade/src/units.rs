//! Units: SI inside, US customary at the edge, never a bare number between.
//!
//! Every quantity is a newtype over `f64` whose name is its unit. A conversion from a customary
//! unit names the unit it comes from (`Metres::from_feet`), so a foot can never pass for a metre.
//! A newtype does not promise a sensible value: the structures that hold quantities are checked as
//! a whole (see [`crate::fault`]), because only they know what a sensible value is.
//!
//! Exact factors: 1 in = 0.0254 m, 1 ft = 0.3048 m, 1 acre = 43 560 sq ft, 1 mi = 5280 ft,
//! 1 US gal = 231 cu in (international yard and pound agreement of 1959; NIST SP 811, from memory).

/// Metres in one inch, exactly.
pub const METRES_PER_INCH: f64 = 0.0254;
/// Metres in one foot, exactly.
pub const METRES_PER_FOOT: f64 = 0.3048;
/// Square feet in one acre, exactly.
pub const SQUARE_FEET_PER_ACRE: f64 = 43_560.0;
/// Metres in one mile, exactly.
pub const METRES_PER_MILE: f64 = 5280.0 * METRES_PER_FOOT;

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(f64);

        impl $name {
            /// None of it.
            pub const ZERO: Self = Self(0.0);

            #[doc = concat!("A value already in ", $symbol, ".")]
            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            #[doc = concat!("The bare number, in ", $symbol, ".")]
            pub const fn value(self) -> f64 {
                self.0
            }

            /// The smaller of two.
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The larger of two.
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
        }

        impl core::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl core::ops::AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }

        impl core::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl core::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl core::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }

        impl core::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }

        impl core::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(items: I) -> Self {
                items.fold(Self::ZERO, |total, item| total + item)
            }
        }

        impl core::fmt::Display for $name {
            fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                if let Some(places) = f.precision() {
                    write!(f, "{:.places$} {}", self.0, $symbol)
                } else {
                    write!(f, "{} {}", self.0, $symbol)
                }
            }
        }
    };
}

unit!(
    /// A length.
    Metres,
    "m"
);
unit!(
    /// An area.
    SquareMetres,
    "m2"
);
unit!(
    /// A volume.
    Litres,
    "l"
);
unit!(
    /// A speed over ground.
    MetresPerSecond,
    "m/s"
);
unit!(
    /// An area worked in a time.
    SquareMetresPerSecond,
    "m2/s"
);
unit!(
    /// A length of time as people plan it.
    Minutes,
    "min"
);
unit!(
    /// Machine or labour time by the hour.
    Hours,
    "h"
);
unit!(
    /// An inclination from the level.
    Degrees,
    "deg"
);
unit!(
    /// A-weighted sound level, slow response.
    Decibels,
    "dBA"
);
unit!(
    /// Frequency-weighted hand-arm acceleration, vector sum.
    MetresPerSecondSquared,
    "m/s2"
);
unit!(
    /// A temperature on the Fahrenheit scale, because the published heat tables are in it.
    Fahrenheit,
    "F"
);
unit!(
    /// Relative humidity in per cent.
    RelativeHumidity,
    "%"
);

impl Metres {
    /// From inches (exact).
    pub const fn from_inches(inches: f64) -> Self {
        Self(inches * METRES_PER_INCH)
    }

    /// From feet (exact).
    pub const fn from_feet(feet: f64) -> Self {
        Self(feet * METRES_PER_FOOT)
    }

    /// In inches.
    pub const fn to_inches(self) -> f64 {
        self.0 / METRES_PER_INCH
    }

    /// In feet.
    pub const fn to_feet(self) -> f64 {
        self.0 / METRES_PER_FOOT
    }

    /// This length by another.
    #[must_use]
    pub const fn by(self, other: Self) -> SquareMetres {
        SquareMetres(self.0 * other.0)
    }
}

impl SquareMetres {
    /// From square feet (exact).
    pub const fn from_square_feet(square_feet: f64) -> Self {
        Self(square_feet * METRES_PER_FOOT * METRES_PER_FOOT)
    }

    /// From acres of 43 560 sq ft (exact).
    pub const fn from_acres(acres: f64) -> Self {
        Self::from_square_feet(acres * SQUARE_FEET_PER_ACRE)
    }

    /// In square feet.
    pub const fn to_square_feet(self) -> f64 {
        self.0 / (METRES_PER_FOOT * METRES_PER_FOOT)
    }

    /// In acres.
    pub const fn to_acres(self) -> f64 {
        self.to_square_feet() / SQUARE_FEET_PER_ACRE
    }

    /// The side of a square of this area.
    #[must_use]
    pub fn side(self) -> Metres {
        Metres(self.0.sqrt())
    }
}

impl Litres {
    /// From US gallons of 231 cubic inches (exact).
    pub const fn from_us_gallons(gallons: f64) -> Self {
        Self(gallons * 3.785_411_784)
    }

    /// From cubic metres.
    pub const fn from_cubic_metres(cubic_metres: f64) -> Self {
        Self(cubic_metres * 1000.0)
    }
}

impl MetresPerSecond {
    /// From miles per hour (exact).
    pub const fn from_miles_per_hour(miles_per_hour: f64) -> Self {
        Self(miles_per_hour * METRES_PER_MILE / 3600.0)
    }

    /// From kilometres per hour.
    pub const fn from_kilometres_per_hour(kilometres_per_hour: f64) -> Self {
        Self(kilometres_per_hour / 3.6)
    }
}

impl SquareMetresPerSecond {
    /// In acres per hour.
    pub const fn to_acres_per_hour(self) -> f64 {
        SquareMetres(self.0 * 3600.0).to_acres()
    }

    /// In hectares per hour.
    pub const fn to_hectares_per_hour(self) -> f64 {
        self.0 * 3600.0 / 10_000.0
    }
}

impl Minutes {
    /// From seconds.
    pub const fn from_seconds(seconds: f64) -> Self {
        Self(seconds / 60.0)
    }

    /// From hours.
    pub const fn from_hours(hours: f64) -> Self {
        Self(hours * 60.0)
    }

    /// In seconds.
    pub const fn to_seconds(self) -> f64 {
        self.0 * 60.0
    }

    /// In hours.
    pub const fn to_hours(self) -> Hours {
        Hours(self.0 / 60.0)
    }
}

impl Hours {
    /// In minutes.
    pub const fn to_minutes(self) -> Minutes {
        Minutes(self.0 * 60.0)
    }
}

impl Degrees {
    /// From a grade in per cent (rise over run times 100).
    pub fn from_grade_percent(grade_percent: f64) -> Self {
        Self((grade_percent / 100.0).atan().to_degrees())
    }
}

impl Fahrenheit {
    /// From degrees Celsius.
    pub const fn from_celsius(celsius: f64) -> Self {
        Self(celsius * 1.8 + 32.0)
    }

    /// In degrees Celsius.
    pub const fn to_celsius(self) -> f64 {
        (self.0 - 32.0) / 1.8
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn customary_units_convert_by_their_definitions() {
        assert!((Metres::from_feet(1.0).value() - Metres::from_inches(12.0).value()).abs() < 1e-12);
        assert!((SquareMetres::from_acres(1.0).value() - 4_046.856_422_4).abs() < 1e-9);
        assert!((MetresPerSecond::from_miles_per_hour(1.0).value() - 0.44704).abs() < 1e-12);
        assert!((Litres::from_us_gallons(1.0).value() - 231.0 * 0.254_f64.powi(3)).abs() < 1e-9);
        assert!((Degrees::from_grade_percent(100.0).value() - 45.0).abs() < 1e-12);
        assert!((Fahrenheit::from_celsius(100.0).value() - 212.0).abs() < 1e-12);
    }

    #[test]
    fn a_quantity_prints_its_unit() {
        assert_eq!(format!("{:.1}", Minutes::new(27.46)), "27.5 min");
        assert_eq!(Metres::new(3.0).to_string(), "3 m");
    }
}
