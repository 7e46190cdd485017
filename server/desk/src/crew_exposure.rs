//! What the people of a crew are exposed to on a day, as a plan tells it: at its stops, and in work that no stop has any more. It
//! stays with them to the end of the day, also where they went home and no stop of any later plan is theirs.

use forenoon_store::entity::{plan_crew_day, plan_stop};
use forenoon_store::value::{Exposure, PlannedBreaks, PlannedTask, YardStops};

use crate::exposure::{exposure, uses};
use crate::inputs::DayInputs;
use crate::roster::size;

/// What each of a crew is exposed to in its stops of a plan and in what it worked beside them.
pub(crate) fn told(inputs: &DayInputs, crew: &str, stops: &[plan_stop::Model]) -> Option<Exposure> {
    let worked = inputs.worked_by(crew);
    let tasks = stops
        .iter()
        .flat_map(|stop| as_worked(inputs, stop))
        .chain(&worked);
    let uses = uses(&inputs.units, tasks);
    let mut told = exposure(&inputs.branch.exposure, &uses, hands(inputs, crew));
    // What was done with a unit that is out by now counts; the plan names the unit nowhere. So the database, which looks
    // through a draft for such names, has nothing to take apart.
    for part in told.iter_mut().flat_map(|told| &mut told.parts) {
        part.unit_id = part
            .unit_id
            .take()
            .filter(|unit| !inputs.is_tagged_out(unit));
    }
    told
}

/// The days of crews that went home after they had worked, and of whom the plan knows nothing else: `planned` are the others.
pub(crate) fn days_of_gone(
    inputs: &DayInputs,
    planned: &[String],
    plan: &str,
) -> Vec<plan_crew_day::Model> {
    let gone = inputs
        .crews
        .iter()
        .filter(|crew| !planned.contains(&crew.id) && !inputs.worked_by(&crew.id).is_empty());
    gone.map(|crew| {
        let mut calls = inputs.calls_begun(&crew.id).cloned();
        plan_crew_day::Model {
            branch_id: inputs.branch.id.clone(),
            plan_id: plan.to_owned(),
            crew_id: crew.id.clone(),
            crew_display_name: crew.display_name.clone(),
            depart_time: None,
            return_time: None,
            load_taken_litres: 0.0,
            load_space_litres: 0.0,
            overtime_seconds: 0,
            yard_call: calls.next(),
            later_yard_calls: YardStops(calls.collect()),
            breaks: Some(PlannedBreaks(
                inputs.breaks_settled(&crew.id).cloned().collect(),
            )),
            exposure: told(inputs, &crew.id, &[]),
        }
    })
    .collect()
}

/// A stop's tasks with the units that they were done with, also where these are named no more.
fn as_worked<'a>(
    inputs: &'a DayInputs,
    stop: &'a plan_stop::Model,
) -> impl Iterator<Item = &'a PlannedTask> {
    let base = inputs.base.as_ref().filter(|_| stop.fixed);
    let earlier = base.and_then(|(base, _)| base.stop_of(&stop.job_id));
    inputs.named(earlier.unwrap_or(stop))
}

/// How many of a crew take turns: those who are there. Where nobody is any more, as many as the plan gone on from knew, or else
/// all.
fn hands(inputs: &DayInputs, crew: &str) -> u8 {
    let of_crew = || {
        let workers = inputs.workers.iter();
        workers.filter(|worker| worker.crew_id.as_deref() == Some(crew))
    };
    let there = of_crew().filter(|worker| !inputs.is_absent(&worker.id));
    let known = || {
        let (base, _) = inputs.base.as_ref()?;
        let told = base.day_of(crew)?.exposure.as_ref()?;
        usize::try_from(told.workers).ok()
    };
    size(match there.count() {
        0 => known().unwrap_or_else(|| of_crew().count()),
        there => there,
    })
}
