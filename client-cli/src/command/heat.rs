//! The weather of a day, for `plan` and `replan`.

use forenoon_proto::v1;

use super::cells::word;
use crate::parse::measure::temperature;

/// The options by which the weather is given.
#[derive(Debug, clap::Args)]
pub(crate) struct HeatArg {
    /// Air temperature in the shade in the hottest hour of work, as "96 F" or "35 C": work takes as much longer as the rests
    /// that the heat calls for
    #[arg(long, value_name = "DEGREES", value_parser = temperature, requires = "humidity", allow_hyphen_values = true)]
    temperature: Option<v1::Temperature>,
    /// Relative humidity then, percent
    #[arg(long, value_name = "PERCENT", requires = "temperature")]
    humidity: Option<f64>,
    /// Sun then: shade, partly-cloudy or full [default: full]
    #[arg(long, value_name = "SUN", value_parser = word::<v1::Sun>, requires = "temperature")]
    sun: Option<v1::Sun>,
}

impl HeatArg {
    /// The forecast, where one is given.
    pub(super) fn read(&self) -> Option<v1::HeatForecast> {
        let temperature = self.temperature?;
        Some(v1::HeatForecast {
            temperature: Some(temperature),
            relative_humidity_percent: self.humidity?,
            sun: self.sun.unwrap_or_default().into(),
        })
    }
}
