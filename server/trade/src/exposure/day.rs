//! One person's day with powered tools, held against what a company plans by.
//!
//! A company's limits are settings. [`Limits::share`] says how much of a day's allowance one run of
//! a tool takes. Shares add up over a day, so a planner can keep a day within 1 without knowing
//! anything of decibels. Of noise and vibration the larger share counts for each run: a day whose
//! shares sum to 1 or less is within both limits, and one that mixes loud tools with shaking ones
//! may be within them a little beyond that. [`Limits::day`] reckons both exactly.

use super::noise::{self, Criterion, Dose};
use super::vibration::{self, Exposure};
use super::{CAUTION, Standing};
use crate::fault::{Fault, within};
use crate::units::{Decibels, MetresPerSecondSquared, Minutes};

/// What a company plans a person's day by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// How its limit of noise is reckoned, with its own action level and limit.
    pub noise: Criterion,
    /// What hearing protection takes off as it is worn, by the company's own reckoning; 0 to 40 dB.
    /// 0 reckons without regard to protection, as 29 CFR 1910.95(c)(1) does.
    pub protection: Decibels,
    /// Its action level and limit of vibration.
    pub vibration: vibration::Limits,
}

/// One tool at work in one person's hands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Noise at the ear without protection; none for a tool without an engine or motor.
    pub noise: Option<Decibels>,
    /// Vibration at the hand; none for a tool without an engine or motor.
    pub vibration: Option<MetresPerSecondSquared>,
    /// How long.
    pub time: Minutes,
}

/// One person's day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PersonDay {
    /// Noise by the company's own criterion and limits.
    pub noise: Dose,
    /// Noise by the regulation.
    pub regulation: Dose,
    /// Noise by the recommendation.
    pub recommendation: Dose,
    /// Hand-arm vibration by the company's limits.
    pub vibration: Exposure,
    /// The worst of noise and vibration by the company's limits.
    pub standing: Standing,
    /// To be shown with the figures: [`CAUTION`].
    pub caution: &'static str,
}

impl Limits {
    /// The published values: the regulation's noise, the directive's vibration, no protection.
    pub const PUBLISHED: Self = Self {
        noise: noise::REGULATION,
        protection: Decibels::ZERO,
        vibration: vibration::DIRECTIVE,
    };

    /// Reckons a person's day.
    ///
    /// # Errors
    /// A level, acceleration or time out of bounds, runs longer than a day together, or protection
    /// outside 0 to 40 dB.
    pub fn day(&self, runs: &[Run]) -> Result<PersonDay, Fault> {
        let mut loud = Vec::with_capacity(runs.len());
        let mut shaking = Vec::with_capacity(runs.len());
        for run in runs {
            if let Some(level) = run.noise {
                loud.push((self.at_the_ear(level)?, run.time));
            }
            if let Some(acceleration) = run.vibration {
                shaking.push((acceleration, run.time));
            }
        }
        let noise = self.noise.dose(&loud)?;
        let vibration = self.vibration.day(&shaking)?;
        Ok(PersonDay {
            noise,
            regulation: noise::REGULATION.dose(&loud)?,
            recommendation: noise::RECOMMENDATION.dose(&loud)?,
            vibration,
            standing: noise.standing.max(vibration.standing),
            caution: CAUTION,
        })
    }

    /// The share of a day's limit that one run takes: the larger of noise and vibration. 1 fills the
    /// day.
    ///
    /// # Errors
    /// As [`Limits::day`].
    pub fn share(&self, run: &Run) -> Result<f64, Fault> {
        let day = self.day(&[*run])?;
        let noise = day.noise.percent / self.noise.limit_percent;
        // Points, and not A(8), add up over a day.
        let vibration = (day.vibration.daily / self.vibration.limit).powi(2);
        Ok(noise.max(vibration))
    }

    fn at_the_ear(&self, level: Decibels) -> Result<Decibels, Fault> {
        within(
            "noise.protection_decibels",
            self.protection.value(),
            0.0,
            40.0,
        )?;
        Ok((level - self.protection).max(Decibels::ZERO))
    }
}
