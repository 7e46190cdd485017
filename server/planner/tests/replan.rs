//! Planning again in the middle of the day.

mod support;

use forenoon_planner::problem::{Break, Progress};
use forenoon_planner::replan::{ProposalSettings, as_of, propose, unit_out};
use forenoon_planner::{
    Cancel, Heat, Iterations, PlaceIx, Plan, Problem, Settings, UnitIx, check, solve,
};
use support::branch_day::{self, Size};
use support::plain;
use support::random_problem::{Kinds, problem};

fn plan(problem: &Problem, iterations: u64, warm_start: Option<&Plan>, heat: Heat) -> Plan {
    let settings = Settings {
        seed: 5,
        budget: &Iterations(iterations),
        cancel: &Cancel::new(),
        warm_start,
        heat,
    };
    solve(problem, &settings, &mut |_| {}).plan
}

fn uses(plan: &Plan, unit: UnitIx) -> bool {
    plan.crews.iter().any(|crew| {
        crew.stops
            .iter()
            .filter(|stop| !stop.frozen)
            .any(|stop| match &stop.visit {
                forenoon_planner::plan::Visit::Job { tasks, .. } => tasks
                    .iter()
                    .any(|task| task.unit == Some(unit) || task.powerhead == Some(unit)),
                forenoon_planner::plan::Visit::Yard { load, .. } => load.contains(&unit),
                forenoon_planner::plan::Visit::Meet { take, .. } => take.contains(&unit),
            })
    })
}

/// The tag wins: whatever is tagged out at whatever minute, no proposal uses it afterwards, and all are possible.
#[test]
fn no_proposal_contains_a_unit_that_is_out() {
    let settings = ProposalSettings {
        seed: 1,
        budget_each: &Iterations(30),
        cancel: &Cancel::new(),
    };
    let mut proposed = 0;
    for seed in 0..200 {
        let problem = problem(seed, Kinds::ALL);
        let before = plan(&problem, 60, None, Heat::Full);
        for now in [7, 9, 10, 13].map(|hour| hour * 3_600 + 600) {
            let held: Vec<UnitIx> = before
                .crews
                .iter()
                .flat_map(|crew| crew.load_out.iter().copied())
                .collect();
            let Some(&unit) = held.get(usize::try_from(seed).unwrap() % held.len().max(1)) else {
                continue;
            };
            let later = unit_out(&as_of(&problem, &before, now), unit, now);
            for proposal in propose(&later, &before, &settings) {
                proposed += 1;
                let checked = check(&later, &proposal.plan);
                assert!(checked.is_ok(), "seed {seed} at {now}: {checked:?}");
                assert!(
                    !uses(&proposal.plan, unit),
                    "seed {seed} at {now}: {unit:?} is used"
                );
            }
        }
    }
    assert!(proposed > 500, "{proposed} proposals");
}

/// A mower breaks at ten past ten: there are at least two answers, and they differ in kind where they can.
#[test]
fn a_breakdown_gives_answers_of_different_kinds() {
    let problem = branch_day::problem(3, Size::BRANCH);
    let before = plan(&problem, 1_500, None, Heat::Full);
    let now = 10 * 3_600 + 600;
    let here = as_of(&problem, &before, now);
    let settings = ProposalSettings {
        seed: 1,
        budget_each: &Iterations(200),
        cancel: &Cancel::new(),
    };
    let mut several = 0;
    for crew in here.crews() {
        let Progress::UnderWay(way) = &crew.progress else {
            continue;
        };
        let Some(&unit) = way
            .aboard
            .iter()
            .find(|unit| uses_later(&before, **unit, now))
        else {
            continue;
        };
        let proposals = propose(&unit_out(&here, unit, now), &before, &settings);
        let mut kinds: Vec<_> = proposals
            .iter()
            .map(|proposal| format!("{:?}", proposal.kind))
            .collect();
        kinds.dedup();
        assert!(proposals.len() >= 2, "{unit:?}: {kinds:?}");
        several += usize::from(kinds.len() >= 2);
    }
    assert!(
        several >= 3,
        "only {several} breakdowns have answers of several kinds"
    );
}

/// Two crews meet where that gives back a tool: both have the meeting at the same place and time, the unit is with the
/// taker from then on and with the giver no more, the checker agrees with every figure, and without its like on the other
/// day the meeting is refused.
#[test]
fn crews_meet_to_hand_a_unit_over() {
    use forenoon_planner::plan::Visit;
    use forenoon_planner::replan::Kind;
    let settings = ProposalSettings {
        seed: 1,
        budget_each: &Iterations(30),
        cancel: &Cancel::new(),
    };
    let mut met = 0;
    for day in 1..=12 {
        let problem = with_calls(day);
        let before = plan(&problem, 300, None, Heat::Full);
        let now = 10 * 3_600 + 600;
        let here = as_of(&problem, &before, now);
        for crew in here.crews() {
            let Progress::UnderWay(way) = &crew.progress else {
                continue;
            };
            let used = |unit: &&UnitIx| uses_later(&before, **unit, now);
            let Some(&unit) = way.aboard.iter().find(used) else {
                continue;
            };
            let later = unit_out(&here, unit, now);
            for proposal in propose(&later, &before, &settings) {
                let stops = || {
                    proposal
                        .plan
                        .crews
                        .iter()
                        .flat_map(|crew| &crew.stops)
                        .filter_map(|stop| match &stop.visit {
                            Visit::Meet { give, take, .. } => Some((stop, give, take)),
                            _ => None,
                        })
                };
                if stops().count() == 0 {
                    continue;
                }
                met += 1;
                assert_eq!(proposal.kind, Kind::Meet);
                assert_eq!(stops().count(), 2);
                let given: Vec<UnitIx> = stops().flat_map(|(_, give, _)| give.clone()).collect();
                let taken: Vec<UnitIx> = stops().flat_map(|(_, _, take)| take.clone()).collect();
                assert_eq!(given, taken);
                assert_ne!(given, [unit]);
                let times: Vec<_> = stops()
                    .map(|(stop, ..)| (stop.place, stop.start, stop.finish))
                    .collect();
                assert_eq!(times[0], times[1]);
                assert!(
                    check(&later, &proposal.plan).is_ok(),
                    "{:?}",
                    check(&later, &proposal.plan)
                );
                // One crew alone cannot meet.
                let mut alone = proposal.plan.clone();
                let crew = alone.crews.iter_mut().find(|crew| {
                    crew.stops
                        .iter()
                        .any(|stop| matches!(stop.visit, Visit::Meet { .. }))
                });
                crew.expect("a crew")
                    .stops
                    .retain(|stop| !matches!(stop.visit, Visit::Meet { .. }));
                assert!(check(&later, &alone).is_err());
            }
        }
    }
    assert!(met >= 10, "{met} meetings");
}

/// A branch day whose crews may call at the yard.
#[expect(clippy::unwrap_used, reason = "generated days are sound")]
fn with_calls(seed: u64) -> Problem {
    let (mut parts, mut service) = branch_day::parts(seed, Size::BRANCH);
    for crew in &mut parts.crews {
        crew.calls_max = 1;
        crew.yard_calls = vec![forenoon_planner::problem::YardCall {
            place: crew.start,
            seconds: 600,
        }];
    }
    Problem::new(parts, &mut service).unwrap()
}

fn uses_later(plan: &Plan, unit: UnitIx, now: i64) -> bool {
    plan.crews.iter().flat_map(|crew| &crew.stops).any(|stop| {
        stop.start > now
            && matches!(&stop.visit, forenoon_planner::plan::Visit::Job { tasks, .. }
                if tasks.iter().any(|task| task.unit == Some(unit) || task.powerhead == Some(unit)))
    })
}

/// If nothing has happened, nothing changes: the plan as of later is the plan.
#[test]
fn an_undisturbed_day_goes_on_as_planned() {
    for seed in 0..200 {
        let problem = problem(
            seed,
            Kinds {
                under_way: false,
                ..Kinds::ALL
            },
        );
        let before = plan(&problem, 80, None, Heat::Full);
        for now in [8, 11].map(|hour| hour * 3_600) {
            let later = as_of(&problem, &before, now);
            let after = plan(&later, 0, Some(&before), Heat::Gentle);
            assert!(
                check(&later, &after).is_ok(),
                "seed {seed} at {now}: {:?}",
                check(&later, &after)
            );
        }
    }
}

/// Guards the load-outs: a crew keeps the unit it had, and is not given its twin for nothing. It changes for one that whoever
/// had it before has still.
#[test]
fn nobody_is_given_the_twin_of_what_they_had() {
    for seed in 0..24 {
        let problem = branch_day::problem(seed, Size::BRANCH);
        let before = plan(&problem, 400, None, Heat::Full);
        let held: Vec<UnitIx> = before
            .crews
            .iter()
            .flat_map(|crew| crew.load_out.iter().copied())
            .collect();
        let out = held[usize::try_from(seed).unwrap() * 3 % held.len()];
        let later = unit_out(&as_of(&problem, &before, 0), out, 0);
        let settings = ProposalSettings {
            seed,
            budget_each: &Iterations(400),
            cancel: &Cancel::new(),
        };
        for proposal in propose(&later, &before, &settings) {
            check(&later, &proposal.plan).expect("a plan within its rules");
            for (old, new) in before.crews.iter().zip(&proposal.plan.crews) {
                let lost = old
                    .load_out
                    .iter()
                    .filter(|unit| !new.load_out.contains(unit));
                for had in lost {
                    let twin = new.load_out.iter().find(|has| {
                        // Of two crews that share one unit now, one keeps its own.
                        let mut all = before.crews.iter().zip(&proposal.plan.crews);
                        let is_kept = all.any(|(old, new)| {
                            old.load_out.contains(has) && new.load_out.contains(has)
                        });
                        !is_kept && later.unit(**has) == later.unit(*had)
                    });
                    assert_eq!(twin, None, "seed {seed}: in place of {had:?}");
                }
            }
        }
    }
}

/// Of two units alike aboard a crew that is out, work is planned with the one that can still be home in time.
#[test]
fn work_is_planned_with_the_unit_that_may_still_be_used() {
    let mut too_late = plain::unit(0, 0);
    too_late.available[0].close = plain::HOUR / 2;
    let mut crew = plain::crew();
    crew.progress = plain::out_with(&[0, 1]);
    if let Progress::UnderWay(way) = &mut crew.progress {
        // An hour from home.
        way.place = PlaceIx(1);
    }
    let problem = plain::problem(plain::parts(
        plain::road(&[0, plain::HOUR]),
        vec![plain::class(0)],
        vec![too_late, plain::unit(0, 0)],
        vec![crew],
        vec![plain::job(1, &[0])],
    ));
    let plan = plan(&problem, 20, None, Heat::Full);
    assert!(uses(&plan, UnitIx(1)) && !uses(&plan, UnitIx(0)));
    let checked = check(&problem, &plan);
    assert!(checked.is_ok(), "{checked:?}");
}

/// A break that was missed at one planning is not planned at a later one either, nor is one that was taken since.
#[test]
fn no_break_is_planned_twice() {
    let rest = |earliest| Break {
        earliest,
        latest: earliest + 2 * plain::HOUR,
        seconds: 1_800,
    };
    let mut crew = plain::crew();
    crew.breaks = vec![rest(0), rest(4 * plain::HOUR)];
    crew.progress = plain::out_with(&[]);
    if let Progress::UnderWay(way) = &mut crew.progress {
        // The first can no longer begin.
        way.ready_at = 3 * plain::HOUR;
    }
    let mut long = plain::job(1, &[]);
    long.fixed_seconds = 7_200;
    let problem = plain::problem(plain::parts(
        plain::road(&[0, 600]),
        vec![],
        vec![],
        vec![crew],
        vec![long.clone(), long],
    ));
    let first = plan(&problem, 20, None, Heat::Full);
    let taken = &first.crews[0].breaks;
    assert_eq!(taken.len(), 1);
    let now = as_of(&problem, &first, taken[0].finish);
    let second = plan(&now, 20, Some(&first), Heat::Full);
    assert!(second.crews[0].stops.iter().any(|stop| !stop.frozen));
    assert!(second.crews[0].breaks.is_empty());
}
