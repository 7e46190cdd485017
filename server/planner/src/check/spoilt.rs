//! A sound plan spoilt in every way that the checker knows: it finds each.

use super::Violation;
use super::check;
use crate::Seconds;
use crate::cost::Cost;
use crate::index::{ClassIx, CrewIx, JobIx, PlaceIx, SkillIx, UnitIx};
use crate::plan::{BreakTaken, CrewPlan, Plan, Stop, Visit};
use crate::problem::{
    Break, Meeting, Parts, Problem, Promise, ServiceQuery, ServiceTime, Tool, Window, YardCall,
};
use crate::support::plain::{HOUR, class, crew, job, out_with, parts, road, unit};
use crate::support::planned;

/// How many kinds of violation there are.
const KINDS: usize = 31;

/// The kind's number. A new kind needs one, and with it a case below.
const fn kind(violation: &Violation) -> usize {
    match violation {
        Violation::CrewCount { .. } => 0,
        Violation::UnknownJob { .. } => 1,
        Violation::UnknownUnit { .. } => 2,
        Violation::UnknownPlace { .. } => 3,
        Violation::JobCount { .. } => 4,
        Violation::Meeting { .. } => 5,
        Violation::FrozenChanged { .. } => 6,
        Violation::WrongPlace { .. } => 7,
        Violation::Drive { .. } => 8,
        Violation::Gap { .. } => 9,
        Violation::Work { .. } => 10,
        Violation::Window { .. } => 11,
        Violation::Promise { .. } => 12,
        Violation::Quiet { .. } => 13,
        Violation::Skill { .. } => 14,
        Violation::Crew { .. } => 15,
        Violation::Break { .. } => 16,
        Violation::Back { .. } => 17,
        Violation::Task { .. } => 18,
        Violation::NotQuickest { .. } => 19,
        Violation::NotAboard { .. } => 20,
        Violation::NotAtYard { .. } => 21,
        Violation::AboardChanged { .. } => 22,
        Violation::YardCall { .. } => 23,
        Violation::LoadSpace { .. } => 24,
        Violation::NotAvailable { .. } => 25,
        Violation::TakenEarly { .. } => 26,
        Violation::NotThere { .. } => 27,
        Violation::TwoPlaces { .. } => 28,
        Violation::Totals { .. } => 29,
        Violation::Cost { .. } => 30,
    }
}

const QUICK: UnitIx = UnitIx(0);
const SLOW: UnitIx = UnitIx(1);
const A: CrewIx = CrewIx(0);
const B: CrewIx = CrewIx(1);
const MOWING: JobIx = JobIx(0);
const MOWER: ClassIx = ClassIx(0);

/// The one mower takes half an hour, the other one an hour.
#[expect(clippy::unnecessary_wraps, reason = "the planner asks for an option")]
fn service(query: ServiceQuery) -> Option<ServiceTime> {
    let seconds = if query.tool == Tool::Whole(MOWER) {
        1_800
    } else {
        3_600
    };
    Some(ServiceTime {
        seconds,
        bound_seconds: seconds,
        log_deviation_permille: 0,
        exposure: 10,
    })
}

/// Two crews, two mowers, and two jobs for the first crew: it mows, drives on, has its break and waits for the second job.
fn day() -> Parts {
    let mut first = crew();
    first.breaks = vec![Break {
        earliest: 2 * HOUR,
        latest: 3 * HOUR,
        seconds: 900,
    }];
    first.yard_calls = vec![
        YardCall {
            place: PlaceIx(0),
            seconds: 300,
        },
        YardCall {
            place: PlaceIx(2),
            seconds: 300,
        },
    ];
    first.calls_max = 1;
    let mut second = first.clone();
    second.breaks.clear();
    let mut jobs = vec![job(1, &[0]), job(2, &[])];
    jobs[1].windows[0].open = 4 * HOUR;
    for job in &mut jobs {
        job.crews = Some(vec![A]);
    }
    let mut classes = vec![class(0), class(0)];
    classes[0].noisy = true;
    parts(
        road(&[0, 600, 1_200]),
        classes,
        vec![unit(0, 0), unit(1, 0)],
        vec![first, second],
        jobs,
    )
}

fn problem(parts: Parts) -> Problem {
    match Problem::new(parts, &mut service) {
        Ok(problem) => problem,
        Err(faults) => unreachable!("{faults}"),
    }
}

/// A call of five minutes at a yard.
fn call(place: u32, at: Seconds, unload: &[UnitIx], load: &[UnitIx]) -> Stop {
    stop(
        Visit::Yard {
            unload: unload.to_vec(),
            load: load.to_vec(),
        },
        place,
        at,
    )
}

fn stop(visit: Visit, place: u32, at: Seconds) -> Stop {
    Stop {
        visit,
        place: PlaceIx(place),
        drive_seconds: 0,
        arrival: at,
        start: at,
        finish: at + 300,
        wait_seconds: 0,
        slack_seconds: 0,
        frozen: false,
    }
}

fn first_task(plan: &mut Plan) -> &mut crate::plan::TaskPlan {
    match &mut plan.crews[0].stops[0].visit {
        Visit::Job { tasks, .. } => &mut tasks[0],
        other => unreachable!("{other:?}"),
    }
}

struct Case {
    name: &'static str,
    spoil: fn(&mut Parts, &mut Plan),
    finds: fn(&Violation) -> bool,
}

macro_rules! case {
    ($name:literal, |$parts:pat_param, $plan:pat_param| $spoil:expr, $finds:pat $(if $guard:expr)?) => {
        Case {
            name: $name,
            spoil: |$parts, $plan| $spoil,
            finds: |violation| matches!(violation, $finds $(if $guard)?),
        }
    };
}

const ALL_DAY: Window = Window {
    open: 0,
    close: 24 * HOUR,
};

fn of_the_plan_as_a_whole() -> Vec<Case> {
    vec![
        case!(
            "one crew more",
            |_, plan| plan.crews.push(CrewPlan::default()),
            Violation::CrewCount {
                planned: 3,
                crews: 2
            }
        ),
        case!(
            "a job from nowhere",
            |_, plan| plan.unplanned.push(JobIx(9)),
            Violation::UnknownJob { job: JobIx(9) }
        ),
        case!(
            "a unit from nowhere",
            |_, plan| plan.crews[0].load_out.push(UnitIx(9)),
            Violation::UnknownUnit { unit: UnitIx(9) }
        ),
        case!(
            "a place from nowhere",
            |_, plan| plan.crews[0].stops[0].place = PlaceIx(9),
            Violation::UnknownPlace { place: PlaceIx(9) }
        ),
        case!(
            "planned and left out",
            |_, plan| plan.unplanned.push(MOWING),
            Violation::JobCount {
                job: MOWING,
                times: 2
            }
        ),
        case!(
            "neither planned nor left out",
            |_, plan| plan.crews[0].stops.truncate(1),
            Violation::JobCount {
                job: JobIx(1),
                times: 0
            }
        ),
        case!(
            "done in the plan alone",
            |_, plan| plan.crews[0].stops[0].frozen = true,
            Violation::FrozenChanged { crew: A }
        ),
        case!("met by nobody", |_, plan| {
            let meets = Visit::Meet { with: B, give: vec![], take: vec![] };
            plan.crews[0].stops.push(stop(meets, 0, 6 * HOUR));
        }, Violation::Meeting { at } if at.crew == A && at.stop == 2),
    ]
}

fn of_times() -> Vec<Case> {
    vec![
        case!("a stop beside its job", |_, plan| plan.crews[0].stops[0].place = PlaceIx(2), Violation::WrongPlace { at } if at.stop == 0),
        case!(
            "a drive too short",
            |_, plan| plan.crews[0].stops[0].drive_seconds -= 1,
            Violation::Drive {
                stated: 599,
                needed: 600,
                ..
            }
        ),
        case!("a minute between two stops", |_, plan| {
            for stop in &mut plan.crews[0].stops[..1] {
                stop.arrival += 60;
                stop.start += 60;
                stop.finish += 60;
            }
        }, Violation::Gap { at, seconds: 60 } if at.stop == 0),
        case!("a wait that is not told", |_, plan| plan.crews[0].stops[1].wait_seconds -= 60, Violation::Gap { at, seconds: 60 } if at.stop == 1),
        case!("work too short", |_, plan| plan.crews[0].stops[0].finish -= 1, Violation::Work { at, stated: 2_399, needed: 2_400 } if at.stop == 0),
        case!("work before the window", |parts, _| parts.jobs[0].windows[0].open = HOUR, Violation::Window { at } if at.stop == 0),
        case!("work after the window", |parts, _| parts.jobs[0].windows[0].close = 599, Violation::Window { at } if at.stop == 0),
        case!("work that ends after its window", |parts, _| {
            parts.jobs[0].bound = crate::problem::Bound::Whole;
            parts.jobs[0].windows[0].close = 2_999;
        }, Violation::Window { at } if at.stop == 0),
        case!("before the customer is there", |parts, _| {
            parts.jobs[0].promise = Some(Promise { at: Meeting::Start, open: 601, close: HOUR, hard: false });
        }, Violation::Promise { at } if at.stop == 0),
        case!("after a promise that must be kept", |parts, _| {
            parts.jobs[0].promise = Some(Promise { at: Meeting::Finish, open: 0, close: 2_999, hard: true });
        }, Violation::Promise { at } if at.stop == 0),
        case!("noise in the quiet", |parts, _| parts.jobs[0].quiet = vec![ALL_DAY], Violation::Quiet { at } if at.stop == 0),
        case!(
            "a break too early",
            |_, plan| plan.crews[0].breaks[0] = BreakTaken {
                start: 2 * HOUR - 60,
                finish: 2 * HOUR + 840
            },
            Violation::Break { crew: A, which: 0 }
        ),
        case!(
            "a break too short",
            |_, plan| plan.crews[0].breaks[0].finish -= 60,
            Violation::Break { crew: A, which: 0 }
        ),
        case!(
            "a break left out",
            |_, plan| plan.crews[0].breaks.clear(),
            Violation::Break { crew: A, which: 0 }
        ),
        case!(
            "a break that nobody has",
            |_, plan| plan.crews[1].breaks.push(BreakTaken {
                start: 0,
                finish: 60
            }),
            Violation::Break { crew: B, .. }
        ),
        case!(
            "back later than told",
            |_, plan| plan.crews[0].back_at -= 60,
            Violation::Back { crew: A, .. }
        ),
        case!("back too late", |parts, _| parts.crews[0].shift_end = 4 * HOUR, Violation::Back { crew: A, expected, .. } if *expected == 4 * HOUR),
    ]
}

#[expect(clippy::too_many_lines, reason = "a table")]
fn of_crews_and_units() -> Vec<Case> {
    vec![
        case!(
            "a skill that nobody has",
            |parts, _| parts.jobs[0].skills = vec![SkillIx(7)],
            Violation::Skill {
                skill: SkillIx(7),
                ..
            }
        ),
        case!("a crew that is not listed", |parts, _| parts.jobs[0].crews = Some(vec![B]), Violation::Crew { at } if at.stop == 0),
        case!("a crew too small", |parts, _| parts.jobs[0].crew_size_min = 2, Violation::Crew { at } if at.stop == 0),
        case!(
            "a task without a plan",
            |_, plan| match &mut plan.crews[0].stops[0].visit {
                Visit::Job { tasks, .. } => tasks.clear(),
                other => unreachable!("{other:?}"),
            },
            Violation::Task { task: 0, .. }
        ),
        case!(
            "a method from nowhere",
            |_, plan| first_task(plan).method = 3,
            Violation::Task { task: 0, .. }
        ),
        case!(
            "a task too quick",
            |_, plan| first_task(plan).seconds -= 1,
            Violation::Task { task: 0, .. }
        ),
        case!(
            "a tool that cannot do it",
            |parts, _| parts.classes[0].capabilities.clear(),
            Violation::Task { task: 0, .. }
        ),
        case!(
            "a tool too wide for the gate",
            |parts, _| {
                parts.classes[0].width_mm = 1_000;
                parts.jobs[0].tasks[0].methods[0].gate_mm = Some(900);
            },
            Violation::Task { task: 0, .. }
        ),
        case!(
            "the slower of two tools",
            |_, plan| {
                plan.crews[0].load_out.push(SLOW);
                first_task(plan).unit = Some(SLOW);
            },
            Violation::NotQuickest { task: 0, .. }
        ),
        case!(
            "a tool left at home",
            |_, plan| plan.crews[0].load_out.clear(),
            Violation::NotAboard { unit: QUICK, .. }
        ),
        case!(
            "put down without having it",
            |_, plan| plan.crews[0].stops.push(call(0, 6 * HOUR, &[SLOW], &[])),
            Violation::NotAboard { unit: SLOW, .. }
        ),
        case!(
            "loaded where it does not stand",
            |parts, _| parts.units[0].home = PlaceIx(2),
            Violation::NotAtYard {
                crew: A,
                unit: QUICK
            }
        ),
        case!(
            "put down where it does not stand",
            |_, plan| plan.crews[0].stops.push(call(2, 6 * HOUR, &[QUICK], &[])),
            Violation::NotAtYard {
                crew: A,
                unit: QUICK
            }
        ),
        case!(
            "aboard what is not",
            |parts, _| parts.crews[0].progress = out_with(&[]),
            Violation::AboardChanged { crew: A }
        ),
        case!("one call too many", |_, plan| {
            plan.crews[0].stops.push(call(0, 6 * HOUR, &[], &[]));
            plan.crews[0].stops.push(call(0, 7 * HOUR, &[], &[]));
        }, Violation::YardCall { at } if at.stop == 3),
        case!(
            "no room",
            |parts, _| parts.crews[0].load_space = 0,
            Violation::LoadSpace {
                crew: A,
                needed: 1,
                available: 0
            }
        ),
        case!(
            "a unit that is away",
            |parts, _| parts.units[0].available[0].close = 2 * HOUR,
            Violation::NotAvailable {
                crew: A,
                unit: QUICK
            }
        ),
        case!(
            "taken while another has it",
            |parts, plan| {
                parts.share_units = true;
                plan.crews[1].stops.push(call(0, HOUR, &[], &[QUICK]));
            },
            Violation::TakenEarly {
                unit: QUICK,
                giver: A,
                taker: B,
                taken: 3_600,
                ..
            }
        ),
        case!(
            "taken where it was not put down",
            |parts, plan| {
                parts.share_units = true;
                plan.crews[0].stops.push(call(2, 6 * HOUR, &[QUICK], &[]));
                plan.crews[1].stops.push(call(0, 7 * HOUR, &[], &[QUICK]));
            },
            Violation::NotThere {
                unit: QUICK,
                crew: B
            }
        ),
        case!(
            "with two crews",
            |_, plan| plan.crews[1].load_out.push(QUICK),
            Violation::TwoPlaces {
                unit: QUICK,
                first: B,
                second: A
            }
        ),
        case!(
            "one after the other where nothing is shared",
            |_, plan| {
                let back_at = plan.crews[0].back_at;
                plan.crews[1].stops.push(call(0, back_at, &[], &[QUICK]));
            },
            Violation::TwoPlaces {
                unit: QUICK,
                first: A,
                second: B
            }
        ),
        case!(
            "taken twice",
            |_, plan| plan.crews[0].stops.push(call(0, 6 * HOUR, &[], &[QUICK])),
            Violation::TwoPlaces {
                unit: QUICK,
                first: A,
                second: A
            }
        ),
    ]
}

/// Every total, and every term of the cost.
fn of_sums() -> Vec<Case> {
    macro_rules! case_of {
        (total $field:ident) => {
            Case {
                name: stringify!($field),
                spoil: |_, plan| plan.crews[0].totals.$field += 1,
                finds: |violation| matches!(violation, Violation::Totals { crew: A }),
            }
        };
        (cost $field:ident) => {
            Case {
                name: stringify!($field),
                spoil: |_, plan| plan.cost.$field += Cost(1),
                finds: |violation| matches!(violation, Violation::Cost { .. }),
            }
        };
    }
    vec![
        case_of!(total drive_seconds),
        case_of!(total drive_metres),
        case_of!(total work_seconds),
        case_of!(total wait_seconds),
        case_of!(total break_seconds),
        case_of!(total overtime_seconds),
        case_of!(total exposure),
        case_of!(cost unplanned),
        case_of!(cost driving),
        case_of!(cost distance),
        case_of!(cost work),
        case_of!(cost idle),
        case_of!(cost overtime),
        case_of!(cost wear),
        case_of!(cost load_out),
        case_of!(cost late),
        case_of!(cost promises),
        case_of!(cost exposure),
        case_of!(cost unfair),
        case_of!(cost disturbance),
    ]
}

#[test]
fn every_kind_of_violation_is_found() {
    let sound = problem(day());
    let plan = planned(&sound, 1, 100, None);
    assert!(check(&sound, &plan).is_ok(), "{:?}", check(&sound, &plan));
    // What the cases stand on.
    assert_eq!(plan.crews[0].load_out, [QUICK]);
    assert_eq!(plan.crews[0].stops.len(), 2);
    assert_eq!(plan.crews[0].breaks.len(), 1);
    assert!(plan.crews[0].stops[1].wait_seconds > 60);
    let mut seen = [false; KINDS];
    let cases = [
        of_the_plan_as_a_whole(),
        of_times(),
        of_crews_and_units(),
        of_sums(),
    ];
    for case in cases.into_iter().flatten() {
        let (mut parts, mut spoilt) = (day(), plan.clone());
        (case.spoil)(&mut parts, &mut spoilt);
        let found = check(&problem(parts), &spoilt).err().unwrap_or_default();
        let wanted = found.iter().find(|violation| (case.finds)(violation));
        let Some(wanted) = wanted else {
            unreachable!("{}: {found:?}", case.name)
        };
        seen[kind(wanted)] = true;
    }
    let missing: Vec<usize> = (0..KINDS).filter(|kind| !seen[*kind]).collect();
    assert!(missing.is_empty(), "kinds without a case: {missing:?}");
}
