//! What the weather of a day means for work outdoors, in the trade's words and a dispatcher's. It informs; it certifies
//! nothing.

use forenoon_store::value::{HeatForecast, Sun, UnitSystem};
use forenoon_trade::exposure::heat::{self, WorkRest};
use forenoon_trade::units::{Fahrenheit, RelativeHumidity};

pub use forenoon_trade::exposure::heat::{Advice, Band};

/// What Celsius is kept to, the tables' Fahrenheit is read to: 93 F must not come back as a little more, which counts as
/// the next degree.
const FAHRENHEIT_STEPS: f64 = 1e6;

/// What a forecast means; none where it is beyond what the published tables speak of.
pub fn advice(forecast: &HeatForecast) -> Option<Advice> {
    let fahrenheit = Fahrenheit::from_celsius(forecast.temperature_celsius).value();
    let of = heat::Forecast {
        temperature: Fahrenheit::new((fahrenheit * FAHRENHEIT_STEPS).round() / FAHRENHEIT_STEPS),
        humidity: RelativeHumidity::new(forecast.relative_humidity_percent),
        sun: match forecast.sun {
            Sun::Shade => heat::Sun::Shade,
            Sun::PartlyCloudy => heat::Sun::PartlyCloudy,
            Sun::Full => heat::Sun::Full,
        },
    };
    of.advice().ok()
}

/// Minutes of work in an hour: 60 without rests beyond the usual, 0 where no such work is planned.
#[expect(
    clippy::cast_possible_truncation,
    reason = "minutes of an hour, from a table of whole ones"
)]
pub fn work_minutes(rests: WorkRest) -> i32 {
    match rests {
        WorkRest::Normal => 60,
        WorkRest::Minutes { work, .. } => work.value().round() as i32,
        WorkRest::Caution => 0,
    }
}

/// As `Heat index 95 F, moderate: water on a schedule. Moderate work 45 min in the hour, heavy 30.`
pub fn words(advice: &Advice, system: UnitSystem) -> String {
    let degrees = match system {
        UnitSystem::UsCustomary => format!("{:.0} F", advice.index.value()),
        UnitSystem::Si => format!("{:.0} C", advice.index.to_celsius()),
    };
    let band = match advice.band {
        Band::Lower => "lower",
        Band::Moderate => "moderate",
        Band::High => "high",
        Band::VeryHigh => "very high",
    };
    let mut rests = Vec::new();
    for (effort, rest) in [
        ("light", advice.light),
        ("moderate", advice.moderate),
        ("heavy", advice.heavy),
    ] {
        match rest {
            WorkRest::Normal => {}
            WorkRest::Minutes { .. } => {
                rests.push(format!(
                    "{effort} work {} min in the hour",
                    work_minutes(rest)
                ));
            }
            WorkRest::Caution => rests.push(format!("no {effort} work")),
        }
    }
    let rests = if rests.is_empty() {
        "No rests beyond the usual.".to_owned()
    } else {
        format!("Of each hour: {}.", rests.join(", "))
    };
    format!(
        "Heat index {degrees}, {band}: {}. {rests}",
        advice.band.advice()
    )
}
