//! Lays a plan out as sheets for the crews.

use std::collections::BTreeMap;

use forenoon_desk::sheets::{StopWords, day_cautions, limit_words, stop_words};
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::{job, plan_crew_day, plan_stop, site, unit};
use forenoon_store::sea_orm::ConnectionTrait;

use super::day;
use super::read::load;
use crate::work::Error;

/// A crew's day on a sheet.
#[derive(Clone, Debug)]
pub struct CrewSheet {
    /// The crew's day.
    pub crew_day: plan_crew_day::Model,
    /// The units aboard with the limits of their use; empty where there is none.
    pub units: Vec<(unit::Model, String)>,
    /// Who goes.
    pub workers: Vec<String>,
    /// The stops, in order.
    pub stops: Vec<SheetStop>,
    /// Usual cautions for the day.
    pub cautions: Vec<String>,
}

/// A stop on a sheet.
#[derive(Clone, Debug)]
pub struct SheetStop {
    /// The stop.
    pub stop: plan_stop::Model,
    /// Its job.
    pub job: job::Model,
    /// Its site.
    pub site: site::Model,
    /// What is to be done, in words.
    pub words: StopWords,
}

/// The plan and the sheets of the crews that go out, by crew; of one crew where `crew` says so.
///
/// # Errors
/// [`Error::NotFound`] where the plan is not there.
pub async fn sheets(
    connection: &impl ConnectionTrait,
    branch: &str,
    plan: &str,
    crew: Option<&str>,
) -> Result<(StoredPlan, Vec<CrewSheet>), Error> {
    let stored = load(connection, branch, plan).await?;
    // Gathered as for a re-plan, so that jobs done or no longer open have their place on the sheet.
    let from = stored.plan.create_time;
    let mut inputs = day::inputs(
        connection,
        branch,
        stored.plan.day,
        Some((stored.clone(), from)),
    )
    .await?;
    // Who is not there by what was told for this plan or one before it does not go.
    if let Some(facts) = &stored.plan.proposal {
        inputs.disruptions = facts.disruptions.clone();
    }
    let sheets = stored
        .parts
        .crew_days
        .iter()
        .filter(|day| day.depart_time.is_some())
        .filter(|day| crew.is_none_or(|crew| day.crew_id == crew))
        .map(|day| sheet(&inputs, &stored, day))
        .collect();
    Ok((stored, sheets))
}

fn sheet(inputs: &DayInputs, stored: &StoredPlan, day: &plan_crew_day::Model) -> CrewSheet {
    let known: BTreeMap<&str, &unit::Model> = inputs
        .units
        .iter()
        .map(|unit| (unit.id.as_str(), unit))
        .collect();
    let units: Vec<(unit::Model, String)> = stored
        .load_out_of(&day.crew_id)
        .filter_map(|id| known.get(id))
        .map(|unit| ((*unit).clone(), limit_words(inputs, &unit.id)))
        .collect();
    let stops = stored
        .stops_of(&day.crew_id)
        .filter_map(|stop| {
            let job = inputs.jobs.iter().find(|job| job.id == stop.job_id)?;
            let site = inputs.sites.get(&stop.site_id)?;
            Some(SheetStop {
                stop: stop.clone(),
                job: job.clone(),
                site: site.clone(),
                words: stop_words(inputs, stop, job, site),
            })
        })
        .collect();
    CrewSheet {
        crew_day: day.clone(),
        workers: inputs
            .workers
            .iter()
            .filter(|worker| worker.crew_id.as_deref() == Some(day.crew_id.as_str()))
            .filter(|worker| !inputs.is_absent(&worker.id))
            .map(|worker| worker.display_name.clone())
            .collect(),
        cautions: day_cautions(units.iter().map(|(unit, _)| unit)),
        units,
        stops,
    }
}
