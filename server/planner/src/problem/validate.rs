//! Verification of a problem's parts.

use super::limits::{
    BREAKS_MAX, CALLS_MAX, CLASSES_MAX, CREW_SIZE_MAX, CREWS_MAX, DAYS_MAX, EXPOSURE_MAX,
    INSTANT_MAX, JOBS_MAX, METHODS_MAX, MONEY_MAX, PACE_PERMILLE, PERMILLE_MAX, RATE_MAX,
    SERVICE_SECONDS_MAX, SHIFT_SECONDS_MAX, SKILLS_MAX, SLOPE_PERMILLE_MAX, SPACE_MAX, TASKS_MAX,
    TRAVEL_METRES_MAX, TRAVEL_SECONDS_MAX, UNITS_MAX, WIDTH_MM_MAX, WINDOWS_MAX,
};
use super::tools::Tools;
use super::{
    Bound, Crew, Fault, Faults, Item, Job, Meeting, Parts, Progress, Task, UnderWay, Unit,
    UnitClass, Weights, Window, YardCall,
};
use crate::Seconds;
use crate::cost::Cost;
use crate::index::{ClassIx, CrewIx, JobIx, PlaceIx, UnitIx};
use crate::travel::HourPace;

pub(super) fn parts(parts: &Parts, faults: &mut Faults) {
    sizes(parts, faults);
    if !faults.0.is_empty() {
        // Too large to be looked at item by item.
        return;
    }
    weights(&parts.weights, faults);
    for (ix, class) in parts.classes.iter().enumerate() {
        unit_class(Item::Class(ClassIx::from_ix(ix)), class, faults);
    }
    for (ix, unit) in parts.units.iter().enumerate() {
        one_unit(parts, Item::Unit(UnitIx::from_ix(ix)), unit, faults);
    }
    for (ix, crew) in parts.crews.iter().enumerate() {
        one_crew(parts, CrewIx::from_ix(ix), crew, faults);
    }
    for (ix, job) in parts.jobs.iter().enumerate() {
        one_job(parts, JobIx::from_ix(ix), job, faults);
    }
    if faults.0.is_empty() {
        one_place_each(parts, faults);
    }
}

fn sizes(parts: &Parts, faults: &mut Faults) {
    for (what, count, max) in [
        ("crews", parts.crews.len(), CREWS_MAX),
        ("jobs", parts.jobs.len(), JOBS_MAX),
        ("units", parts.units.len(), UNITS_MAX),
        ("classes", parts.classes.len(), CLASSES_MAX),
    ] {
        faults.count(Item::Problem, what, count, max);
    }
    for (what, count) in [("crews", parts.crews.len()), ("jobs", parts.jobs.len())] {
        if count == 0 {
            faults.push(Fault::Empty {
                item: Item::Problem,
                what,
            });
        }
    }
}

fn weights(weights: &Weights, faults: &mut Faults) {
    let item = Item::Weights;
    for (field, value, max) in [
        (
            "unplanned_permille",
            weights.unplanned_permille,
            PERMILLE_MAX,
        ),
        ("driving_permille", weights.driving_permille, PERMILLE_MAX),
        ("distance_per_km", weights.distance_per_km, RATE_MAX),
        ("work_permille", weights.work_permille, PERMILLE_MAX),
        ("idle_permille", weights.idle_permille, PERMILLE_MAX),
        ("overtime_permille", weights.overtime_permille, PERMILLE_MAX),
        ("wear_permille", weights.wear_permille, PERMILLE_MAX),
        ("load_unit", weights.load_unit, MONEY_MAX),
        ("late_permille", weights.late_permille, PERMILLE_MAX),
        ("promise_broken", weights.promise_broken, MONEY_MAX),
        (
            "promise_late_per_hour",
            weights.promise_late_per_hour,
            RATE_MAX,
        ),
        ("exposure_point", weights.exposure_point, RATE_MAX),
        ("unfair_per_hour", weights.unfair_per_hour, RATE_MAX),
        ("moved_job", weights.moved_job, MONEY_MAX),
        ("moved_tolerance", weights.moved_tolerance, INSTANT_MAX),
        ("changed_crew", weights.changed_crew, MONEY_MAX),
        ("changed_promise", weights.changed_promise, MONEY_MAX),
    ] {
        faults.range(item, field, value, 0, max);
    }
}

fn unit_class(item: Item, class: &UnitClass, faults: &mut Faults) {
    faults.count(item, "capabilities", class.capabilities.len(), SKILLS_MAX);
    unique(
        item,
        "capabilities",
        class.capabilities.iter().map(|capability| capability.ix()),
        faults,
    );
    faults.range(
        item,
        "width_mm",
        i64::from(class.width_mm),
        0,
        i64::from(WIDTH_MM_MAX),
    );
    faults.range(
        item,
        "slope_max_permille",
        i64::from(class.slope_max_permille),
        0,
        i64::from(SLOPE_PERMILLE_MAX),
    );
    faults.range(
        item,
        "space",
        i64::from(class.space),
        0,
        i64::from(SPACE_MAX),
    );
    faults.range(item, "wear_per_hour", class.wear_per_hour, 0, RATE_MAX);
}

fn one_unit(parts: &Parts, item: Item, unit: &Unit, faults: &mut Faults) {
    faults.reference(item, "class", unit.class.ix(), parts.classes.len());
    place(parts, item, "home", unit.home, faults);
    windows(item, "available", &unit.available, faults);
}

/// The figures that stand for themselves.
fn crew_figures(item: Item, crew: &Crew, faults: &mut Faults) {
    faults.range(
        item,
        "size",
        i64::from(crew.size),
        1,
        i64::from(CREW_SIZE_MAX),
    );
    faults.range(
        item,
        "load_space",
        i64::from(crew.load_space),
        0,
        i64::from(SPACE_MAX),
    );
    faults.range(item, "wage_per_hour", crew.wage_per_hour, 0, RATE_MAX);
    faults.range(
        item,
        "overtime_per_hour",
        crew.overtime_per_hour,
        0,
        RATE_MAX,
    );
    faults.range(
        item,
        "overtime_max",
        crew.overtime_max,
        0,
        SHIFT_SECONDS_MAX,
    );
    if let Some(fair_load) = crew.fair_load {
        faults.range(item, "fair_load", fair_load, 0, SHIFT_SECONDS_MAX);
    }
    faults.range(
        item,
        "pace_permille",
        i64::from(crew.pace_permille),
        *PACE_PERMILLE.start(),
        *PACE_PERMILLE.end(),
    );
    if let Some(limit) = crew.exposure_limit {
        faults.range(
            item,
            "exposure_limit",
            i64::from(limit),
            0,
            i64::from(EXPOSURE_MAX),
        );
    }
}

fn one_crew(parts: &Parts, crew_ix: CrewIx, crew: &Crew, faults: &mut Faults) {
    let item = Item::Crew(crew_ix);
    faults.range(item, "day", i64::from(crew.day), 0, i64::from(DAYS_MAX) - 1);
    crew_figures(item, crew, faults);
    place(parts, item, "start", crew.start, faults);
    place(parts, item, "end", crew.end, faults);
    faults.count(item, "skills", crew.skills.len(), SKILLS_MAX);
    unique(
        item,
        "skills",
        crew.skills.iter().map(|skill| skill.ix()),
        faults,
    );
    if window(
        item,
        "shift",
        Window {
            open: crew.shift_start,
            close: crew.shift_end,
        },
        faults,
    ) {
        let length = crew.shift_end - crew.shift_start;
        faults.range(item, "shift length", length, 0, SHIFT_SECONDS_MAX);
    }
    faults.count(item, "breaks", crew.breaks.len(), BREAKS_MAX);
    let mut last = None;
    for rest in crew.breaks.iter().take(BREAKS_MAX) {
        faults.range(item, "break seconds", rest.seconds, 0, SHIFT_SECONDS_MAX);
        window(
            item,
            "break",
            Window {
                open: rest.earliest,
                close: rest.latest,
            },
            faults,
        );
        if last.is_some_and(|last| rest.earliest < last) {
            faults.push(Fault::NotInOrder {
                item,
                field: "breaks",
                open: rest.earliest,
            });
        }
        // Both may be anything still.
        last = Some(rest.latest.saturating_add(rest.seconds));
    }
    faults.count(item, "yards to call at", crew.yard_calls.len(), CALLS_MAX);
    faults.range(
        item,
        "calls_max",
        i64::from(crew.calls_max),
        0,
        i64::try_from(CALLS_MAX).unwrap_or(i64::MAX),
    );
    for (n, call) in crew.yard_calls.iter().take(CALLS_MAX).enumerate() {
        place(parts, item, "yard call", call.place, faults);
        let same = |other: &YardCall| other.place == call.place;
        if crew.yard_calls[..n].iter().any(same) {
            faults.push(Fault::Twice {
                item,
                field: "yard call",
                value: call.place.ix(),
            });
        }
        faults.range(
            item,
            "yard call seconds",
            call.seconds,
            0,
            SHIFT_SECONDS_MAX,
        );
    }
    if let Progress::UnderWay(under_way) = &crew.progress {
        one_under_way(parts, crew_ix, crew, under_way, faults);
    }
}

fn one_under_way(
    parts: &Parts,
    crew_ix: CrewIx,
    crew: &Crew,
    under_way: &UnderWay,
    faults: &mut Faults,
) {
    let item = Item::Crew(crew_ix);
    place(parts, item, "place under way", under_way.place, faults);
    faults.range(
        item,
        "ready_at",
        under_way.ready_at,
        -INSTANT_MAX,
        INSTANT_MAX,
    );
    faults.range(
        item,
        "breaks_taken",
        index(under_way.breaks_taken),
        0,
        index(crew.breaks.len()),
    );
    faults.count(item, "units aboard", under_way.aboard.len(), UNITS_MAX);
    faults.count(item, "frozen stops", under_way.frozen.len(), JOBS_MAX);
    unique(
        item,
        "units aboard",
        under_way.aboard.iter().map(|unit| unit.ix()),
        faults,
    );
    let mut space = 0;
    for &unit_ix in under_way.aboard.iter().take(UNITS_MAX) {
        if !faults.reference(item, "units aboard", unit_ix.ix(), parts.units.len()) {
            continue;
        }
        let unit = &parts.units[unit_ix.ix()];
        if let Some(class) = parts.classes.get(unit.class.ix()) {
            space += u64::from(class.space);
        }
        let at = under_way.ready_at;
        if !unit.available.iter().any(|window| window.covers(at, at)) {
            faults.push(Fault::UnitNotAvailable {
                unit: unit_ix,
                crew: crew_ix,
                at,
            });
        }
    }
    if space > u64::from(crew.load_space) {
        faults.push(Fault::AboardTooLarge {
            crew: crew_ix,
            needed: space,
            available: crew.load_space,
        });
    }
    let mut clock = -INSTANT_MAX;
    for stop in under_way.frozen.iter().take(JOBS_MAX) {
        faults.reference(item, "frozen job", stop.job.ix(), parts.jobs.len());
        for unit in stop.units.iter().take(UNITS_MAX) {
            faults.reference(item, "unit used", unit.ix(), parts.units.len());
        }
        let follows =
            clock <= stop.arrival && stop.arrival <= stop.start && stop.start <= stop.finish;
        if !follows || stop.finish > under_way.ready_at {
            faults.push(Fault::FrozenOutOfOrder {
                crew: crew_ix,
                job: stop.job,
            });
        }
        clock = stop.finish;
    }
}

fn one_job(parts: &Parts, job_ix: JobIx, job: &Job, faults: &mut Faults) {
    let item = Item::Job(job_ix);
    place(parts, item, "place", job.place, faults);
    if job.windows.is_empty() {
        faults.push(Fault::Empty {
            item,
            what: "windows",
        });
    }
    windows(item, "windows", &job.windows, faults);
    windows(item, "quiet", &job.quiet, faults);
    faults.range(item, "penalty", job.penalty, 0, MONEY_MAX);
    faults.range(
        item,
        "crew_size_min",
        i64::from(job.crew_size_min),
        0,
        i64::from(CREW_SIZE_MAX),
    );
    faults.range(
        item,
        "fixed_seconds",
        i64::from(job.fixed_seconds),
        0,
        i64::from(SERVICE_SECONDS_MAX),
    );
    faults.count(item, "skills", job.skills.len(), SKILLS_MAX);
    unique(
        item,
        "skills",
        job.skills.iter().map(|skill| skill.ix()),
        faults,
    );
    if let Some(due) = job.due {
        faults.range(item, "due", due.at, -INSTANT_MAX, INSTANT_MAX);
        faults.range(item, "due cost_per_hour", due.cost_per_hour, 0, RATE_MAX);
    }
    if let Some(promise) = job.promise {
        let stretch = Window {
            open: promise.open,
            close: promise.close,
        };
        // Only the start need lie in such a window: the finish may come after it.
        let open_end = promise.at == Meeting::Finish && job.bound == Bound::Start;
        let meets = |window: &Window| {
            window.open <= promise.close && (open_end || promise.open <= window.close)
        };
        if window(item, "promise", stretch, faults) && !job.windows.iter().any(meets) {
            faults.push(Fault::PromiseOutsideWindows {
                item,
                open: promise.open,
                close: promise.close,
            });
        }
    }
    if let Some(crews) = &job.crews {
        faults.count(item, "crews", crews.len(), CREWS_MAX);
        for crew in crews.iter().take(CREWS_MAX) {
            faults.reference(item, "crews", crew.ix(), parts.crews.len());
        }
        unique(item, "crews", crews.iter().map(|crew| crew.ix()), faults);
    }
    if let Some(previous) = job.previous {
        faults.reference(item, "previous crew", previous.crew.ix(), parts.crews.len());
        faults.range(
            item,
            "previous start",
            previous.start,
            -INSTANT_MAX,
            INSTANT_MAX,
        );
    }
    faults.count(item, "tasks", job.tasks.len(), TASKS_MAX);
    for (task_ix, task) in job.tasks.iter().take(TASKS_MAX).enumerate() {
        one_task(job_ix, task_ix, task, faults);
    }
}

fn one_task(job: JobIx, task_ix: usize, task: &Task, faults: &mut Faults) {
    let item = Item::Task { job, task: task_ix };
    if task.methods.is_empty() {
        faults.push(Fault::Empty {
            item,
            what: "methods",
        });
    }
    faults.count(item, "methods", task.methods.len(), METHODS_MAX);
    for (method_ix, method) in task.methods.iter().take(METHODS_MAX).enumerate() {
        let item = Item::Method {
            job,
            task: task_ix,
            method: method_ix,
        };
        let slope = i64::from(method.slope_permille);
        faults.range(
            item,
            "slope_permille",
            slope,
            0,
            i64::from(SLOPE_PERMILLE_MAX),
        );
        if let Some(gate) = method.gate_mm {
            faults.range(item, "gate_mm", i64::from(gate), 0, i64::from(WIDTH_MM_MAX));
        }
    }
}

/// A unit is with one crew a day, a frozen job with one crew.
fn one_place_each(parts: &Parts, faults: &mut Faults) {
    let mut aboard: Vec<(UnitIx, u16, CrewIx)> = Vec::new();
    let mut frozen: Vec<(JobIx, CrewIx)> = Vec::new();
    for (ix, crew) in parts.crews.iter().enumerate() {
        if let Progress::UnderWay(under_way) = &crew.progress {
            let this = CrewIx::from_ix(ix);
            aboard.extend(under_way.aboard.iter().map(|&unit| (unit, crew.day, this)));
            frozen.extend(under_way.frozen.iter().map(|stop| (stop.job, this)));
        }
    }
    aboard.sort_unstable();
    for pair in aboard.windows(2) {
        let ((unit, day, first), (other, other_day, second)) = (pair[0], pair[1]);
        if unit == other && day == other_day {
            faults.push(Fault::UnitInTwoPlaces {
                unit,
                first,
                second,
            });
        }
    }
    // Of two days that overlap it is with one crew too: what is aboard cannot be left at home.
    for pair in aboard.windows(2) {
        let ((unit, day, first), (other, other_day, second)) = (pair[0], pair[1]);
        let [one, two] = [first, second].map(|crew| still_out(parts, &parts.crews[crew.ix()]));
        if unit == other && day != other_day && one.open < two.close && two.open < one.close {
            faults.push(Fault::UnitInTwoPlaces {
                unit,
                first,
                second,
            });
        }
    }
    frozen.sort_unstable();
    for pair in frozen.windows(2) {
        let ((job, first), (other, second)) = (pair[0], pair[1]);
        if job == other {
            faults.push(Fault::JobFrozenTwice { job, first, second });
        }
    }
}

/// When a crew may be out in the part of its day still to come.
fn still_out(parts: &Parts, crew: &Crew) -> Window {
    let until = crew.shift_end + crew.overtime_max;
    match &crew.progress {
        Progress::NotStarted => Window {
            open: crew.shift_start,
            close: until,
        },
        Progress::UnderWay(way) => {
            let rests: Seconds = crew.breaks.iter().map(|rest| rest.seconds).sum();
            let home = parts.travel.table_seconds(way.place, crew.end) * 1_000 / slowest(parts);
            Window {
                open: way.ready_at.min(crew.shift_start),
                close: until.max(way.ready_at + rests + home + 1),
            }
        }
    }
}

/// The largest cost that any plan could have, and one stop more that is tried in it, must stay below [`Cost::MAX`]. If it
/// does not, the item that adds most is named.
pub(super) fn cost_bound(parts: &Parts, tools: &Tools, faults: &mut Faults) {
    let weights = &parts.weights;
    let wear = parts.classes.iter().map(|class| class.wear_per_hour).max();
    let most = Most {
        wear: wear.unwrap_or(0),
        exposure: tools.exposure_max(),
        apart: longest_apart(parts),
    };
    let crews = parts.crews.iter().enumerate();
    let mut shares: Vec<(i128, Item)> = crews
        .map(|(ix, crew)| (crew_bound(parts, crew), Item::Crew(CrewIx::from_ix(ix))))
        .collect();
    let jobs = parts.jobs.iter().enumerate();
    shares.extend(jobs.map(|(ix, job)| {
        (
            job_bound(weights, job, &most),
            Item::Job(JobIx::from_ix(ix)),
        )
    }));
    shares.push((distance_bound(parts), Item::Weights));
    let units = wide(index(parts.units.len()));
    shares.push((
        money(weights.load_unit) * units * wide(i64::from(DAYS_MAX)),
        Item::Weights,
    ));
    shares.extend(dearest_stop(parts, tools, &most));
    let bound: i128 = shares.iter().map(|(share, _)| share).sum();
    if bound > wide(Cost::MAX.0) {
        // Of equals the first.
        let largest = shares.into_iter().rev().max_by_key(|(share, _)| *share);
        let item = largest.map_or(Item::Problem, |(_, item)| item);
        faults.push(Fault::CostTooLarge { item });
    }
}

/// What a stop may cost when it is tried, though it be too long for any day: the dearest wait and drives, and the dearest
/// work.
fn dearest_stop(parts: &Parts, tools: &Tools, most: &Most) -> [(i128, Item); 2] {
    let weights = &parts.weights;
    let dearest = parts
        .crews
        .iter()
        .enumerate()
        .max_by_key(|(_, crew)| crew.wage_per_hour);
    let (crew, wage) = dearest.map_or((0, 0), |(ix, crew)| (ix, crew.wage_per_hour));
    let way = wide(weights.idle_permille) * wide(most.apart)
        + wide(weights.driving_permille) * 2 * wide(longest_drive(parts));
    let longest = (0..parts.jobs.len())
        .map(|ix| {
            let job = JobIx::from_ix(ix);
            (
                tools.longest(job) + Seconds::from(parts.jobs[ix].fixed_seconds),
                job,
            )
        })
        .max();
    let (seconds, job) = longest.unwrap_or((0, JobIx(0)));
    // Paced, a task takes at most two and a half times as long, and its tools wear as long.
    let rate = wide(wage) * wide(weights.work_permille)
        + 2 * wide(most.wear) * wide(weights.wear_permille);
    [
        (wide(wage) * way, Item::Crew(CrewIx::from_ix(crew))),
        (rate * 3 * wide(seconds), Item::Job(job)),
    ]
}

fn wide(value: i64) -> i128 {
    i128::from(value)
}

fn money(minor: i64) -> i128 {
    wide(minor) * wide(Cost::PER_MINOR_UNIT)
}

/// What a crew's hours cost at the most.
fn crew_bound(parts: &Parts, crew: &Crew) -> i128 {
    let weights = &parts.weights;
    let day = wide(longest_day(parts, crew));
    let permille = weights
        .driving_permille
        .max(weights.work_permille)
        .max(weights.idle_permille);
    wide(crew.wage_per_hour) * wide(permille) * day
        + wide(crew.overtime_per_hour) * wide(weights.overtime_permille) * day
        + wide(weights.unfair_per_hour) * 1_000 * day
}

/// Seconds from the beginning of the crew's day, or from where it is gone on with, to the latest that it can be back.
fn longest_day(parts: &Parts, crew: &Crew) -> Seconds {
    let (mut from, mut until) = (crew.shift_start, crew.shift_end + crew.overtime_max);
    if let Progress::UnderWay(way) = &crew.progress {
        // It comes home even when its shift is long over.
        let rests: Seconds = crew.breaks.iter().map(|rest| rest.seconds).sum();
        from = from.min(way.ready_at);
        until = until.max(way.ready_at + rests + longest_drive(parts));
    }
    (until - from).max(2 * SHIFT_SECONDS_MAX)
}

/// Seconds that the longest drive allowed takes in the slowest hour.
fn longest_drive(parts: &Parts) -> Seconds {
    TRAVEL_SECONDS_MAX * 1_000 / slowest(parts)
}

/// Pace of the slowest hour, permille.
fn slowest(parts: &Parts) -> i64 {
    let paces = parts.travel.pace().map(HourPace::permille);
    let slowest = paces.into_iter().flatten().copied().min();
    i64::from(slowest.unwrap_or(1_000).max(1))
}

/// What all drives together cost at the most for their length: one to each job, and to each call and home with each crew.
/// A table may have long drives that take no time, so their number alone tells.
fn distance_bound(parts: &Parts) -> i128 {
    let drives = parts.jobs.len() + parts.crews.len() * (CALLS_MAX + 1);
    wide(Cost::distance(parts.weights.distance_per_km, 1).0)
        * wide(TRAVEL_METRES_MAX)
        * wide(index(drives))
}

/// What no job of the problem goes beyond.
struct Most {
    /// Wear of a unit, minor units per hour.
    wear: i64,
    /// Exposure points of a task.
    exposure: u32,
    /// Seconds by which an instant of a plan differs from another.
    apart: Seconds,
}

/// Seconds between the first and the last instant that the problem speaks of, and what overtime and drives may add.
fn longest_apart(parts: &Parts) -> Seconds {
    let crews = parts.crews.iter().flat_map(|crew| {
        let ready = match &crew.progress {
            Progress::UnderWay(way) => way.ready_at,
            Progress::NotStarted => crew.shift_start,
        };
        let breaks = crew
            .breaks
            .iter()
            .flat_map(|rest| [rest.earliest, rest.latest]);
        breaks.chain([crew.shift_start, crew.shift_end + crew.overtime_max, ready])
    });
    let jobs = parts.jobs.iter().flat_map(|job| {
        let windows = job
            .windows
            .iter()
            .flat_map(|window| [window.open, window.close]);
        let promise = job.promise.iter();
        windows
            .chain(promise.flat_map(|promise| [promise.open, promise.close]))
            .chain(job.due.map(|due| due.at))
    });
    let units = parts.units.iter().flat_map(|unit| &unit.available);
    let units = units.flat_map(|window| [window.open, window.close]);
    let instants = crews.chain(jobs).chain(units);
    let (first, last) = instants.fold((0, 0), |(first, last), at| (at.min(first), at.max(last)));
    last - first + 4 * SHIFT_SECONDS_MAX
}

/// What a job costs at the most beside the hours of its crew.
fn job_bound(weights: &Weights, job: &Job, most: &Most) -> i128 {
    let longest = wide(most.apart);
    let mut bound =
        wide(job.penalty) * wide(weights.unplanned_permille) * (wide(Cost::PER_MINOR_UNIT) / 1_000);
    if let Some(due) = job.due {
        bound += wide(due.cost_per_hour) * wide(weights.late_permille) * longest;
    }
    if job.promise.is_some() {
        bound += money(weights.promise_broken) + money(weights.changed_promise);
        bound += wide(weights.promise_late_per_hour) * 1_000 * longest;
    }
    bound += money(weights.moved_job) + money(weights.changed_crew);
    // A tool is bound no longer than its stop lasts, and each task has two at most.
    let tasks = wide(index(job.tasks.len()));
    bound +=
        2 * wide(most.wear) * wide(weights.wear_permille) * wide(2 * SHIFT_SECONDS_MAX) * tasks;
    // Paced, a task's points are at most two and a half times as many.
    bound + money(weights.exposure_point) * wide(i64::from(most.exposure)) * 3 * tasks
}

fn place(parts: &Parts, item: Item, field: &'static str, place: PlaceIx, faults: &mut Faults) {
    let count = parts.travel.places();
    if place.ix() >= count {
        faults.push(Fault::UnknownPlace {
            item,
            field,
            place,
            count,
        });
    }
}

fn window(item: Item, field: &'static str, window: Window, faults: &mut Faults) -> bool {
    let before = faults.0.len();
    faults.range(item, field, window.open, -INSTANT_MAX, INSTANT_MAX);
    faults.range(item, field, window.close, -INSTANT_MAX, INSTANT_MAX);
    if window.close < window.open {
        faults.push(Fault::EndsBeforeStart {
            item,
            field,
            open: window.open,
            close: window.close,
        });
    }
    faults.0.len() == before
}

fn windows(item: Item, field: &'static str, stretches: &[Window], faults: &mut Faults) {
    faults.count(item, field, stretches.len(), WINDOWS_MAX);
    let mut last: Option<Seconds> = None;
    for &one in stretches.iter().take(WINDOWS_MAX) {
        window(item, field, one, faults);
        if last.is_some_and(|last| one.open <= last) {
            faults.push(Fault::NotInOrder {
                item,
                field,
                open: one.open,
            });
        }
        last = Some(one.close);
    }
}

fn unique(
    item: Item,
    field: &'static str,
    values: impl Iterator<Item = usize>,
    faults: &mut Faults,
) {
    let mut seen: Vec<usize> = values.collect();
    seen.sort_unstable();
    for pair in seen.windows(2) {
        if pair[0] == pair[1] {
            faults.push(Fault::Twice {
                item,
                field,
                value: pair[0],
            });
        }
    }
}

fn index(value: usize) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}
