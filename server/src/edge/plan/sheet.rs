//! Crew sheets, from domain to wire.

use forenoon_desk::StoredPlan;
use forenoon_proto::v1;
use forenoon_store::entity::site;
use forenoon_store::value::{Hazard, Place, UnitSystem};

use super::convert::crew_day;
use crate::edge::contact::contact;
use crate::edge::name::in_branch;
use crate::edge::place::lat_lng;
use crate::edge::time::time_of_day;
use crate::work;
use crate::work::plan::{CrewSheet, SheetStop};

/// A sheet as the wire has it.
pub(super) fn sheet(stored: &StoredPlan, sheet: CrewSheet, system: UnitSystem) -> v1::CrewSheet {
    let CrewSheet {
        crew_day: day,
        units,
        workers,
        stops,
        cautions,
    } = sheet;
    let branch = &stored.plan.branch_id;
    v1::CrewSheet {
        plan: work::plan::name(branch, &stored.plan.id),
        crew_day: Some(crew_day(stored, &day, system)),
        worker_display_names: workers,
        units: units
            .into_iter()
            .map(|(unit, limit)| v1::SheetUnit {
                unit: in_branch(branch, "units", &unit.id),
                display_name: unit.display_name,
                serial_number: unit.serial_number,
                limit,
            })
            .collect(),
        stops: stops
            .into_iter()
            .map(|stop| sheet_stop(branch, stop))
            .collect(),
        cautions,
    }
}

fn sheet_stop(branch: &str, stop: SheetStop) -> v1::SheetStop {
    let SheetStop {
        stop: _,
        job,
        site,
        words,
    } = stop;
    let site::Model {
        address,
        latitude,
        longitude,
        hazards,
        access_note,
        contact: who,
        quiet_until_second_of_day,
        ..
    } = site;
    v1::SheetStop {
        job: in_branch(branch, "jobs", &job.id),
        job_display_name: job.display_name,
        address,
        location: Some(lat_lng(Place {
            latitude,
            longitude,
        })),
        work_lines: words.work_lines,
        hazards: hazards.0.into_iter().map(hazard).collect(),
        clippings: words.clippings,
        access_note,
        note: job.note,
        meeting: words.meeting,
        contact: who.map(contact),
        deadline: words.deadline,
        cautions: words.cautions,
        quiet_until: quiet_until_second_of_day.map(time_of_day),
    }
}

fn hazard(hazard: Hazard) -> v1::Hazard {
    let Hazard {
        hazard_id,
        description,
        place,
        area_id,
    } = hazard;
    v1::Hazard {
        hazard_id,
        description,
        location: place.map(lat_lng),
        area_id: area_id.unwrap_or_default(),
    }
}
