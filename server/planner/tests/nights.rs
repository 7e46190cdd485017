//! Night shifts that go on as the next day's early shift begins: a unit is in one place at a time, whatever the day.

mod support;

use forenoon_planner::check::Violation;
use forenoon_planner::plan::Visit;
use forenoon_planner::problem::limits::MONEY_MAX;
use forenoon_planner::problem::{Crew, Fault, Item, Job, Parts, Problem, Window};
use forenoon_planner::{ClassIx, CrewIx, JobIx, PlaceIx, Plan, Seconds, UnitIx, check, explain};
use support::plain::{self, HOUR};
use support::random_problem::{Kinds, parts, service};
use support::{planned, units_of};

/// A crew that is out at night until seven, and one of the next day from six on.
fn night_and_morning(units: usize) -> Parts {
    let night = Crew {
        shift_start: 22 * HOUR,
        shift_end: 31 * HOUR,
        ..plain::crew()
    };
    let early = Crew {
        day: 1,
        shift_start: 30 * HOUR,
        shift_end: 38 * HOUR,
        ..plain::crew()
    };
    let at = |crew: u32, from: Seconds| Job {
        windows: vec![Window {
            open: from,
            close: from + HOUR,
        }],
        crews: Some(vec![CrewIx(crew)]),
        ..plain::job(1, &[0])
    };
    let mut units = vec![plain::unit(0, 0); units];
    for unit in &mut units {
        unit.available[0].close = 48 * HOUR;
    }
    plain::parts(
        plain::road(&[0, 600]),
        vec![plain::class(0)],
        units,
        vec![night, early],
        vec![at(0, 29 * HOUR + 2_400), at(1, 30 * HOUR)],
    )
}

fn sound(problem: &Problem, seed: u64) -> Plan {
    let plan = planned(problem, seed, 100, None);
    let checked = check(problem, &plan);
    assert!(checked.is_ok(), "seed {seed}: {checked:?}");
    plan
}

/// The one mower is still out when the early crew would load it: one of the two does without. With two of them both work.
#[test]
fn a_unit_is_not_with_the_night_and_the_early_crew() {
    let one = plain::problem(night_and_morning(1));
    let plan = sound(&one, 1);
    assert_eq!(plan.unplanned.len(), 1, "{plan:?}");
    assert_eq!(explain(&one, &plan).len(), 1);
    assert!(
        sound(&plain::problem(night_and_morning(2)), 1)
            .unplanned
            .is_empty()
    );
}

/// Where the early crew's work can wait until the night crew is back, it takes the mower then.
#[test]
fn the_early_crew_takes_what_the_night_crew_has_brought_back() {
    let mut parts = night_and_morning(1);
    parts.crews[1].yard_calls = vec![forenoon_planner::problem::YardCall {
        place: PlaceIx(0),
        seconds: 300,
    }];
    parts.crews[1].calls_max = 1;
    parts.jobs[1].windows[0].close = 36 * HOUR;
    // By hand in the meantime.
    let mut other = plain::job(1, &[]);
    other.crews = Some(vec![CrewIx(1)]);
    other.windows[0].close = 40 * HOUR;
    parts.jobs.push(other);
    let plan = sound(&plain::problem(parts), 1);
    assert!(plan.unplanned.is_empty(), "{plan:?}");
    let loads = plan.crews[1]
        .stops
        .iter()
        .any(|stop| matches!(&stop.visit, Visit::Yard { load, .. } if load.contains(&UnitIx(0))));
    assert!(loads, "{plan:?}");
}

/// The checker finds it by itself: two plans, each sound alone, put together.
#[test]
fn the_checker_finds_a_unit_of_two_days_in_two_places() {
    let problem = plain::problem(night_and_morning(1));
    let only = |crew: usize| {
        let mut parts = night_and_morning(1);
        parts.jobs[1 - crew].penalty = 0;
        parts.jobs[crew].penalty = MONEY_MAX / 2;
        let plan = sound(&plain::problem(parts), 1);
        assert!(plan.find(JobIx::from_ix(crew)).is_some(), "{plan:?}");
        plan
    };
    let mut both = only(0);
    both.crews[1] = only(1).crews[1].clone();
    both.unplanned.clear();
    // The early crew alone is not enough to have it in two places.
    assert!(both.crews[0].back_at > problem.crew(CrewIx(1)).shift_start);
    let Err(found) = check(&problem, &both) else {
        panic!("{both:?}")
    };
    let expected = Violation::TwoPlaces {
        unit: UnitIx(0),
        first: CrewIx(0),
        second: CrewIx(1),
    };
    assert!(found.contains(&expected), "{found:?}");
}

/// What is aboard two crews that are out at the same time is refused.
#[test]
fn aboard_two_crews_of_two_days_is_refused() {
    let mut parts = night_and_morning(1);
    for (crew, ready_at) in parts.crews.iter_mut().zip([29 * HOUR, 30 * HOUR]) {
        crew.progress = plain::out_with(&[0]);
        if let forenoon_planner::problem::Progress::UnderWay(way) = &mut crew.progress {
            way.ready_at = ready_at;
        }
    }
    let Err(faults) = Problem::new(parts, &mut service) else {
        panic!("accepted")
    };
    assert!(
        matches!(faults.0[..], [ref fault @ Fault::UnitInTwoPlaces { .. }] if fault.item() == Item::Unit(UnitIx(0))),
        "{faults}"
    );
}

/// Random days of which one runs into the next: every plan passes the checker, and many would not if days were looked at one
/// by one.
#[test]
fn plans_of_days_that_overlap_pass_the_checker() {
    let (mut overlapping, mut twice) = (0, 0);
    for kinds in [Kinds::ALL, Kinds::SHARED, Kinds::MEETING] {
        for seed in 0..1_500 {
            let mut parts = parts(seed, kinds);
            if parts.crews.iter().all(|crew| crew.day == 0) {
                continue;
            }
            let apart = 20 * HOUR;
            for crew in parts.crews.iter_mut().filter(|crew| crew.day == 1) {
                // The second day begins in the middle of the first.
                crew.shift_start -= apart;
                crew.shift_end -= apart;
                for rest in &mut crew.breaks {
                    rest.earliest -= apart;
                    rest.latest -= apart;
                }
                if let forenoon_planner::problem::Progress::UnderWay(way) = &mut crew.progress {
                    way.ready_at -= apart;
                    way.frozen.clear();
                }
            }
            // So that there is something to share.
            for unit in &mut parts.units {
                unit.class = ClassIx(unit.class.0 % 2);
            }
            let Ok(problem) = Problem::new(parts, &mut service) else {
                continue;
            };
            let plan = sound(&problem, seed);
            overlapping += 1;
            let of_day = |day: u16| {
                let crews = problem.crews().iter().zip(&plan.crews);
                let of_day = crews.filter(move |(crew, _)| crew.day == day);
                of_day
                    .flat_map(|(_, plan)| units_of(plan))
                    .collect::<Vec<_>>()
            };
            let later = of_day(1);
            twice += usize::from(of_day(0).iter().any(|unit| later.contains(unit)));
        }
    }
    assert!(overlapping > 300 && twice > 20, "{overlapping} {twice}");
}
