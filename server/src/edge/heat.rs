//! The weather that a day is planned for, between wire and domain.

use std::ops::RangeInclusive;

use forenoon_desk::exposure::CAUTION;
use forenoon_desk::heat::{Advice, Band, advice, words, work_minutes};
use forenoon_proto::v1;
use forenoon_store::value::{HeatForecast, Sun, UnitSystem};

use super::checks::{Checked, Checks};
use super::measure;

/// Any day on which people work outdoors.
const CELSIUS: RangeInclusive<f64> = -50.0..=60.0;

/// The forecast; none where absent.
pub(super) fn from_wire(
    checks: &mut Checks,
    wire: Option<v1::HeatForecast>,
) -> Checked<Option<HeatForecast>> {
    let Some(wire) = wire else {
        return Some(None);
    };
    checks.within("heat", |checks| {
        let v1::HeatForecast {
            temperature,
            relative_humidity_percent,
            sun,
        } = wire;
        let temperature = checks.required("temperature", temperature);
        let temperature =
            temperature.and_then(|temperature| checks.celsius("temperature", temperature, CELSIUS));
        let humidity = checks.number(
            "relative_humidity_percent",
            relative_humidity_percent,
            0.0..=100.0,
        );
        let sun = checks.word("sun", sun, Some(Sun::Full), |word| match word {
            v1::Sun::Unspecified => None,
            v1::Sun::Shade => Some(Sun::Shade),
            v1::Sun::PartlyCloudy => Some(Sun::PartlyCloudy),
            v1::Sun::Full => Some(Sun::Full),
        });
        Some(Some(HeatForecast {
            temperature_celsius: temperature?,
            relative_humidity_percent: humidity?,
            sun: sun?,
        }))
    })
}

/// What the forecast means, as the wire has it.
pub(super) fn to_wire(forecast: &HeatForecast, system: UnitSystem) -> Option<v1::HeatAdvice> {
    let told: Advice = advice(forecast)?;
    let sun = match forecast.sun {
        Sun::Shade => v1::Sun::Shade,
        Sun::PartlyCloudy => v1::Sun::PartlyCloudy,
        Sun::Full => v1::Sun::Full,
    };
    let band = match told.band {
        Band::Lower => v1::HeatBand::Lower,
        Band::Moderate => v1::HeatBand::Moderate,
        Band::High => v1::HeatBand::High,
        Band::VeryHigh => v1::HeatBand::VeryHigh,
    };
    Some(v1::HeatAdvice {
        forecast: Some(v1::HeatForecast {
            temperature: Some(measure::temperature(forecast.temperature_celsius, system)),
            relative_humidity_percent: forecast.relative_humidity_percent,
            sun: sun.into(),
        }),
        heat_index: Some(measure::temperature(told.index.to_celsius(), system)),
        band: band.into(),
        adjusted_temperature: Some(measure::temperature(told.adjusted.to_celsius(), system)),
        light_work_minutes: work_minutes(told.light),
        moderate_work_minutes: work_minutes(told.moderate),
        heavy_work_minutes: work_minutes(told.heavy),
        text: words(&told, system),
        caution: CAUTION.to_owned(),
    })
}
