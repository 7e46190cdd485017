//! Reasons for unplanned jobs are true: lift any one listed cause and the job fits.

mod support;

use forenoon_planner::explain::{Cause, Reasons, explain, explain_until};
use forenoon_planner::plan::{CrewPlan, Stop, Visit};
use forenoon_planner::problem::limits::MONEY_MAX;
use forenoon_planner::problem::{Crew, Job};
use forenoon_planner::{Cancel, ClassIx, CrewIx, JobIx, PlaceIx, Plan, Problem, SkillIx, UnitIx};
use support::plain;
use support::planned;
use support::random_problem::{self, Kinds, parts, service};

fn plan(problem: &Problem, iterations: u64, warm_start: Option<&Plan>) -> Plan {
    planned(problem, 3, iterations, warm_start)
}

/// Whether the job finds a place in the plan once the causes are lifted from the whole problem: the others stay where
/// they are, and no price is too high.
fn fits(case: (u64, Kinds), plan_before: &Plan, job: JobIx, causes: &[Cause]) -> bool {
    // A unit lifted aboard a full vehicle makes no valid problem: that does not fit.
    let Some(problem) = lifted(case, plan_before, job, causes) else {
        return false;
    };
    let after = plan(&problem, 0, Some(plan_before));
    // With nothing lifted, crews keep what they have aboard: that the job would fit if a crew did its other work with
    // other tools is another plan.
    let mut days = plan_before.crews.iter().zip(&after.crews);
    let as_loaded = !causes.is_empty()
        || days.all(|(was, is)| was.load_out.iter().all(|unit| is.load_out.contains(unit)));
    after.find(job).is_some()
        && crews_jobs(&after, job) == crews_jobs(plan_before, job)
        && as_loaded
}

/// The problem without the causes, in which the job is worth any price and the others left out are worth nothing.
fn lifted(
    (seed, kinds): (u64, Kinds),
    plan_before: &Plan,
    job: JobIx,
    causes: &[Cause],
) -> Option<Problem> {
    let mut parts = parts(seed, kinds);
    for left_out in &plan_before.unplanned {
        parts.jobs[left_out.ix()].penalty = 0;
    }
    parts.jobs[job.ix()].penalty = MONEY_MAX / 2;
    for cause in causes {
        cause.lift(job, &mut parts);
    }
    Problem::new(parts, &mut service).ok()
}

/// Each crew's jobs in order, but for one.
fn crews_jobs(plan: &Plan, but: JobIx) -> Vec<Vec<JobIx>> {
    let of_crew = |crew: &CrewPlan| {
        let jobs = crew.stops.iter().filter_map(Stop::job);
        jobs.filter(|job| *job != but).collect()
    };
    plan.crews.iter().map(of_crew).collect()
}

/// How often which kind of reasons was found.
#[derive(Debug, Default)]
struct Told {
    any: usize,
    all: usize,
    dear: usize,
    never: usize,
    /// Jobs that never fit, of which nothing is said.
    mute: usize,
    /// Causes in sets, and those of them that could be spared.
    sets: usize,
    spare: usize,
}

impl Told {
    /// Tries the reasons of all jobs left out on the whole problem.
    fn check(&mut self, case: (u64, Kinds), iterations: u64) {
        let (seed, kinds) = case;
        let problem = random_problem::problem(seed, kinds);
        let planned = plan(&problem, iterations, None);
        for unplanned in explain(&problem, &planned) {
            let job = unplanned.job;
            match &unplanned.reasons {
                Reasons::AnyOne(causes) => {
                    self.any += 1;
                    assert!(
                        !fits(case, &planned, job, &[]),
                        "seed {seed} {job:?} fits anyway, not for {causes:?}"
                    );
                    for cause in causes {
                        assert!(
                            fits(case, &planned, job, &[*cause]),
                            "seed {seed} {job:?} {cause:?}"
                        );
                    }
                }
                Reasons::AllOf(causes) => {
                    self.all += 1;
                    assert!(
                        fits(case, &planned, job, causes),
                        "seed {seed} {job:?} {causes:?}"
                    );
                    for spared in 0..causes.len() {
                        let mut rest = causes.clone();
                        rest.remove(spared);
                        self.sets += 1;
                        self.spare += usize::from(fits(case, &planned, job, &rest));
                    }
                }
                Reasons::NotWorthIt { cost, penalty, .. } => {
                    self.dear += 1;
                    assert!(
                        cost >= penalty,
                        "seed {seed} {job:?}: {cost:?} < {penalty:?}"
                    );
                    assert!(fits(case, &planned, job, &[]), "seed {seed} {job:?}");
                }
                Reasons::LeftAnyway { cost, penalty, .. } => {
                    unreachable!("seed {seed} {job:?} is left at {penalty:?}, would cost {cost:?}")
                }
                Reasons::Never(causes) => {
                    self.never += 1;
                    self.mute += usize::from(causes.is_empty());
                }
            }
        }
    }

    fn hardly_any_is_mute_or_spare(&self) {
        assert!(
            self.mute * 100 <= self.never,
            "jobs that never fit and have no cause: {self:?}"
        );
        assert!(
            self.spare * 200 <= self.sets,
            "causes in sets could be spared: {self:?}"
        );
    }
}

/// Guards the promise "remove any one listed cause and it fits", by really removing it from the whole problem, and
/// that a set of several causes is both enough and without a spare one.
#[test]
fn lifting_a_listed_cause_makes_the_job_fit() {
    let mut told = Told::default();
    for seed in 0..1_000 {
        told.check((seed, Kinds::ALL), 30);
    }
    told.hardly_any_is_mute_or_spare();
    assert!(
        told.any > 100 && told.all > 20 && told.dear > 20 && told.never > 20,
        "{told:?}"
    );
}

/// The same of many crews: none of them is left out.
#[test]
fn a_listed_cause_is_true_of_many_crews() {
    let kinds = Kinds {
        crews_max: 24,
        jobs_max: 60,
        units_max: 20,
        // A day that is made longer by as much as can be runs into the next one, where a search comes upon other ways.
        days: false,
        ..Kinds::ALL
    };
    let (mut told, mut seen) = (Told::default(), 0);
    for seed in (0..110).filter(|seed| parts(*seed, kinds).crews.len() > 12) {
        told.check((seed, kinds), 100);
        seen += 1;
    }
    told.hardly_any_is_mute_or_spare();
    assert!(seen > 40 && told.any > 100, "{seen} {told:?}");
}

/// Of fourteen crews, all of which have a day too short for the job, only the last and farthest has room for its tool.
/// That its day is too short is the one cause, and where the day is long enough the job fits with it.
#[test]
fn only_the_last_of_many_crews_could_do_it() {
    let problem = |long: bool, penalty: i64| {
        let mut crews = vec![
            Crew {
                load_space: 0,
                shift_end: 600,
                ..plain::crew()
            };
            14
        ];
        crews[13] = Crew {
            start: PlaceIx(2),
            end: PlaceIx(2),
            shift_end: if long { 12 * plain::HOUR } else { 600 },
            ..plain::crew()
        };
        let job = Job {
            penalty,
            ..plain::job(1, &[0])
        };
        plain::problem(plain::parts(
            plain::road(&[0, 600, 3_000]),
            vec![plain::class(0)],
            vec![plain::unit(0, 0), plain::unit(0, 2)],
            crews,
            vec![job],
        ))
    };
    let reasons = |long, penalty| {
        let problem = problem(long, penalty);
        let planned = plan(&problem, 20, None);
        let explained = explain(&problem, &planned);
        assert_eq!(explained.len(), 1);
        explained[0].reasons.clone()
    };
    // There and back, ten minutes of preparation and the task itself: all of that but the ten minutes of the shift.
    let seconds_short = 2 * 2_400 + i64::from(plain::TASK_SECONDS);
    let last = CrewIx(13);
    assert_eq!(
        reasons(false, 1_000_000),
        Reasons::AnyOne(vec![Cause::ShiftFull {
            crew: last,
            seconds_short
        }])
    );
    let dear = reasons(true, 1);
    assert!(
        matches!(dear, Reasons::NotWorthIt { crew, .. } if crew == last),
        "{dear:?}"
    );
}

/// Whoever names a cause may name what is not there: nothing is lifted, and nobody stumbles.
#[test]
fn a_cause_of_what_is_not_there_lifts_nothing() {
    let (crew, unit, yard) = (CrewIx(1_000_000), UnitIx(1_000_000), PlaceIx(1_000_000));
    let (task, class, skill) = (1_000_000, ClassIx(1_000_000), SkillIx(0));
    let nowhere = JobIx(1_000_000);
    let causes = [
        Cause::NoCapability { task },
        Cause::GateTooNarrow {
            task,
            narrowest_mm: 1,
        },
        Cause::SlopeTooSteep {
            task,
            steepest_permille: 1,
        },
        Cause::UnitOut { unit, until: None },
        Cause::UnitElsewhere {
            unit,
            crew,
            until: 0,
        },
        Cause::NotAboard { class, crew },
        Cause::NotAboard {
            class,
            crew: CrewIx(0),
        },
        Cause::UnitAtOtherYard { unit, yard, crew },
        Cause::LoadSpaceFull { crew },
        Cause::SkillMissing { crew, skill },
        Cause::CrewTooSmall { crew, people: 1 },
        Cause::CrewNotListed { crew },
        Cause::ShiftFull {
            crew,
            seconds_short: 1,
        },
        Cause::WindowMissed,
        Cause::PromiseConflict,
        Cause::QuietHours,
        Cause::OtherStopLate { crew, job: nowhere },
        Cause::BreakMissed { crew },
    ];
    let before = parts(3, Kinds::ALL);
    for cause in causes {
        let mut after = before.clone();
        cause.lift(nowhere, &mut after);
        assert_eq!(after, before, "{cause:?}");
    }
    // A task that the job does not have.
    let mut after = before.clone();
    causes[1].lift(JobIx(0), &mut after);
    assert_eq!(after, before);
}

/// The same where crews meet: the meeting stays as it is. Of two crews, as nobody has a unit after both in the plans of a
/// search.
#[test]
fn a_cause_beside_a_meeting_is_true() {
    let kinds = Kinds {
        crews_max: 2,
        ..Kinds::MEETING
    };
    let meets = |stop: &Stop| matches!(stop.visit, Visit::Meet { .. });
    let mut any = 0;
    for seed in 0..3_000 {
        let problem = Problem::new(parts(seed, kinds), &mut service).unwrap();
        let planned = plan(&problem, 100, None);
        if !planned.crews.iter().any(|day| day.stops.iter().any(meets)) {
            continue;
        }
        for unplanned in explain(&problem, &planned) {
            let (case, job) = ((seed, kinds), unplanned.job);
            if let Reasons::AnyOne(causes) = unplanned.reasons {
                any += 1;
                let anyway = fits(case, &planned, job, &[]);
                assert!(
                    !anyway,
                    "seed {seed} {job:?} fits anyway, not for {causes:?}"
                );
                for cause in causes {
                    // A tool that the other crew brings back late is not come upon at once.
                    let found = fits(case, &planned, job, &[cause])
                        || lifted(case, &planned, job, &[cause]).is_some_and(|problem| {
                            plan(&problem, 3_000, Some(&planned)).find(job).is_some()
                        });
                    assert!(found, "seed {seed} {job:?} {cause:?}");
                }
            }
        }
    }
    assert!(any >= 50, "{any} with single causes");
}

/// A cancelled explanation keeps what it has: here, nothing.
#[test]
fn a_cancelled_explanation_ends_at_once() {
    let problem = Problem::new(parts(3, Kinds::ALL), &mut service).unwrap();
    let mut planned = plan(&problem, 0, None);
    planned.unplanned = vec![JobIx(0)];
    let cancel = Cancel::new();
    assert_eq!(explain_until(&problem, &planned, &cancel).len(), 1);
    cancel.raise();
    assert_eq!(explain_until(&problem, &planned, &cancel), Vec::new());
}

/// A plan that leaves what is worth more than it costs says so, and does not call it too dear.
#[test]
fn what_is_left_at_less_than_it_is_worth_is_not_called_too_dear() {
    let problem = |penalty: i64| {
        let mut job = plain::job(1, &[]);
        job.penalty = penalty;
        plain::problem(plain::parts(
            plain::road(&[0, 600]),
            vec![],
            vec![],
            vec![plain::crew()],
            vec![job],
        ))
    };
    let left_out = plan(&problem(1), 20, None);
    assert_eq!(left_out.unplanned, [JobIx(0)]);
    let explained = explain(&problem(MONEY_MAX / 2), &left_out);
    let [unplanned] = &explained[..] else {
        panic!("{explained:?}")
    };
    let Reasons::LeftAnyway {
        crew,
        cost,
        penalty,
    } = unplanned.reasons
    else {
        panic!("{:?}", unplanned.reasons)
    };
    assert_eq!(crew, CrewIx(0));
    assert!(cost < penalty);
}

/// However many crews are nearer, one that may do the job is asked before those that may not.
#[test]
fn who_may_do_the_job_is_asked_before_who_is_near() {
    let mut crews = vec![plain::crew(); 14];
    let far = crews.len() - 1;
    crews[far].start = PlaceIx(2);
    crews[far].skills = vec![SkillIx(0)];
    let mut job = plain::job(1, &[]);
    job.skills = vec![SkillIx(0)];
    job.penalty = 1;
    let problem = plain::problem(plain::parts(
        plain::road(&[0, 600, 3_000]),
        vec![],
        vec![],
        crews,
        vec![job],
    ));
    let planned = plan(&problem, 20, None);
    let explained = explain(&problem, &planned);
    let [unplanned] = &explained[..] else {
        panic!("{explained:?}")
    };
    let Reasons::NotWorthIt { crew, .. } = unplanned.reasons else {
        panic!("{:?}", unplanned.reasons)
    };
    assert_eq!(crew, CrewIx::from_ix(far));
}
