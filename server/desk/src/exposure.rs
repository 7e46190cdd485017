//! What people are exposed to: a branch's rule in the trade's words, and a crew's tools with the noise and vibration that
//! are on record for them. Figures inform; they certify nothing.

use std::collections::BTreeMap;

use forenoon_store::entity::unit;
use forenoon_store::value::{
    Exposure, ExposurePart, ExposureRule, ExposureStanding, NoiseCriterion, PlannedTask, UnitKind,
};
use forenoon_trade::equipment::{Equipment, ToolKind};
use forenoon_trade::exposure::noise::{Criterion, RECOMMENDATION, REGULATION};
use forenoon_trade::exposure::{Limits, PersonDay, Run, Standing, usual_for, vibration};
use forenoon_trade::units::{Decibels, MetresPerSecondSquared, Minutes};

use crate::trade_map::method;

pub use forenoon_trade::exposure::CAUTION;

/// The planner counts exposure in ten-thousandths of one worker's limit for a day.
pub(crate) const POINTS_OF_A_DAY: u32 = 10_000;
/// What each point over a crew's limit costs a plan, minor units: a hundredth of the limit costs 10.00, so that work which
/// can wait is left rather than a limit passed by much. Our setting, no source.
pub(crate) const POINT_COST: i64 = 10;

/// A tool at work, and for how long, whoever holds it.
#[derive(Clone, Debug)]
pub(crate) struct Use<'a> {
    /// The units it is made of, the attachment first; none for a usual tool.
    pub(crate) units: Vec<&'a unit::Model>,
    /// What it is.
    pub(crate) kind: ToolKind,
    /// How long it runs.
    pub(crate) running: Minutes,
}

/// A branch's rule in the trade's words.
pub(crate) fn limits(rule: &ExposureRule) -> Limits {
    let criterion = match rule.noise_criterion {
        NoiseCriterion::Regulation => REGULATION,
        NoiseCriterion::Recommendation => RECOMMENDATION,
    };
    Limits {
        noise: Criterion {
            action_percent: rule.noise_action_percent,
            limit_percent: rule.noise_limit_percent,
            ..criterion
        },
        protection: Decibels::new(rule.hearing_protection_decibels),
        vibration: vibration::Limits {
            action: MetresPerSecondSquared::new(rule.vibration_action_metres_per_second_squared),
            limit: MetresPerSecondSquared::new(rule.vibration_limit_metres_per_second_squared),
        },
    }
}

/// One worker's part of a tool's use where so many take turns.
pub(crate) fn run(of: &Use<'_>, workers: u8) -> Run {
    let on_record = |figure: fn(&unit::Model) -> f64| {
        let mut figures = of.units.iter().map(|unit| figure(unit));
        figures.find(|figure| *figure > 0.0)
    };
    let usual = usual_for(of.kind);
    Run {
        noise: usual
            .map(|(noise, _)| on_record(|unit| unit.noise_dba).map_or(noise, Decibels::new)),
        vibration: usual.map(|(_, vibration)| {
            on_record(|unit| unit.vibration_metres_per_second_squared)
                .map_or(vibration, MetresPerSecondSquared::new)
        }),
        time: of.running / f64::from(workers.max(1)),
    }
}

/// The share of one worker's limit that a use takes, in the planner's points.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
pub(crate) fn points(limits: &Limits, of: &Use<'_>, workers: u8) -> u32 {
    let share = limits.share(&run(of, workers)).unwrap_or(0.0);
    (share * f64::from(POINTS_OF_A_DAY))
        .clamp(0.0, 1.0e6)
        .round() as u32
}

/// What a unit works as; none for what only drives or carries.
pub(crate) fn tool_kind(unit: &unit::Model) -> Option<ToolKind> {
    match unit.kind {
        UnitKind::WalkMower => Some(ToolKind::WalkMower),
        UnitKind::RideOnMower => Some(ToolKind::RideMower),
        UnitKind::Blower => Some(ToolKind::Blower),
        UnitKind::Powerhead | UnitKind::Trailer | UnitKind::Vehicle => None,
        UnitKind::Attachment | UnitKind::HandTool => {
            let mut methods = unit.capabilities.0.iter().filter_map(|one| method(*one));
            methods
                .next()
                .map(|method| Equipment::usual_for(method).kind)
        }
    }
}

/// The uses of planned tasks. Units that left the fleet since are passed over.
pub(crate) fn uses<'a>(
    units: &'a [unit::Model],
    tasks: impl Iterator<Item = &'a PlannedTask>,
) -> Vec<Use<'a>> {
    tasks
        .filter(|task| task.running_seconds > 0)
        .filter_map(|task| {
            let found: Vec<&unit::Model> = task
                .unit_ids
                .iter()
                .filter_map(|id| units.iter().find(|unit| unit.id == *id))
                .collect();
            let kind = found.iter().find_map(|unit| tool_kind(unit))?;
            Some(Use {
                units: found,
                kind,
                running: Minutes::from_seconds(f64::from(task.running_seconds)),
            })
        })
        .collect()
}

/// What each of so many workers is exposed to who take turns with tools; none where the figures on record are beyond what
/// can be reckoned, as more than a day of use.
pub(crate) fn exposure(rule: &ExposureRule, uses: &[Use<'_>], workers: u8) -> Option<Exposure> {
    let limits = limits(rule);
    let mut by_tool: BTreeMap<(Option<&str>, ToolKind), Use<'_>> = BTreeMap::new();
    for one in uses.iter().filter(|one| one.kind.is_powered()) {
        let key = (one.units.first().map(|unit| unit.id.as_str()), one.kind);
        by_tool
            .entry(key)
            .and_modify(|known| known.running += one.running)
            .or_insert_with(|| one.clone());
    }
    let runs: Vec<(&Use<'_>, Run)> = by_tool.values().map(|of| (of, run(of, workers))).collect();
    let day = limits
        .day(&runs.iter().map(|(_, run)| *run).collect::<Vec<_>>())
        .ok()?;
    let mut parts: Vec<ExposurePart> = runs
        .iter()
        .map(|(of, run)| part(of, run, limits.share(run).unwrap_or(0.0)))
        .collect();
    parts.sort_by(|a, b| b.limit_share_percent.total_cmp(&a.limit_share_percent));
    Some(Exposure {
        workers: i32::from(workers),
        noise_dose_percent: day.noise.percent,
        regulation_dose_percent: day.regulation.percent,
        recommendation_dose_percent: day.recommendation.percent,
        vibration_metres_per_second_squared: day.vibration.daily.value(),
        vibration_points: day.vibration.points,
        standing: standing(day.standing),
        text: text(rule, &day, &parts, workers),
        parts,
    })
}

fn part(of: &Use<'_>, run: &Run, share: f64) -> ExposurePart {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a day has far fewer seconds than fit"
    )]
    let run_seconds = of.running.to_seconds().round() as i64;
    ExposurePart {
        unit_id: of.units.first().map(|unit| unit.id.clone()),
        display_name: of.units.first().map_or_else(
            || of.kind.words().to_owned(),
            |unit| unit.display_name.clone(),
        ),
        run_seconds,
        noise_dba: run.noise.map_or(0.0, Decibels::value),
        vibration_metres_per_second_squared: run
            .vibration
            .map_or(0.0, MetresPerSecondSquared::value),
        limit_share_percent: share * 100.0,
    }
}

const fn standing(standing: Standing) -> ExposureStanding {
    match standing {
        Standing::Below => ExposureStanding::Below,
        Standing::Action => ExposureStanding::Action,
        Standing::OverLimit => ExposureStanding::OverLimit,
    }
}

/// As `Each of 2 taking turns: noise 62 % of a day's dose, limit 100; vibration 1.9 m/s2, limit 5.0. Most by Line head 2,
/// 48 min.`
fn text(rule: &ExposureRule, day: &PersonDay, parts: &[ExposurePart], workers: u8) -> String {
    let who = if workers > 1 {
        format!("Each of {workers} taking turns")
    } else {
        "One worker".to_owned()
    };
    let most = parts.first().map_or_else(String::new, |part| {
        format!(
            " Most by {}, {} min.",
            part.display_name,
            part.run_seconds / 60
        )
    });
    let advice = match day.standing {
        Standing::Below => "",
        Standing::Action => " Protect ears and hands, and reduce what can be.",
        Standing::OverLimit => {
            " Over the limit: share the work out, or take quieter and smoother tools."
        }
    };
    format!(
        "{who}: noise {:.0} % of a day's dose, limit {:.0}; vibration {:.1} m/s2, limit {:.1}.{most}{advice}",
        day.noise.percent,
        rule.noise_limit_percent,
        day.vibration.daily.value(),
        rule.vibration_limit_metres_per_second_squared,
    )
}
