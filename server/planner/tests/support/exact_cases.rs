//! The small cases whose optima an independent model found.

use std::fmt::Write;

use forenoon_planner::index::*;
use forenoon_planner::problem::{
    Bound, Crew, Job, Meeting, Parts, Progress, Role, Unit, UnitClass, Window,
};

use super::random_problem::{Kinds, parts};

/// One case.
#[derive(Debug, Clone, Copy)]
pub struct Case {
    pub seed: u64,
    pub kinds: Kinds,
}

/// All cases: 200 without calls at the yard, 100 smaller ones with one call, and those that need a second call or a unit
/// used by two crews.
pub fn all() -> impl Iterator<Item = Case> {
    let plain = Kinds {
        yard_calls: false,
        mixed_units: true,
        ..Kinds::EXACT
    };
    let calls = Kinds {
        jobs_max: 5,
        crews_max: 2,
        units_max: 4,
        mixed_units: true,
        ..Kinds::EXACT
    };
    let plain = (10_000..10_200).map(move |seed| Case { seed, kinds: plain });
    let calls = (20_000..20_100).map(move |seed| Case { seed, kinds: calls });
    let of = |seeds: &'static [u64], kinds| seeds.iter().map(move |&seed| Case { seed, kinds });
    plain
        .chain(calls)
        .chain(of(&SECOND_CALL, SEVERAL))
        .chain(of(&TWO_CREWS, SHARED))
}

/// These cases, each with what it costs at the least by the model.
pub fn with_optima() -> impl Iterator<Item = (Case, i64)> {
    let optima = known(include_str!("../exact/optima.csv"));
    all().zip(optima).map(|(case, (seed, least))| {
        assert_eq!(case.seed, seed);
        (case, least)
    })
}

/// The same for all cases among the seeds 80,000 to 83,999 that a meeting makes cheaper, as far as the model solves them in
/// 10 s.
pub fn with_meetings() -> impl Iterator<Item = (Case, i64)> {
    let kinds = MEETING;
    known(include_str!("../exact/meetings.csv"))
        .map(move |(seed, least)| (Case { seed, kinds }, least))
}

/// Seeds and least costs.
fn known(csv: &str) -> impl Iterator<Item = (u64, i64)> {
    csv.lines().skip(1).map(|line| {
        let (seed, least) = line.split_once(',').unwrap();
        (seed.parse().unwrap(), least.parse().unwrap())
    })
}

impl Case {
    /// So many iterations the search has: meetings take longer to come upon.
    pub fn iterations(&self) -> u64 {
        if self.kinds.meet { 24_000 } else { 6_000 }
    }
}

/// Small cases with several calls a day at any yard.
pub const SEVERAL: Kinds = Kinds {
    jobs_max: 6,
    crews_max: 2,
    units_max: 6,
    many_calls: true,
    mixed_units: true,
    ..Kinds::EXACT
};

/// Small cases with units that one crew may use after another.
pub const SHARED: Kinds = Kinds {
    jobs_max: 4,
    crews_max: 3,
    units_max: 3,
    many_calls: true,
    share: true,
    mixed_units: true,
    ..Kinds::EXACT
};

/// Small cases with crews that may meet on the road.
pub const MEETING: Kinds = Kinds {
    jobs_max: 4,
    crews_max: 2,
    units_max: 3,
    meet: true,
    ..SHARED
};

/// Cases of the first kind whose optimum makes a second call: without it, it would be dearer.
const SECOND_CALL: [u64; 46] = [
    30_058, 30_213, 30_395, 30_438, 30_477, 30_563, 30_750, 30_921, 30_936, 30_940, 31_038, 31_061,
    31_080, 31_086, 31_227, 31_230, 31_254, 31_303, 31_406, 31_425, 31_440, 31_536, 31_723, 31_728,
    31_807, 31_892, 31_982, 32_157, 32_168, 32_185, 32_270, 32_339, 32_625, 32_698, 32_726, 32_744,
    32_747, 32_862, 32_864, 32_874, 32_887, 32_900, 32_902, 32_910, 32_959, 32_971,
];

/// Cases of the second kind whose optimum has a unit used by two crews.
const TWO_CREWS: [u64; 47] = [
    40_070, 40_119, 40_148, 40_169, 40_369, 40_477, 40_612, 42_093, 42_158, 42_212, 42_335, 42_704,
    42_707, 42_923, 42_979, 43_115, 43_300, 43_430, 43_813, 44_005, 44_103, 44_114, 44_205, 44_254,
    44_764, 44_848, 45_153, 45_275, 45_327, 45_334, 45_368, 45_460, 45_632, 45_682, 45_756, 45_812,
    45_936, 46_040, 46_047, 46_193, 46_262, 46_406, 46_429, 46_778, 46_910, 46_925, 46_966,
];

/// The raw data of a case. Service times are left out: the model has the same table.
pub fn json(case: Case) -> String {
    let parts = parts(case.seed, case.kinds);
    let places = parts.travel.places();
    let table = |value: &dyn Fn(PlaceIx, PlaceIx) -> i64| {
        list((0..places * places).map(|cell| {
            value(
                PlaceIx::from_ix(cell / places),
                PlaceIx::from_ix(cell % places),
            )
        }))
    };
    let mut text = format!("{{\"seed\":{},\"places\":{places}", case.seed);
    let _ = write!(
        text,
        ",\"seconds\":{}",
        table(&|from, to| parts.travel.table_seconds(from, to))
    );
    let _ = write!(
        text,
        ",\"metres\":{}",
        table(&|from, to| parts.travel.metres(from, to))
    );
    let pace = parts
        .travel
        .pace()
        .map_or_else(|| "null".to_owned(), |pace| list(pace.permille()));
    let _ = write!(text, ",\"pace\":{pace}");
    let _ = write!(
        text,
        ",\"classes\":{}",
        list(parts.classes.iter().map(class))
    );
    let _ = write!(text, ",\"units\":{}", list(parts.units.iter().map(unit)));
    let _ = write!(text, ",\"crews\":{}", list(parts.crews.iter().map(crew)));
    let _ = write!(text, ",\"jobs\":{}", list(parts.jobs.iter().map(job)));
    let _ = write!(text, ",\"share\":{}", parts.share_units);
    let _ = write!(text, ",\"meet\":{}", parts.plan_meetings);
    let _ = write!(text, ",\"weights\":{}}}", weights(&parts));
    text
}

fn list<T: std::fmt::Display>(items: impl IntoIterator<Item = T>) -> String {
    let items: Vec<String> = items.into_iter().map(|item| item.to_string()).collect();
    format!("[{}]", items.join(","))
}

fn windows(windows: &[Window]) -> String {
    list(
        windows
            .iter()
            .map(|window| format!("[{},{}]", window.open, window.close)),
    )
}

fn class(class: &UnitClass) -> String {
    let role = match class.role {
        Role::Whole => "[\"whole\",0]".to_owned(),
        Role::Attachment { coupling } => format!("[\"attachment\",{}]", coupling.0),
        Role::Powerhead { coupling } => format!("[\"powerhead\",{}]", coupling.0),
    };
    format!(
        "{{\"role\":{role},\"can\":{},\"width\":{},\"slope\":{},\"space\":{},\"wear\":{},\"noisy\":{}}}",
        list(class.capabilities.iter().map(|capability| capability.0)),
        class.width_mm,
        class.slope_max_permille,
        class.space,
        class.wear_per_hour,
        class.noisy
    )
}

fn unit(unit: &Unit) -> String {
    format!(
        "{{\"class\":{},\"home\":{},\"available\":{}}}",
        unit.class.0,
        unit.home.0,
        windows(&unit.available)
    )
}

fn crew(crew: &Crew) -> String {
    let breaks = list(
        crew.breaks
            .iter()
            .map(|rest| format!("[{},{},{}]", rest.earliest, rest.latest, rest.seconds)),
    );
    let calls = crew
        .yard_calls
        .iter()
        .map(|call| format!("[{},{}]", call.place.0, call.seconds));
    let calls = list(calls);
    let progress = match &crew.progress {
        Progress::NotStarted => "null".to_owned(),
        Progress::UnderWay(way) => format!(
            "{{\"place\":{},\"ready\":{},\"aboard\":{},\"frozen\":{},\"breaks_taken\":{}}}",
            way.place.0,
            way.ready_at,
            list(way.aboard.iter().map(|unit| unit.0)),
            list(way.frozen.iter().map(|stop| stop.job.0)),
            way.breaks_taken
        ),
    };
    format!(
        "{{\"day\":{},\"start_at\":{},\"end_at\":{},\"overtime_max\":{},\"start\":{},\"end\":{},\"skills\":{},\"size\":{},\
         \"space\":{},\"wage\":{},\"overtime\":{},\"breaks\":{breaks},\"fair\":{},\"exposure\":{},\"calls\":{calls},\"calls_max\":{},\
         \"progress\":{progress}}}",
        crew.day,
        crew.shift_start,
        crew.shift_end,
        crew.overtime_max,
        crew.start.0,
        crew.end.0,
        list(crew.skills.iter().map(|skill| skill.0)),
        crew.size,
        crew.load_space,
        crew.wage_per_hour,
        crew.overtime_per_hour,
        crew.fair_load
            .map_or("null".to_owned(), |fair| fair.to_string()),
        crew.exposure_limit
            .map_or("null".to_owned(), |limit| limit.to_string()),
        crew.calls_max,
    )
}

fn job(job: &Job) -> String {
    let tasks = list(job.tasks.iter().map(|task| {
        list(task.methods.iter().map(|method| {
            format!(
                "[{},{},{}]",
                method
                    .capability
                    .map_or("null".to_owned(), |capability| capability.0.to_string()),
                method
                    .gate_mm
                    .map_or("null".to_owned(), |gate| gate.to_string()),
                method.slope_permille
            )
        }))
    }));
    let promise = job.promise.map_or("null".to_owned(), |promise| {
        format!(
            "[{},{},{},{}]",
            promise.open,
            promise.close,
            promise.hard,
            promise.at == Meeting::Finish
        )
    });
    format!(
        "{{\"place\":{},\"windows\":{},\"whole\":{},\"penalty\":{},\"due\":{},\"skills\":{},\"size\":{},\"crews\":{},\
         \"promise\":{promise},\"quiet\":{},\"fixed\":{},\"tasks\":{tasks},\"previous\":{}}}",
        job.place.0,
        windows(&job.windows),
        job.bound == Bound::Whole,
        job.penalty,
        job.due.map_or("null".to_owned(), |due| format!(
            "[{},{}]",
            due.at, due.cost_per_hour
        )),
        list(job.skills.iter().map(|skill| skill.0)),
        job.crew_size_min,
        job.crews.as_ref().map_or("null".to_owned(), |crews| list(
            crews.iter().map(|crew| crew.0)
        )),
        windows(&job.quiet),
        job.fixed_seconds,
        job.previous.map_or("null".to_owned(), |previous| format!(
            "[{},{},{}]",
            previous.crew.0, previous.start, previous.finish
        )),
    )
}

fn weights(parts: &Parts) -> String {
    let weights = &parts.weights;
    format!(
        "{{\"unplanned\":{},\"driving\":{},\"km\":{},\"work\":{},\"idle\":{},\"overtime\":{},\"wear\":{},\"load\":{},\
         \"late\":{},\"broken\":{},\"broken_hour\":{},\"exposure\":{},\"unfair\":{},\"moved\":{},\"tolerance\":{},\
         \"crew\":{},\"promise\":{}}}",
        weights.unplanned_permille,
        weights.driving_permille,
        weights.distance_per_km,
        weights.work_permille,
        weights.idle_permille,
        weights.overtime_permille,
        weights.wear_permille,
        weights.load_unit,
        weights.late_permille,
        weights.promise_broken,
        weights.promise_late_per_hour,
        weights.exposure_point,
        weights.unfair_per_hour,
        weights.moved_job,
        weights.moved_tolerance,
        weights.changed_crew,
        weights.changed_promise
    )
}
