//! Heat index, its bands, and work and rest.
//!
//! **Heat index**: the National Weather Service regression (technical attachment SR 90-23, 1990) with both of
//! its adjustments, as its page prints them. Where the simple form gives less than 80 F, that form
//! stands: `0.5 x (T + 61 + 1.2 (T - 68) + 0.094 R)`. Shade and a light wind are assumed; full sun
//! can add up to 15 F (OSHA, using the heat index).
//!
//! **Bands**: OSHA, using the heat index: below 91 F lower, 91 to 103 moderate, 103 to 115 high,
//! above 115 very high to extreme. As printed, 103 is in two bands; here it counts as high, the
//! safer reading, and 115 as high.
//!
//! **Work and rest**: NIOSH publication 2017-127 (from criteria document 2016-106), by *adjusted
//! air temperature*, which is not the heat index. For healthy, rested, hydrated people under 40 who
//! are used to the heat, at 30 % humidity with some air movement. The adjustments of the air
//! temperature for sun and humidity are from memory.

use crate::equipment::ToolKind;
use crate::fault::{Fault, within};
use crate::task::TaskKind;
use crate::units::{Fahrenheit, Minutes, RelativeHumidity};

/// How hard the work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Effort {
    /// Riding a mower, looking, talking.
    Light,
    /// Walking behind a mower, edging, blowing.
    Moderate,
    /// Knocking down, cutting brush, shovelling, raking wet debris.
    Heavy,
}

impl Effort {
    /// How hard a kind of work is with a tool. Common practice, no source: it follows the examples
    /// that the rest tables give for each effort.
    pub const fn of(kind: TaskKind, tool: ToolKind) -> Self {
        match (kind, tool) {
            (TaskKind::WalkBefore | TaskKind::WalkAfter, _) | (_, ToolKind::RideMower) => {
                Self::Light
            }
            (TaskKind::KnockDown | TaskKind::CutBrush, _)
            | (_, ToolKind::FlatShovel | ToolKind::Rake) => Self::Heavy,
            _ => Self::Moderate,
        }
    }
}

/// How much sun falls on the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sun {
    /// Shade or night.
    Shade,
    /// Partly cloudy.
    PartlyCloudy,
    /// Full sun.
    Full,
}

/// A band of the heat index.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Band {
    /// Below 91 F.
    Lower,
    /// 91 F to below 103 F.
    Moderate,
    /// 103 F to 115 F.
    High,
    /// Above 115 F.
    VeryHigh,
}

impl Band {
    /// The band of a heat index.
    pub fn of(index: Fahrenheit) -> Self {
        match index.value() {
            index if index < 91.0 => Self::Lower,
            index if index < 103.0 => Self::Moderate,
            index if index <= 115.0 => Self::High,
            _ => Self::VeryHigh,
        }
    }

    /// What to do, in our words.
    pub const fn advice(self) -> &'static str {
        match self {
            Self::Lower => "water, shade and a word about heat; watch those new to it",
            Self::Moderate => {
                "water on a schedule, rests in shade, heavy work in the cool hours, watch one another"
            }
            Self::High => {
                "move heavy work to other hours or days, a rest plan by the hour, nobody alone"
            }
            Self::VeryHigh => "only work that cannot wait, under a written plan; otherwise stop",
        }
    }
}

/// Work and rest within an hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WorkRest {
    /// No rest beyond the usual breaks.
    Normal,
    /// So many minutes of work, then of rest.
    Minutes {
        /// Work.
        work: Minutes,
        /// Rest.
        rest: Minutes,
    },
    /// High risk: no schedule is given; do not plan such work.
    Caution,
}

/// The heat index of an air temperature and a humidity.
///
/// # Errors
/// A temperature outside -60 to 140 F or a humidity outside 0 to 100 %.
pub fn heat_index(
    temperature: Fahrenheit,
    humidity: RelativeHumidity,
) -> Result<Fahrenheit, Fault> {
    let t = within(
        "heat.temperature_fahrenheit",
        temperature.value(),
        -60.0,
        140.0,
    )?;
    let r = within(
        "heat.relative_humidity_percent",
        humidity.value(),
        0.0,
        100.0,
    )?;
    let simple = 0.5 * (t + 61.0 + 1.2 * (t - 68.0) + 0.094 * r);
    if simple < 80.0 {
        return Ok(Fahrenheit::new(simple));
    }
    let (tt, rr) = (t * t, r * r);
    let regression = -42.379 + 2.049_015_23 * t + 10.143_331_27 * r
        - 0.224_755_41 * t * r
        - 0.006_837_83 * tt
        - 0.054_817_17 * rr
        + 0.001_228_74 * tt * r
        + 0.000_852_82 * t * rr
        - 0.000_001_99 * tt * rr;
    let adjustment = if r < 13.0 && (80.0..=112.0).contains(&t) {
        -((13.0 - r) / 4.0) * ((17.0 - (t - 95.0).abs()) / 17.0).sqrt()
    } else if r > 85.0 && (80.0..=87.0).contains(&t) {
        ((r - 85.0) / 10.0) * ((87.0 - t) / 5.0)
    } else {
        0.0
    };
    Ok(Fahrenheit::new(regression + adjustment))
}

/// The air temperature adjusted for sun and humidity, to read the work and rest table by.
///
/// Sun: +13 F full, +7 partly cloudy. Humidity: -8 at 10 %, -4 at 20 %, 0 at 30 %, +3 at 40 %,
/// +6 at 50 %, +9 at 60 %; between them in proportion. From memory. Below 10 % the least stands;
/// above 60 %, where the text has no row, the last slope is carried on: the safer reading.
///
/// # Errors
/// A temperature outside -60 to 140 F or a humidity outside 0 to 100 %.
pub fn adjusted_temperature(
    temperature: Fahrenheit,
    humidity: RelativeHumidity,
    sun: Sun,
) -> Result<Fahrenheit, Fault> {
    const STEPS: [f64; 6] = [-8.0, -4.0, 0.0, 3.0, 6.0, 9.0];
    let t = within(
        "heat.temperature_fahrenheit",
        temperature.value(),
        -60.0,
        140.0,
    )?;
    let r = within(
        "heat.relative_humidity_percent",
        humidity.value(),
        0.0,
        100.0,
    )?;
    let mut moist = STEPS[0];
    let last = STEPS.len() - 2;
    for (step, pair) in STEPS.windows(2).enumerate() {
        let from = 10.0 * (step as f64 + 1.0);
        if let [low, high] = pair {
            let reach = if step == last { f64::INFINITY } else { 1.0 };
            let share = ((r - from) / 10.0).clamp(0.0, reach);
            moist += share * (high - low);
        }
    }
    let sun = match sun {
        Sun::Shade => 0.0,
        Sun::PartlyCloudy => 7.0,
        Sun::Full => 13.0,
    };
    Ok(Fahrenheit::new(t + moist + sun))
}

/// Minutes of work in an hour from 95 F up, light, moderate, heavy: 60 is normal, 0 is caution.
const WORK_MINUTES: [[u8; 3]; 17] = [
    [60, 60, 45], // 95
    [60, 60, 45],
    [60, 60, 40],
    [60, 60, 35],
    [60, 60, 35],
    [60, 45, 30], // 100
    [60, 40, 30],
    [60, 35, 25],
    [60, 30, 20],
    [60, 30, 20],
    [60, 25, 15], // 105
    [45, 20, 0],
    [40, 15, 0],
    [35, 0, 0],
    [30, 0, 0],
    [15, 0, 0], // 110
    [0, 0, 0],
];

/// Work and rest in an hour by adjusted air temperature and effort.
///
/// Below 95 F it is normal throughout (the table starts at 90 F); a broken degree is read as the
/// next full one.
pub fn work_rest(adjusted: Fahrenheit, effort: Effort) -> WorkRest {
    let row = (0_u8..)
        .zip(WORK_MINUTES)
        .find(|(step, _)| adjusted.value() <= 95.0 + f64::from(*step));
    if adjusted.value() <= 94.0 {
        return WorkRest::Normal;
    }
    let [light, moderate, heavy] = row.map_or([0; 3], |(_, row)| row);
    let work = match effort {
        Effort::Light => light,
        Effort::Moderate => moderate,
        Effort::Heavy => heavy,
    };
    match work {
        60 => WorkRest::Normal,
        0 => WorkRest::Caution,
        work => WorkRest::Minutes {
            work: Minutes::new(f64::from(work)),
            rest: Minutes::new(60.0 - f64::from(work)),
        },
    }
}

impl WorkRest {
    /// How many times longer work takes with these rests; `None` where it is not to be planned.
    pub fn stretch(self) -> Option<f64> {
        match self {
            Self::Normal => Some(1.0),
            Self::Minutes { work, rest } => Some((work + rest) / work),
            Self::Caution => None,
        }
    }
}

/// The weather that a day is planned for: its hottest hour of work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// Air temperature in the shade; -60 to 140 F.
    pub temperature: Fahrenheit,
    /// Relative humidity.
    pub humidity: RelativeHumidity,
    /// Sun.
    pub sun: Sun,
}

/// What a forecast means for work outdoors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    /// Heat index, in shade and a light wind.
    pub index: Fahrenheit,
    /// Its band.
    pub band: Band,
    /// Air temperature adjusted for sun and humidity, by which the rests are read.
    pub adjusted: Fahrenheit,
    /// Work and rest in an hour of light work.
    pub light: WorkRest,
    /// Work and rest in an hour of moderate work.
    pub moderate: WorkRest,
    /// Work and rest in an hour of heavy work.
    pub heavy: WorkRest,
}

impl Forecast {
    /// What it means.
    ///
    /// # Errors
    /// As [`heat_index`].
    pub fn advice(&self) -> Result<Advice, Fault> {
        let index = heat_index(self.temperature, self.humidity)?;
        let adjusted = adjusted_temperature(self.temperature, self.humidity, self.sun)?;
        Ok(Advice {
            index,
            band: Band::of(index),
            adjusted,
            light: work_rest(adjusted, Effort::Light),
            moderate: work_rest(adjusted, Effort::Moderate),
            heavy: work_rest(adjusted, Effort::Heavy),
        })
    }
}

impl Advice {
    /// Work and rest in an hour of an effort.
    pub const fn rests(&self, effort: Effort) -> WorkRest {
        match effort {
            Effort::Light => self.light,
            Effort::Moderate => self.moderate,
            Effort::Heavy => self.heavy,
        }
    }
}
