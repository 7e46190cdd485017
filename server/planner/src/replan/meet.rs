//! Meetings: one crew hands a unit over to another on the road.
//!
//! A meeting is the next thing that both crews do. One stays where it is, or where its running stop ends, and the other
//! drives there; who comes first waits. Handing over takes as long as a call at the yard, so only crews that may make
//! one meet. A crew with a break due before the meeting is over is not sent to one: the other would wait for it to eat.

use crate::Seconds;
use crate::cost::Cost;
use crate::index::{ClassIx, CrewIx, JobIx, PlaceIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Stop, Visit};
use crate::problem::{Crew, Problem, Progress, UnderWay};
use crate::rules::day_end;

/// What a job weighs that the giver was to do with the unit, against seconds of delay. A guess: half an hour.
const NEED: Seconds = 1_800;

/// A meeting of two crews.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Handover {
    /// Seconds by which it holds both crews up, and what the giver misses.
    burden: Seconds,
    giver: CrewIx,
    taker: CrewIx,
    unit: UnitIx,
    place: PlaceIx,
    start: Seconds,
    finish: Seconds,
}

impl Handover {
    /// The least burdensome meeting that gives a crew a tool it lost.
    pub(super) fn best(problem: &Problem, before: &Plan, hit: &[JobIx]) -> Option<Self> {
        let mut takers: Vec<CrewIx> = hit
            .iter()
            .filter_map(|job| before.find(*job).map(|(crew, _)| crew))
            .filter(|crew| crew.ix() < problem.crews().len())
            .collect();
        takers.sort_unstable();
        takers.dedup();
        takers
            .into_iter()
            .flat_map(|taker| ways(problem, before, hit, taker))
            .min()
    }

    /// The problem as it stands when the meeting is over. Nobody calls at the yard.
    pub(super) fn over(&self, problem: &Problem) -> Problem {
        problem.changed(|parts| {
            for crew in &mut parts.crews {
                crew.calls_max = 0;
            }
            for (this, given) in [(self.giver, true), (self.taker, false)] {
                if let Progress::UnderWay(way) = &mut parts.crews[this.ix()].progress {
                    way.place = self.place;
                    way.ready_at = self.finish;
                    if given {
                        way.aboard.retain(|unit| *unit != self.unit);
                    } else {
                        way.aboard.push(self.unit);
                    }
                }
            }
        })
    }

    /// Writes the meeting into a plan that was made for when it is over.
    pub(super) fn write(&self, problem: &Problem, plan: &mut Plan) {
        let unit = || vec![self.unit];
        for (this, with, give, take) in [
            (self.giver, self.taker, unit(), Vec::new()),
            (self.taker, self.giver, Vec::new(), unit()),
        ] {
            let visit = Visit::Meet { with, give, take };
            self.write_one(problem, this, visit, plan);
        }
    }

    fn write_one(&self, problem: &Problem, this: CrewIx, visit: Visit, plan: &mut Plan) {
        let crew = problem.crew(this);
        let Some(way) = under_way(crew) else { return };
        let weights = problem.weights();
        let drive = problem
            .travel()
            .drive_seconds(way.place, self.place, way.ready_at);
        let metres = problem.travel().metres(way.place, self.place);
        let arrival = way.ready_at + drive;
        let (wait, work) = (self.start - arrival, self.finish - self.start);
        if matches!(&visit, Visit::Meet { take, .. } if !take.is_empty()) {
            plan.cost.load_out += Cost::money(weights.load_unit, 1_000);
        }
        let day: &mut CrewPlan = &mut plan.crews[this.ix()];
        let position = day.stops.iter().take_while(|stop| stop.frozen).count();
        day.stops.insert(
            position,
            Stop {
                visit,
                place: self.place,
                drive_seconds: drive,
                arrival,
                start: self.start,
                finish: self.finish,
                wait_seconds: wait,
                // A later meeting would hold the other crew up.
                slack_seconds: 0,
                frozen: false,
            },
        );
        day.load_out.clone_from(&way.aboard);
        day.load_out.sort_unstable();
        let busy = day.totals.drive_seconds + day.totals.work_seconds;
        day.totals.drive_seconds += drive;
        day.totals.drive_metres += metres;
        day.totals.work_seconds += work;
        day.totals.wait_seconds += wait;
        let cost = &mut plan.cost;
        cost.driving += Cost::time(crew.wage_per_hour, drive, weights.driving_permille);
        cost.distance += Cost::distance(weights.distance_per_km, metres);
        cost.work += Cost::time(crew.wage_per_hour, work, weights.work_permille);
        cost.idle += Cost::time(crew.wage_per_hour, wait, weights.idle_permille);
        cost.unfair += day_end::unfair_cost(crew, weights, busy + drive + work)
            - day_end::unfair_cost(crew, weights, busy);
    }
}

fn under_way(crew: &Crew) -> Option<&UnderWay> {
    match &crew.progress {
        Progress::UnderWay(way) => Some(way),
        Progress::NotStarted => None,
    }
}

/// All meetings that give `taker` a tool it lost.
fn ways(problem: &Problem, before: &Plan, hit: &[JobIx], taker: CrewIx) -> Vec<Handover> {
    let crew = problem.crew(taker);
    let (Some(way), Some(_)) = (under_way(crew), crew.handing_over()) else {
        return Vec::new();
    };
    let wanted = lacking(problem, before, hit, taker, way);
    let space =
        |units: &[UnitIx]| -> u32 { units.iter().map(|unit| problem.class_of(*unit).space).sum() };
    let room = crew.load_space.saturating_sub(space(&way.aboard));
    let mut found = Vec::new();
    for (ix, other) in problem.crews().iter().enumerate() {
        let giver = CrewIx::from_ix(ix);
        let (Some(there), Some(_)) = (under_way(other), other.handing_over()) else {
            continue;
        };
        if giver == taker || other.day != crew.day {
            continue;
        }
        for &unit in &there.aboard {
            let class = problem.unit(unit).class;
            if wanted.contains(&class) && problem.class(class).space <= room {
                let need = needs(problem, before, giver, there, unit);
                let pair = (giver, taker);
                found.extend(
                    [way.place, there.place]
                        .into_iter()
                        .filter_map(|place| at(problem, pair, unit, place, need)),
                );
            }
        }
    }
    found
}

/// A meeting at a place, if no break comes in between and the unit is to be had.
fn at(
    problem: &Problem,
    (giver, taker): (CrewIx, CrewIx),
    unit: UnitIx,
    place: PlaceIx,
    need: Seconds,
) -> Option<Handover> {
    let (mut start, mut seconds, mut ready) = (Seconds::MIN, 0, 0);
    for this in [giver, taker] {
        let crew = problem.crew(this);
        let way = under_way(crew)?;
        let drive = problem
            .travel()
            .drive_seconds(way.place, place, way.ready_at);
        start = start.max(way.ready_at + drive);
        seconds = seconds.max(crew.handing_over()?);
        ready += way.ready_at;
    }
    let finish = start + seconds;
    for this in [giver, taker] {
        let crew = problem.crew(this);
        let way = under_way(crew)?;
        let due = crew
            .breaks
            .iter()
            .skip(way.breaks_taken)
            .any(|rest| rest.latest >= way.ready_at && rest.earliest < finish);
        if due {
            return None;
        }
    }
    let there = problem
        .unit(unit)
        .available
        .iter()
        .any(|window| window.covers(start, problem.crew(taker).shift_end.max(start)));
    there.then_some(Handover {
        burden: 2 * finish - ready + need,
        giver,
        taker,
        unit,
        place,
        start,
        finish,
    })
}

/// Classes of which a unit more would let the crew do a task of a job that lost its tool.
fn lacking(
    problem: &Problem,
    before: &Plan,
    hit: &[JobIx],
    taker: CrewIx,
    way: &UnderWay,
) -> Vec<ClassIx> {
    let has = |class: &ClassIx| {
        way.aboard
            .iter()
            .any(|unit| problem.unit(*unit).class == *class)
    };
    let mut wanted = Vec::new();
    for &job in hit {
        if before.find(job).is_none_or(|(crew, _)| crew != taker) {
            continue;
        }
        for task in 0..problem.job(job).tasks.len() {
            for choice in problem.tool_choices(job, task, problem.crew(taker).size) {
                let mut missing = choice.tool.classes().filter(|class| !has(class));
                if let (Some(class), None) = (missing.next(), missing.next()) {
                    wanted.push(class);
                }
            }
        }
    }
    wanted.sort_unstable();
    wanted.dedup();
    wanted
}

/// What the giver misses: its open jobs that were planned with the unit, unless it has another like it.
fn needs(problem: &Problem, before: &Plan, giver: CrewIx, way: &UnderWay, unit: UnitIx) -> Seconds {
    let class = problem.unit(unit).class;
    let another = way
        .aboard
        .iter()
        .any(|other| *other != unit && problem.unit(*other).class == class);
    if another {
        return 0;
    }
    let Some(day) = before.crews.get(giver.ix()) else {
        return 0;
    };
    let with_it = |stop: &&Stop| match &stop.visit {
        Visit::Job { job, tasks } => {
            job.ix() < problem.jobs().len()
                && !problem.is_frozen(*job)
                && tasks
                    .iter()
                    .any(|task| task.unit == Some(unit) || task.powerhead == Some(unit))
        }
        Visit::Yard { .. } | Visit::Meet { .. } => false,
    };
    Seconds::try_from(day.stops.iter().filter(with_it).count()).unwrap_or(Seconds::MAX / 4) * NEED
}
