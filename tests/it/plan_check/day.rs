//! A crew's day: when it drives, arrives, works and comes home.

use forenoon_proto::v1::{Crew, CrewDay, Job, Plan, Site, Stop, TravelRule, UnitKind};

use super::distance::drive_seconds;
use super::world::{World, length_seconds, seconds};
use super::{Breaches, Rule};

/// What rounding to whole minutes may cost, in seconds.
const ROUNDING: i64 = 60;
/// Shifts longer than this have a break, in seconds.
const BREAK_FROM: i64 = 6 * 3600;

pub(super) fn check(world: &World, crew_day: &CrewDay, plan: &Plan, found: &mut Breaches) {
    let crew = &world.crews[&crew_day.crew];
    let day = plan.day.as_ref().expect("a plan's day");
    if crew_day.stops.is_empty() {
        found.demand(crew_day.depart_time.is_none(), Rule::Sequence, || {
            format!("{} departs for nothing", crew.name)
        });
        return;
    }
    let (Some(depart), Some(back)) = (
        seconds(crew_day.depart_time.as_ref()),
        seconds(crew_day.return_time.as_ref()),
    ) else {
        found.demand(false, Rule::Sequence, || {
            format!("{} has stops without departure or return", crew.name)
        });
        return;
    };
    let shift = world.shift(crew, day);
    found.demand(shift.is_some(), Rule::Shift, || {
        format!("{} is off that day", crew.name)
    });
    if let Some(shift) = shift {
        check_shift(world, crew, crew_day, shift, (depart, back), found);
    }

    let travel = world.branch.travel.as_ref().expect("a travel rule");
    let mut place = world.base(crew);
    let mut left = depart;
    for stop in &crew_day.stops {
        let job = &world.jobs[&stop.job];
        let site = &world.sites[&job.site];
        let location = site.location.as_ref().expect("a site's location");
        let drive = length_seconds(stop.drive.as_ref());
        let expected = drive_seconds(travel, place, location);
        found.demand(same_drive(drive, expected, travel), Rule::Drive, || {
            format!("{}: a drive of {drive} s takes {expected:.0} s", stop.job)
        });
        check_times(world, stop, left, drive, found);
        check_job(world, crew, job, site, stop, plan, found);
        place = location;
        left = seconds(stop.finish_time.as_ref()).unwrap_or(left);
    }
    let home = drive_seconds(travel, place, world.base(crew));
    found.demand(same_drive(back - left, home, travel), Rule::Drive, || {
        format!("{}: {} s home take {home:.0} s", crew.name, back - left)
    });
}

/// Whether a planned drive is as long as it must be. From a place to itself the fixed part may be left out.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a drive is far below 2^52 seconds"
)]
fn same_drive(planned: i64, expected: f64, travel: &TravelRule) -> bool {
    let expected = expected.round() as i64;
    let nothing = expected == i64::from(travel.seconds_per_stop) && planned == 0;
    nothing || (planned - expected).abs() <= ROUNDING
}

fn check_shift(
    world: &World,
    crew: &Crew,
    crew_day: &CrewDay,
    (start, end): (i64, i64),
    (depart, back): (i64, i64),
    found: &mut Breaches,
) {
    let allowed = length_seconds(crew.overtime_allowed.as_ref());
    found.demand(
        depart >= start && back <= end + allowed,
        Rule::Shift,
        || {
            format!(
                "{} is out from {} to {}, on shift from {} to {} with {allowed} s of overtime",
                crew.name,
                world.shown(depart),
                world.shown(back),
                world.shown(start),
                world.shown(end)
            )
        },
    );
    let told = length_seconds(crew_day.overtime.as_ref());
    let there_is = (back - end).max(0);
    found.demand((told - there_is).abs() <= ROUNDING, Rule::Overtime, || {
        format!("{}: overtime of {there_is} s told as {told} s", crew.name)
    });
    let busy: i64 = crew_day
        .stops
        .iter()
        .map(|stop| {
            let work: i64 = stop
                .tasks
                .iter()
                .map(|task| length_seconds(task.duration.as_ref()))
                .sum();
            length_seconds(stop.drive.as_ref()) + work
        })
        .sum();
    let last = crew_day
        .stops
        .last()
        .and_then(|stop| seconds(stop.finish_time.as_ref()))
        .unwrap_or(depart);
    let free = (end + allowed - start) - busy - (back - last);
    let wanted = length_seconds(crew.break_length.as_ref());
    found.demand(
        end - start <= BREAK_FROM || free >= wanted,
        Rule::Break,
        || format!("{}: {free} s are free for a break of {wanted} s", crew.name),
    );
}

fn check_times(world: &World, stop: &Stop, left: i64, drive: i64, found: &mut Breaches) {
    let (Some(arrive), Some(start), Some(finish)) = (
        seconds(stop.arrive_time.as_ref()),
        seconds(stop.start_time.as_ref()),
        seconds(stop.finish_time.as_ref()),
    ) else {
        found.demand(false, Rule::Sequence, || {
            format!("{} has no times", stop.job)
        });
        return;
    };
    found.demand(
        arrive + ROUNDING >= left + drive && start >= arrive && finish >= start,
        Rule::Sequence,
        || {
            format!(
                "{}: left at {}, arrives {}, begins {}, done {}",
                stop.job,
                world.shown(left),
                world.shown(arrive),
                world.shown(start),
                world.shown(finish)
            )
        },
    );
    let work: i64 = stop
        .tasks
        .iter()
        .map(|task| length_seconds(task.duration.as_ref()))
        .sum();
    found.demand(
        (finish - start - work).abs() <= ROUNDING,
        Rule::Duration,
        || format!("{}: {work} s of tasks in {} s", stop.job, finish - start),
    );
}

fn check_job(
    world: &World,
    crew: &Crew,
    job: &Job,
    site: &Site,
    stop: &Stop,
    plan: &Plan,
    found: &mut Breaches,
) {
    let day = plan.day.as_ref().expect("a plan's day");
    let (Some(start), Some(finish)) = (
        seconds(stop.start_time.as_ref()),
        seconds(stop.finish_time.as_ref()),
    ) else {
        return;
    };
    found.demand(stop.site == job.site, Rule::Job, || {
        format!("{} is planned at {}", job.name, stop.site)
    });
    let slack = length_seconds(stop.slack.as_ref());
    let windows = world.windows(job, day);
    let within = |start: i64, finish: i64| {
        windows
            .iter()
            .any(|&(from, to)| from <= start && finish <= to)
    };
    found.demand(within(start, finish), Rule::Window, || {
        format!(
            "{} from {} to {}",
            job.name,
            world.shown(start),
            world.shown(finish)
        )
    });
    found.demand(
        slack >= 0 && within(start, finish + slack),
        Rule::Window,
        || format!("{}: a slack of {slack} s leaves the window", job.name),
    );
    if let Some(deadline) = &job.deadline {
        found.demand(finish <= world.moment(deadline), Rule::Deadline, || {
            format!("{} is done at {}", job.name, world.shown(finish))
        });
    }
    if let Some(promise) = &job.promise {
        let met = if promise.before_work { start } else { finish };
        let from = promise
            .start_time
            .as_ref()
            .map_or(i64::MIN, |at| world.moment(at));
        let to = promise
            .end_time
            .as_ref()
            .map_or(i64::MAX, |at| world.moment(at));
        found.demand(from <= met && met <= to, Rule::Promise, || {
            format!("{}: the customer is met at {}", job.name, world.shown(met))
        });
    }
    let skills = world.skills(&crew.name);
    for skill in &job.skills {
        found.demand(skills.contains(skill.as_str()), Rule::Skill, || {
            format!("{}: nobody in {} has {skill}", job.name, crew.name)
        });
    }
    check_tasks(job, stop, found);
    check_quiet(world, site, stop, start, plan, found);
}

fn check_tasks(job: &Job, stop: &Stop, found: &mut Breaches) {
    let wanted: Vec<_> = job
        .tasks
        .iter()
        .map(|task| (&task.task_id, task.kind, &task.area_id))
        .collect();
    let planned: Vec<_> = stop
        .tasks
        .iter()
        .map(|task| (&task.task_id, task.kind, &task.area_id))
        .collect();
    found.demand(wanted == planned, Rule::TaskOrder, || {
        format!("{}: {planned:?} planned, {wanted:?} wanted", job.name)
    });
    for (task, planned) in job.tasks.iter().zip(&stop.tasks) {
        #[expect(clippy::cast_possible_truncation, reason = "1,440 minutes at most")]
        let agreed = (task.agreed_minutes * 60.0).round() as i64;
        let took = length_seconds(planned.duration.as_ref());
        found.demand(
            agreed == 0 || (took - agreed).abs() <= ROUNDING,
            Rule::Duration,
            || {
                format!(
                    "{}/{}: {took} s planned, {agreed} s agreed",
                    job.name, task.task_id
                )
            },
        );
    }
}

fn check_quiet(
    world: &World,
    site: &Site,
    stop: &Stop,
    start: i64,
    plan: &Plan,
    found: &mut Breaches,
) {
    let (Some(quiet), Some(day)) = (&site.quiet_until, &plan.day) else {
        return;
    };
    let quiet = world.instant(day, quiet);
    let mut begins = start;
    for task in &stop.tasks {
        let loud = task
            .units
            .iter()
            .any(|unit| has_engine(world.units[unit].kind()));
        found.demand(!loud || begins >= quiet, Rule::Quiet, || {
            format!(
                "{}/{} starts an engine at {}",
                stop.job,
                task.task_id,
                world.shown(begins)
            )
        });
        begins += length_seconds(task.duration.as_ref());
    }
}

fn has_engine(kind: UnitKind) -> bool {
    match kind {
        UnitKind::Powerhead | UnitKind::WalkMower | UnitKind::RideOnMower | UnitKind::Blower => {
            true
        }
        UnitKind::Unspecified
        | UnitKind::Attachment
        | UnitKind::HandTool
        | UnitKind::Trailer
        | UnitKind::Vehicle => false,
    }
}
