//! Exposure, heat, a crew's pace, and the one duration of estimates and plans.

use std::collections::BTreeMap;

use forenoon_desk::DayInputs;
use forenoon_desk::StoredPlan;
use forenoon_desk::estimate::{Answer, Question, answered};
use forenoon_desk::lessons::PastVisit;
use forenoon_desk::problem::DayProblem;
use forenoon_store::entity::unit;
use forenoon_store::value::{
    ExposureRule, ExposureStanding, HeatForecast, NoiseCriterion, Promise, ReasonKind, Sun,
};
use forenoon_trade::price::Currency;

use crate::fixture::{inputs, lessons};
use crate::lessons::{sheet_seconds, visit_taking};
use crate::planning::planned;

/// Iterations in which each day here is planned.
const ITERATIONS: u64 = 800;

/// Sixteen visits of crew 1 that took twice what its sheet says: within the bounds of what is learned.
fn twice_as_long() -> Vec<PastVisit> {
    let long = 2 * sheet_seconds();
    (1..=16).map(|week| visit_taking(long, week * 7)).collect()
}

/// The estimate of a planned stop: the same job, crew and units.
pub(crate) fn estimated(inputs: &DayInputs, stored: &StoredPlan, job: &str) -> Answer {
    let stop = stored.stop_of(job).expect("a stop");
    let job = inputs.jobs.iter().find(|one| one.id == job).expect("a job");
    let used: Vec<&unit::Model> = inputs
        .units
        .iter()
        .filter(|unit| {
            stop.tasks
                .0
                .iter()
                .any(|task| task.unit_ids.contains(&unit.id))
        })
        .collect();
    let fleet: Vec<&unit::Model> = inputs.units.iter().collect();
    let heads = inputs.crew_size(&stop.crew_id);
    answered(&Question {
        branch: &inputs.branch,
        currency: Currency::new("USD", 2).expect("a currency"),
        job,
        site: &inputs.sites[&job.site_id],
        crew: Some(&stop.crew_id),
        crew_size: u8::try_from(heads).expect("few"),
        chosen: &used,
        fleet: &fleet,
        forbidden: &BTreeMap::new(),
        lessons: &inputs.lessons,
    })
    .expect("an estimate")
}

/// Guards the promise that an estimate and a plan of the same job, crew and units say the same: with one person and with
/// two who wait for their mower, with and without what past visits taught about site and crew.
#[test]
fn an_estimate_and_a_plan_of_the_same_work_agree() {
    let mut waited = 0;
    for taught in [false, true] {
        let mut inputs = inputs();
        inputs.units.retain(|unit| unit.id != "ride-60");
        if taught {
            inputs.lessons = lessons(&inputs, &twice_as_long());
        }
        for crew in ["crew-1", "crew-2"] {
            let mut alone = inputs.clone();
            alone.crews.retain(|one| one.id == crew);
            // A meeting is neither sped up nor slowed down by what the work takes, but by the crew's pace.
            alone.jobs[0].promise = Some(Promise {
                start_time: alone.clock.instant(8 * 3_600),
                end_time: alone.clock.instant(14 * 3_600),
                before_work: true,
                contact: None,
            });
            let stored = planned(&alone, ITERATIONS);
            assert!(!stored.parts.stops.is_empty());
            for stop in &stored.parts.stops {
                let answer = estimated(&alone, &stored, &stop.job_id);
                // A break may interrupt the work.
                let of_plan: i32 = stop.tasks.0.iter().map(|task| task.duration_seconds).sum();
                let of_plan = f64::from(of_plan);
                let on_site = (stop.finish_time - stop.start_time).num_seconds() as f64;
                let rest = f64::from(alone.crews[0].break_seconds);
                assert!(
                    [of_plan, of_plan + rest].contains(&on_site),
                    "{on_site} s on site: {stop:?}"
                );
                // Each task is planned in whole seconds, and a pace in whole thousandths.
                let rounding = stop.tasks.0.len() as f64 + of_plan * 0.001;
                let of_estimate = answer.planned_minutes * 60.0;
                assert!(
                    (of_plan - of_estimate).abs() <= rounding,
                    "{crew} {}: plan {of_plan} s, estimate {of_estimate} s",
                    stop.job_id
                );
                waited += i32::from(answer.waiting_minutes > 0.5);
            }
        }
    }
    assert!(waited > 0, "two people never waited for their one mower");
}

/// Guards the pace: what a crew has taken longer for is planned longer with that crew and not with the other, and the
/// estimate says why.
#[test]
fn a_crew_is_planned_at_its_own_pace() {
    let mut inputs = inputs();
    inputs.units.retain(|unit| unit.id != "ride-60");
    inputs.lessons = lessons(&inputs, &twice_as_long());
    let day = DayProblem::new(&inputs).expect("a problem");
    let paces: Vec<u16> = (0..2)
        .map(|ix| day.problem.crew(forenoon_planner::CrewIx(ix)).pace_permille)
        .collect();
    assert!(paces[0] > 1_030, "{paces:?}");
    assert_eq!(paces[1], 1_000);
    let stored = planned(&inputs, ITERATIONS);
    let of_crew_1 = stored
        .parts
        .stops
        .iter()
        .find(|stop| stop.crew_id == "crew-1")
        .map_or("elm-mow", |stop| stop.job_id.as_str());
    let mut alone = inputs.clone();
    alone.crews.retain(|crew| crew.id == "crew-1");
    let answer = estimated(&alone, &planned(&alone, ITERATIONS), of_crew_1);
    let told = answer
        .tasks
        .iter()
        .find(|task| task.learned.contains("this crew x1."))
        .unwrap_or_else(|| panic!("{:?}", answer.tasks));
    assert!(told.learned.starts_with("rate "), "{}", told.learned);
    assert!(told.learned.contains("from 16"), "{}", told.learned);
}

/// Guards the figures: units' own noise stands before what is usual, two who take turns have half each, and a crew's day
/// adds its stops up.
#[test]
fn a_crews_day_is_reckoned_from_its_tools() {
    let mut inputs = inputs();
    inputs.crews.retain(|crew| crew.id == "crew-1");
    for unit in &mut inputs.units {
        if unit.id == "ride-60" || unit.id == "walk-21" {
            unit.noise_dba = 100.0;
        }
    }
    let stored = planned(&inputs, ITERATIONS);
    let day = &stored.parts.crew_days[0];
    let told = day.exposure.as_ref().expect("exposure");
    assert_eq!(told.workers, 2);
    let mower = told
        .parts
        .iter()
        .find(|part| (part.noise_dba - 100.0).abs() < 1e-9)
        .expect("the mower's own noise");
    // 100 dBA fills the regulation's day in two hours; two share it.
    let minutes = mower.run_seconds as f64 / 60.0 / 2.0;
    assert!((mower.limit_share_percent - 100.0 * minutes / 120.0).abs() < 1e-6);
    let doses: f64 = stored
        .parts
        .stops
        .iter()
        .map(|stop| {
            let answer = estimated(&inputs, &stored, &stop.job_id);
            answer.exposure.expect("exposure").regulation_dose_percent
        })
        .sum();
    // Running times are stored in whole seconds.
    assert!(
        (doses - told.regulation_dose_percent).abs() < 0.5,
        "{doses} {told:?}"
    );
    assert!(told.recommendation_dose_percent > told.regulation_dose_percent);
    assert!(
        told.text.starts_with("Each of 2 taking turns: noise"),
        "{}",
        told.text
    );
}

fn strict(limit_percent: f64) -> ExposureRule {
    ExposureRule {
        noise_criterion: NoiseCriterion::Regulation,
        noise_limit_percent: limit_percent,
        noise_action_percent: limit_percent / 2.0,
        plan_within_limits: true,
        ..ExposureRule::default()
    }
}

/// Guards the limit as an input of planning: what one crew would do alone is shared out, and what nobody can do within the
/// limit is left with a reason that says so.
#[test]
fn a_limit_shares_work_out_and_tells_what_it_leaves() {
    let mut inputs = inputs();
    let free = planned(&inputs, ITERATIONS);
    assert!(free.parts.unplanned.is_empty());
    let most = free
        .parts
        .crew_days
        .iter()
        .filter_map(|day| Some(day.exposure.as_ref()?.regulation_dose_percent))
        .fold(0.0, f64::max);
    // So little that no crew can do two of the three lawns.
    inputs.branch.exposure = strict((most / 4.0).max(1.0));
    let kept = planned(&inputs, ITERATIONS);
    let left: Vec<_> = kept.parts.unplanned.iter().collect();
    assert!(!left.is_empty(), "{:?}", kept.parts.crew_days);
    for job in left {
        let reason = &job.reasons.0[0];
        assert_eq!(reason.kind, ReasonKind::ExposureLimit, "{reason:?}");
        assert!(
            reason.text.contains("noise or vibration"),
            "{}",
            reason.text
        );
    }
    // Told and not planned by: nothing is left, and the day says that it is over.
    inputs.branch.exposure.plan_within_limits = false;
    let told = planned(&inputs, ITERATIONS);
    assert!(told.parts.unplanned.is_empty());
    let over = told.parts.crew_days.iter().any(|day| {
        day.exposure.as_ref().is_some_and(|told| {
            told.standing == ExposureStanding::OverLimit && told.text.contains("Over the limit")
        })
    });
    assert!(over, "{:?}", told.parts.crew_days);
}

pub(crate) const fn weather(celsius: f64, humidity: f64) -> HeatForecast {
    HeatForecast {
        temperature_celsius: celsius,
        relative_humidity_percent: humidity,
        sun: Sun::PartlyCloudy,
    }
}

/// Guards heat: at 96 F and 30 % under a partly cloudy sky the air counts as 103 F, where moderate work gets 30 minutes in
/// the hour, light work all of it; at 104 F it counts as 111 F, and nothing is planned.
#[test]
fn heat_lengthens_work_by_its_rests_and_ends_it() {
    let mut inputs = inputs();
    inputs.crews.retain(|crew| crew.id == "crew-2");
    inputs.jobs.truncate(1);
    inputs.units.retain(|unit| unit.id != "ride-60");
    let cool = planned(&inputs, ITERATIONS);
    inputs.heat = Some(weather(35.555_555_555_6, 30.0));
    let warm = planned(&inputs, ITERATIONS);
    let tasks = |plan: &StoredPlan| plan.parts.stops[0].tasks.0.clone();
    for (cool, warm) in tasks(&cool).iter().zip(tasks(&warm)) {
        let walk = cool.unit_ids.is_empty();
        let expected = if walk { 1.0 } else { 2.0 };
        let ratio = f64::from(warm.duration_seconds) / f64::from(cool.duration_seconds);
        assert!((ratio - expected).abs() < 0.02, "{cool:?} {warm:?}");
        // Rests are not worked: the tool runs no longer.
        assert!((warm.running_seconds - cool.running_seconds).abs() <= 1);
    }
    assert_eq!(warm.plan.heat, inputs.heat);
    inputs.heat = Some(weather(40.0, 30.0));
    let hot = planned(&inputs, ITERATIONS);
    assert!(hot.parts.stops.is_empty());
    let reason = &hot.parts.unplanned[0].reasons.0[0];
    assert_eq!(reason.kind, ReasonKind::TooHot);
    assert!(reason.text.contains("too hot"), "{}", reason.text);
}
