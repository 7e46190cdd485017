//! What people are exposed to, between wire and domain.

use std::ops::RangeInclusive;

use forenoon_desk::exposure::CAUTION;
use forenoon_proto::v1;
use forenoon_store::value::{
    Exposure, ExposurePart, ExposureRule, ExposureStanding, NoiseCriterion,
};

use super::checks::Checks;
use super::time;
use crate::work;

/// From hardly any to ten times a criterion's day.
const DOSE_PERCENT: RangeInclusive<f64> = 1.0..=1_000.0;
/// More than any protection takes off as it is worn.
const PROTECTION_DECIBELS: RangeInclusive<f64> = 0.0..=40.0;
/// Daily vibration.
const DAILY_METRES_PER_SECOND_SQUARED: RangeInclusive<f64> = 0.1..=20.0;

/// A branch's rule as the wire has it.
pub(super) fn rule_to_wire(rule: ExposureRule) -> v1::ExposureRule {
    let ExposureRule {
        noise_criterion,
        noise_action_percent,
        noise_limit_percent,
        hearing_protection_decibels,
        vibration_action_metres_per_second_squared,
        vibration_limit_metres_per_second_squared,
        plan_within_limits,
    } = rule;
    let criterion = match noise_criterion {
        NoiseCriterion::Regulation => v1::NoiseCriterion::Regulation,
        NoiseCriterion::Recommendation => v1::NoiseCriterion::Recommendation,
    };
    v1::ExposureRule {
        noise_criterion: criterion.into(),
        noise_action_percent,
        noise_limit_percent,
        hearing_protection_decibels,
        vibration_action: vibration_action_metres_per_second_squared,
        vibration_limit: vibration_limit_metres_per_second_squared,
        plan_within_limits,
    }
}

/// A branch's rule; what is left at 0 is as published.
pub(super) fn rule_from_wire(checks: &mut Checks, wire: v1::ExposureRule) -> Option<ExposureRule> {
    let v1::ExposureRule {
        noise_criterion,
        noise_action_percent,
        noise_limit_percent,
        hearing_protection_decibels,
        vibration_action,
        vibration_limit,
        plan_within_limits,
    } = wire;
    let published = ExposureRule::default();
    let noise_criterion = checks.word(
        "noise_criterion",
        noise_criterion,
        Some(published.noise_criterion),
        |word| match word {
            v1::NoiseCriterion::Unspecified => None,
            v1::NoiseCriterion::Regulation => Some(NoiseCriterion::Regulation),
            v1::NoiseCriterion::Recommendation => Some(NoiseCriterion::Recommendation),
        },
    );
    let noise_action_percent = or_published(
        checks,
        "noise_action_percent",
        noise_action_percent,
        published.noise_action_percent,
        DOSE_PERCENT,
    );
    let noise_limit_percent = or_published(
        checks,
        "noise_limit_percent",
        noise_limit_percent,
        published.noise_limit_percent,
        DOSE_PERCENT,
    );
    let protection = checks.number(
        "hearing_protection_decibels",
        hearing_protection_decibels,
        PROTECTION_DECIBELS,
    );
    let vibration_action = or_published(
        checks,
        "vibration_action",
        vibration_action,
        published.vibration_action_metres_per_second_squared,
        DAILY_METRES_PER_SECOND_SQUARED,
    );
    let vibration_limit = or_published(
        checks,
        "vibration_limit",
        vibration_limit,
        published.vibration_limit_metres_per_second_squared,
        DAILY_METRES_PER_SECOND_SQUARED,
    );
    for (field, action, limit) in [
        (
            "noise_action_percent",
            noise_action_percent,
            noise_limit_percent,
        ),
        ("vibration_action", vibration_action, vibration_limit),
    ] {
        if action
            .zip(limit)
            .is_some_and(|(action, limit)| action > limit)
        {
            let words = "is above the limit; act before it is reached";
            checks.fault::<()>(field, work::Reason::Conflict, words)?;
        }
    }
    Some(ExposureRule {
        noise_criterion: noise_criterion?,
        noise_action_percent: noise_action_percent?,
        noise_limit_percent: noise_limit_percent?,
        hearing_protection_decibels: protection?,
        vibration_action_metres_per_second_squared: vibration_action?,
        vibration_limit_metres_per_second_squared: vibration_limit?,
        plan_within_limits,
    })
}

/// A figure within a range; what is published where it is left at 0.
fn or_published(
    checks: &mut Checks,
    field: &str,
    given: f64,
    published: f64,
    range: RangeInclusive<f64>,
) -> Option<f64> {
    let value = if given == 0.0 { published } else { given };
    checks.number(field, value, range)
}

/// What people are exposed to, as the wire has it.
pub(super) fn to_wire(branch: &str, exposure: &Exposure) -> v1::Exposure {
    let Exposure {
        workers,
        noise_dose_percent,
        regulation_dose_percent,
        recommendation_dose_percent,
        vibration_metres_per_second_squared,
        vibration_points,
        standing,
        parts,
        text,
    } = exposure;
    let standing = match standing {
        ExposureStanding::Below => v1::ExposureStanding::Below,
        ExposureStanding::Action => v1::ExposureStanding::Action,
        ExposureStanding::OverLimit => v1::ExposureStanding::OverLimit,
    };
    v1::Exposure {
        workers: *workers,
        noise_dose_percent: *noise_dose_percent,
        regulation_dose_percent: *regulation_dose_percent,
        recommendation_dose_percent: *recommendation_dose_percent,
        vibration: *vibration_metres_per_second_squared,
        vibration_points: *vibration_points,
        standing: standing.into(),
        parts: parts
            .iter()
            .map(|part| part_to_wire(branch, part))
            .collect(),
        text: text.clone(),
        caution: CAUTION.to_owned(),
    }
}

fn part_to_wire(branch: &str, part: &ExposurePart) -> v1::ExposurePart {
    let ExposurePart {
        unit_id,
        display_name,
        run_seconds,
        noise_dba,
        vibration_metres_per_second_squared,
        limit_share_percent,
    } = part;
    v1::ExposurePart {
        unit: unit_id
            .as_ref()
            .map_or_else(String::new, |unit| work::unit::name(branch, unit)),
        display_name: display_name.clone(),
        run_time: Some(time::duration(*run_seconds)),
        noise_dba: *noise_dba,
        vibration: *vibration_metres_per_second_squared,
        limit_share_percent: *limit_share_percent,
    }
}
