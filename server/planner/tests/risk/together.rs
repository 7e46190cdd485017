//! Crews that wait for each other.

use forenoon_planner::index::*;
use forenoon_planner::plan::{BreakTaken, CrewPlan, Stop, Visit};
use forenoon_planner::problem::{Break, Meeting, Promise};
use forenoon_planner::replan::as_of;
use forenoon_planner::risk::{Endangering, Risk, simulate};
use forenoon_planner::{Plan, Problem, Seconds};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::support::random_problem::{self, Kinds};
use crate::support::{planned, units_of};
use crate::written::{
    BEGIN, CHANGE, DRIVE, Day, Site, X, Y, plan, problem, problem_with, unchecked,
};

const RUNS: u32 = 20_000;
/// Median and spread of the work that others wait for.
const MEDIAN: u32 = 3_600;
const DEVIATION_PERMILLE: u16 = 300;

fn below(standard: f64) -> f64 {
    Normal::standard().cdf(standard)
}

/// How many deviations of its logarithm a length lies above the median.
fn standard(length: Seconds, median: u32, deviation_permille: u16) -> f64 {
    (length as f64 / f64::from(median)).ln() / (f64::from(deviation_permille) / 1_000.0)
}

/// The chance that log-normal work takes at most so long: that of a normal number to lie below its logarithm (Limpert,
/// Stahel and Abbt, "Log-normal Distributions across the Sciences", `BioScience` 51(5), 2001).
fn done_within(length: Seconds) -> f64 {
    below(standard(length, MEDIAN, DEVIATION_PERMILLE))
}

fn kept(risk: &Risk, job: u32) -> f64 {
    let mut promises = risk.promises.iter();
    let found = promises.find(|promise| promise.job == JobIx(job));
    found.expect("a promise").kept
}

/// Within four standard errors.
fn assert_near(told: f64, chance: f64) {
    let error = (chance * (1.0 - chance) / f64::from(RUNS)).sqrt();
    assert!(
        (told - chance).abs() <= 4.0 * error,
        "{told} against {chance}"
    );
}

/// How the giver parts with the unit, and how the taker comes by it.
#[derive(Clone, Copy, Debug)]
enum Way {
    BackToCall,
    CallToCall,
    BackToStart,
}

/// One crew works with a unit at job 0, and another after it at job 1, which is promised to start by the instant at which
/// it can if job 0 takes `limit`.
fn handed_over(way: Way, limit: Seconds) -> (Problem, Plan) {
    let back = |work| BEGIN + DRIVE + work + DRIVE;
    let (late, extra) = match way {
        Way::BackToCall => (BEGIN, CHANGE),
        Way::CallToCall => (BEGIN, 2 * CHANGE),
        Way::BackToStart => (back(Seconds::from(MEDIAN)), 0),
    };
    let sites = [
        Site::certain(Some(X), MEDIAN)
            .uncertain(DEVIATION_PERMILLE)
            .with(0),
        Site::certain(Some(X), 1_800)
            .by(back(limit) + extra + DRIVE)
            .with(1),
        Site::certain(None, 1_200),
    ];
    let problem = problem([BEGIN, late], &sites);
    let giver = Day::new(&problem, 0, &[X]).work(0);
    let giver = match way {
        Way::CallToCall => giver.call(&[X], &[], 0),
        Way::BackToCall | Way::BackToStart => giver,
    };
    let put_down = match way {
        Way::CallToCall => giver.at,
        Way::BackToCall | Way::BackToStart => giver.at + DRIVE,
    };
    // The third job is the giver's where it has the time.
    let (giver, rest) = match way {
        Way::CallToCall => (giver.work(2), None),
        Way::BackToCall | Way::BackToStart => (giver, Some(2)),
    };
    let taker = match way {
        Way::BackToStart => Day::new(&problem, 1, &[X]),
        Way::BackToCall | Way::CallToCall => Day::new(&problem, 1, &[]).call(&[], &[X], put_down),
    };
    let taker = taker.work(1);
    let taker = match rest {
        Some(job) => taker.work(job),
        None => taker,
    };
    let plan = plan(&problem, [giver.home(), taker.home()]);
    (problem, plan)
}

/// Outside check: the taker's promise is kept as often as a log-normal number is small enough, also where it takes a giver
/// earlier than planned.
#[test]
fn a_taker_is_on_time_as_often_as_its_giver() {
    for (way, limits) in [
        (Way::BackToCall, [2_900, 3_500, 4_600]),
        (Way::CallToCall, [2_700, 3_700, 5_000]),
        (Way::BackToStart, [3_600, 4_000, 5_400]),
    ] {
        for (seed, limit) in (1..).zip(limits) {
            let (problem, plan) = handed_over(way, limit);
            let risk = simulate(&problem, &plan, seed, RUNS);
            assert_near(kept(&risk, 1), done_within(limit));
        }
    }
}

/// A crew under way has what is aboard and hands it on; once its work is running, it is done when it is expected to be.
#[test]
fn a_giver_under_way_is_waited_for() {
    let limit = 4_000;
    let (problem, before) = handed_over(Way::BackToCall, limit);
    for (now, chance) in [
        // It turns round after a minute and begins again.
        (BEGIN + 60, done_within(limit - 60)),
        (BEGIN + DRIVE, 1.0),
    ] {
        let later = as_of(&problem, &before, now);
        let giver = Day::new(&later, 0, &[X]);
        let giver = if now < BEGIN + DRIVE {
            giver.work(0).home()
        } else {
            giver.done(&before.crews[0].stops[0]).home()
        };
        let taker = Day::new(&later, 1, &[]).call(&[], &[X], giver.back_at);
        let plan = plan(&later, [giver, taker.work(1).work(2).home()]);
        assert_near(kept(&simulate(&later, &plan, 6, RUNS), 1), chance);
    }
}

/// Where the plan lets the taker wait for longer than the giver takes, it has a reason that is not in the days.
#[test]
fn a_longer_wait_stays_as_planned() {
    let longer = 700;
    let put_down = BEGIN + DRIVE + 1_200 + DRIVE;
    let next = put_down + longer + CHANGE + DRIVE;
    for (start_by, kept_by) in [(next, 1.0), (next - 1, 0.0)] {
        let sites = [
            Site::certain(Some(X), 1_200),
            Site::certain(Some(X), 600).by(start_by),
        ];
        let problem = problem([BEGIN, BEGIN], &sites);
        let taker = Day::new(&problem, 1, &[]).call(&[], &[X], put_down + longer);
        let giver = Day::new(&problem, 0, &[X]).work(0);
        let plan = plan(&problem, [giver.home(), taker.work(1).home()]);
        let risk = simulate(&problem, &plan, 1, 10);
        assert!((kept(&risk, 1) - kept_by).abs() < 1e-12);
    }
}

/// A taker that rests while it waits, and so begins later than the giver comes, goes before its break if the giver is early
/// enough.
#[test]
fn a_break_after_the_giver_is_no_longer_wait() {
    let put_down = BEGIN + DRIVE + Seconds::from(MEDIAN) + DRIVE;
    let rest = Break {
        earliest: put_down - 300,
        latest: put_down + 3_600,
        seconds: 900,
    };
    let early = 1_300;
    let sites = [
        Site::certain(Some(X), MEDIAN).uncertain(DEVIATION_PERMILLE),
        Site::certain(Some(X), 600).by(put_down - early + CHANGE + DRIVE),
    ];
    let problem = problem_with([vec![], vec![rest]], [BEGIN, BEGIN], &sites);
    let rested = BreakTaken {
        start: rest.earliest,
        finish: rest.earliest + rest.seconds,
    };
    let taker = Day::new(&problem, 1, &[]).call(&[], &[X], rested.finish);
    let taker = CrewPlan {
        breaks: vec![rested],
        ..taker.work(1).home()
    };
    let taker = with_rest_in_first_wait(taker, rest.seconds);
    let giver = Day::new(&problem, 0, &[X]).work(0);
    let plan = plan(&problem, [giver.home(), taker]);
    let risk = simulate(&problem, &plan, 2, RUNS);
    assert_near(kept(&risk, 1), done_within(Seconds::from(MEDIAN) - early));
}

/// So much of the wait at the first stop is a break.
fn with_rest_in_first_wait(mut day: CrewPlan, seconds: Seconds) -> CrewPlan {
    day.stops[0].wait_seconds -= seconds;
    day.totals.wait_seconds -= seconds;
    day.totals.break_seconds += seconds;
    day
}

/// Outside check: the giver, who promised nothing, makes the trouble, as much of it as a log-normal number lies above the
/// limit in the mean (the same sum as for the price of an option: Black and Scholes, Journal of Political Economy 81(3),
/// 1973).
#[test]
fn a_giver_endangers_the_taker() {
    let limit = 4_000;
    let (problem, plan) = handed_over(Way::BackToCall, limit);
    let risk = simulate(&problem, &plan, 3, RUNS);
    let most = risk.most_endangering.expect("trouble");
    assert_eq!((most.crew, most.job), (CrewIx(0), JobIx(0)));
    let deviation = f64::from(DEVIATION_PERMILLE) / 1_000.0;
    let above = -standard(limit, MEDIAN, DEVIATION_PERMILLE);
    let mean = f64::from(MEDIAN) * (deviation * deviation / 2.0).exp();
    let expected = mean * below(above + deviation) - limit as f64 * below(above);
    assert!(
        (most.seconds / expected - 1.0).abs() < 0.05,
        "{most:?} against {expected}"
    );
    assert!(risk.crews.iter().all(|crew| crew.overtime == 0.0));
}

/// A taker that is not ready itself is the one to blame: the giver's work is spared nothing where the unit lies ready.
#[test]
fn a_giver_in_time_endangers_nobody() {
    let sites = [
        Site::certain(Some(X), 600).uncertain(100),
        Site::certain(None, MEDIAN).uncertain(DEVIATION_PERMILLE),
        Site::certain(Some(X), 1_800).by(BEGIN + 3 * DRIVE + CHANGE + 4_000),
    ];
    let problem = problem([BEGIN, BEGIN], &sites);
    let giver = Day::new(&problem, 0, &[X]).work(0).home();
    let taker = Day::new(&problem, 1, &[])
        .work(1)
        .call(&[], &[X], 0)
        .work(2);
    let plan = plan(&problem, [giver, taker.home()]);
    let risk = simulate(&problem, &plan, 5, RUNS);
    let most = risk.most_endangering.expect("trouble");
    assert_eq!((most.crew, most.job), (CrewIx(1), JobIx(1)));
    assert_near(kept(&risk, 2), done_within(4_000));
}

/// Outside check: two crews that meet go on together, when the later of them has come.
#[test]
fn a_meeting_begins_when_both_are_there() {
    for (seed, limit) in (1..).zip([3_300, 3_900, 4_400]) {
        let then = BEGIN + DRIVE + limit + DRIVE + CHANGE + DRIVE;
        let (median, deviation_permille) = (3_200, 200);
        let sites = [
            Site::certain(Some(X), MEDIAN).uncertain(DEVIATION_PERMILLE),
            Site::certain(None, median).uncertain(deviation_permille),
            Site::certain(None, 600).by(then),
            Site::certain(Some(X), 600).by(then),
        ];
        let problem = problem([BEGIN, BEGIN], &sites);
        let both = BEGIN + DRIVE + Seconds::from(MEDIAN) + DRIVE;
        let giver = Day::new(&problem, 0, &[X]).work(0).meet(1, &[X], &[], both);
        let taker = Day::new(&problem, 1, &[]).work(1).meet(0, &[], &[X], both);
        let plan = plan(&problem, [giver.work(2).home(), taker.work(3).home()]);
        let risk = simulate(&problem, &plan, seed, RUNS);
        let chance = done_within(limit) * below(standard(limit, median, deviation_permille));
        assert_near(kept(&risk, 2), chance);
        assert!((kept(&risk, 2) - kept(&risk, 3)).abs() < 1e-12);
    }
}

/// Who comes first to a meeting may take its break while it waits; the other waits for the end of it.
#[test]
fn a_break_before_a_meeting_holds_both_up() {
    let there = BEGIN + DRIVE + 1_200 + DRIVE;
    let rest = Break {
        earliest: there + 900,
        latest: there + 1_800,
        seconds: 1_500,
    };
    let next = there + 900 + 1_500 + CHANGE + DRIVE;
    for (start_by, kept_by) in [(next, 1.0), (next - 1, 0.0)] {
        let sites = [
            Site::certain(Some(X), 1_200),
            Site::certain(None, 1_200 + 1_000),
            Site::certain(None, 600).by(start_by),
            Site::certain(Some(X), 600).by(start_by),
        ];
        let problem = problem_with([vec![rest], vec![]], [BEGIN, BEGIN], &sites);
        // Written as if there were no break: the plan is not within the rules, but its order is.
        let both = there + 1_000;
        let giver = Day::new(&problem, 0, &[X]).work(0).meet(1, &[X], &[], both);
        let taker = Day::new(&problem, 1, &[]).work(1).meet(0, &[], &[X], both);
        let plan = unchecked([giver.work(2).home(), taker.work(3).home()]);
        let risk = simulate(&problem, &plan, 1, 10);
        for job in [2, 3] {
            assert!((kept(&risk, job) - kept_by).abs() < 1e-12, "{job}");
        }
    }
}

/// A unit goes from the first crew to the second, and when that is back, another to the first.
fn chain(limit: Seconds) -> (Problem, Plan) {
    let last = BEGIN + limit + 2 * DRIVE + CHANGE + CHANGE + DRIVE + 1_800 + DRIVE + CHANGE + DRIVE;
    let sites = [
        Site::certain(Some(X), MEDIAN).uncertain(DEVIATION_PERMILLE),
        Site::certain(None, 600),
        Site::certain(Some(Y), 600).by(last),
        Site::certain(Some(Y), 1_200),
        Site::certain(Some(X), 1_800),
    ];
    let problem = problem([BEGIN, BEGIN], &sites);
    let one = Day::new(&problem, 0, &[X]).work(0).call(&[X], &[], 0);
    let other = Day::new(&problem, 1, &[Y]).work(3);
    let other = other.call(&[], &[X], one.at).work(4).home();
    let one = one.work(1).call(&[], &[Y], other.back_at).work(2).home();
    let plan = plan(&problem, [one, other]);
    (problem, plan)
}

/// Outside check: what one crew does late comes back to it by way of the other.
#[test]
fn lateness_comes_back_by_way_of_another_crew() {
    for (seed, limit) in (1..).zip([3_000, 3_600, 4_500]) {
        let (problem, plan) = chain(limit);
        let risk = simulate(&problem, &plan, seed, RUNS);
        assert_near(kept(&risk, 2), done_within(limit));
        let most = risk.most_endangering.expect("trouble");
        assert_eq!((most.crew, most.job), (CrewIx(0), JobIx(0)));
    }
}

/// Each crew waits for a unit that the other puts down when it has got its own: no plan within the rules, but the
/// simulation ends.
#[test]
fn crews_that_wait_for_each_other_in_a_circle_go_on_as_planned() {
    let start_by = BEGIN + DRIVE + 1_200 + DRIVE + CHANGE + DRIVE;
    let sites = [
        Site::certain(Some(X), 1_200),
        Site::certain(Some(Y), 1_200).by(start_by),
        Site::certain(Some(Y), 1_200),
        Site::certain(Some(X), 1_200),
    ];
    let problem = problem([BEGIN, BEGIN], &sites);
    let one = Day::new(&problem, 0, &[X]).work(0).call(&[X], &[Y], 0);
    let other = Day::new(&problem, 1, &[Y]).work(2).call(&[Y], &[X], 0);
    let plan = unchecked([one.work(1).home(), other.work(3).home()]);
    let risk = simulate(&problem, &plan, 1, 100);
    assert!((kept(&risk, 1) - 1.0).abs() < 1e-12);
    assert_eq!(risk.crews.len(), 2);
}

/// A random problem, with tasks that spread if they may.
fn random(seed: u64, kinds: Kinds, spreads: bool, plan: Option<(&Plan, Seconds)>) -> Problem {
    let mut parts = random_problem::parts(seed, kinds);
    if let Some((plan, earlier)) = plan {
        for stop in plan.crews.iter().flat_map(|day| &day.stops) {
            let Some(job) = stop.job() else { continue };
            let job = &mut parts.jobs[job.ix()];
            // Promised for when it is planned, or for a little earlier.
            let at = job.promise.map_or(Meeting::Start, |promise| promise.at);
            let met = match at {
                Meeting::Start => stop.start,
                Meeting::Finish => stop.finish,
            };
            let close = met - earlier;
            let open = job.promise.map_or(0, |promise| promise.open);
            // Not what would break a rule of promises.
            if open <= close && job.windows.iter().any(|window| window.open <= close) {
                job.promise = Some(Promise {
                    at,
                    open,
                    close,
                    hard: false,
                });
            }
        }
    }
    let mut service = |query| {
        let mut time = random_problem::service(query)?;
        if !spreads {
            time.log_deviation_permille = 0;
        }
        Some(time)
    };
    Problem::new(parts, &mut service).unwrap()
}

/// Whether the crew has a unit that another has that day.
fn shares(problem: &Problem, plan: &Plan, crew: usize) -> bool {
    let mine: Vec<UnitIx> = units_of(&plan.crews[crew]).collect();
    let day = |crew| problem.crew(CrewIx::from_ix(crew)).day;
    let others = (0..plan.crews.len()).filter(|other| *other != crew && day(*other) == day(crew));
    others
        .flat_map(|other| units_of(&plan.crews[other]))
        .any(|unit| mine.contains(&unit))
}

fn waits_for_units(day: &CrewPlan) -> bool {
    let waits = |stop: &Stop| stop.wait_seconds > 0 && matches!(stop.visit, Visit::Yard { .. });
    day.stops.iter().any(waits)
}

/// Without spread the simulation is the plan, to the second, also where units change hands, at yards or on the road.
#[test]
fn without_spread_hand_overs_are_as_planned() {
    for kinds in [Kinds::SHARED, Kinds::MEETING] {
        goes_as_planned(kinds);
    }
}

fn goes_as_planned(kinds: Kinds) {
    let (mut handed, mut waited, mut judged) = (0, 0, [0, 0]);
    for seed in 0..1_200 {
        let problem = random(seed, kinds, false, None);
        let plan = planned(&problem, seed, 200, None);
        if !(0..plan.crews.len()).any(|crew| shares(&problem, &plan, crew)) {
            continue;
        }
        handed += 1;
        waited += usize::from(plan.crews.iter().any(waits_for_units));
        for ((earlier, kept), judged) in [(0, 1.0), (1, 0.0)].into_iter().zip(&mut judged) {
            let problem = random(seed, kinds, false, Some((&plan, earlier)));
            let risk = simulate(&problem, &plan, 1, 2);
            for found in risk.promises {
                let (crew, at) = plan.find(found.job).unwrap();
                let stop = &plan.crews[crew.ix()].stops[at];
                let promise = problem.job(found.job).promise.unwrap();
                if promise.close != promise.met_at(stop.start, stop.finish) - earlier {
                    // It stands as it was.
                    continue;
                }
                *judged += 1;
                assert!(
                    (found.kept - kept).abs() < 1e-12,
                    "seed {seed}: {found:?}\n{plan:#?}"
                );
            }
        }
    }
    assert!(
        judged.iter().all(|count| *count >= 2 * handed),
        "{judged:?} promises of {handed} plans, kept and not"
    );
    assert!(
        handed >= 10 && waited >= 3,
        "{handed} plans with a shared unit, {waited} with a wait"
    );
}

/// The plan in which no other crew has any stop to make or unit to hand on.
fn only(plan: &Plan, crew: usize) -> Plan {
    let mut only = plan.clone();
    for (ix, day) in only.crews.iter_mut().enumerate() {
        if ix != crew {
            day.stops.retain(|stop| stop.frozen);
            day.load_out.clear();
        }
    }
    only
}

/// A crew that neither takes units over nor hands them on has the chances that it has by itself.
#[test]
fn crews_apart_have_their_own_chances() {
    let (mut apart, mut beside) = (0, 0);
    for (seed, kinds) in (0..150)
        .map(|seed| {
            (
                seed,
                Kinds {
                    many_calls: true,
                    ..Kinds::ALL
                },
            )
        })
        .chain((0..600).map(|seed| (seed, Kinds::SHARED)))
        .chain((0..600).map(|seed| (seed, Kinds::MEETING)))
    {
        let problem = random(seed, kinds, true, None);
        let plan = planned(&problem, seed, 100, None);
        let risk = simulate(&problem, &plan, seed, 40);
        let shared = (0..plan.crews.len()).any(|crew| shares(&problem, &plan, crew));
        let mut most: Option<Endangering> = None;
        for crew in 0..plan.crews.len() {
            if shares(&problem, &plan, crew) {
                continue;
            }
            let alone = simulate(&problem, &only(&plan, crew), seed, 40);
            assert_eq!(alone.crews[crew], risk.crews[crew], "seed {seed}");
            for promise in &alone.promises {
                assert!(risk.promises.contains(promise), "seed {seed}: {promise:?}");
            }
            most = [most, alone.most_endangering]
                .into_iter()
                .flatten()
                .reduce(|most, found| {
                    if found.seconds > most.seconds {
                        found
                    } else {
                        most
                    }
                });
            beside += usize::from(shared);
            apart += usize::from(!plan.crews[crew].stops.is_empty());
        }
        if !shared {
            assert_eq!(risk.most_endangering, most, "seed {seed}");
        }
    }
    assert!(apart > 500 && beside > 5, "{apart} {beside}");
}
