//! Sites, between wire and domain.

use chrono::DateTime;
use forenoon_proto::v1;
use forenoon_store::entity::{branch, site};
use forenoon_store::value::{Areas, Clippings, Hazards, Place, UnitSystem};

use crate::edge::checks::Checks;
use crate::edge::mask::{Mask, updatable};
use crate::edge::{contact, etag, place, time};
use crate::work::site::PARTS_MAX;
use crate::work::{self, Error};

use super::area;

updatable!(v1::Site {
    display_name, customer, contact, address, location, areas, hazards, clippings, clippings_note,
    quiet_until, sensitive, access_note,
} fixed {
    name, etag, create_time, update_time,
});

/// The fields an update can name, and those it cannot.
pub(super) fn mask_fields() -> (&'static [&'static str], &'static [&'static str]) {
    (UPDATABLE, FIXED)
}

/// The site as an update makes it: the fields the mask names, over the site as it is.
pub(super) fn edited(
    before: &site::Model,
    branch: &branch::Model,
    change: v1::Site,
    mask: &Mask,
) -> Result<site::Model, Error> {
    // SI goes out and comes in without a change, whatever the branch's units of measure.
    let mut merged = to_wire(before.clone(), UnitSystem::Si);
    overlay(&mut merged, change, mask);
    let mut checks = Checks::new();
    let row = checks.within("site", |checks| {
        from_wire(checks, branch, before.id.clone(), merged)
    });
    checks.finish(row)
}

/// A row as the wire has it.
pub(super) fn to_wire(row: site::Model, system: UnitSystem) -> v1::Site {
    let etag = etag::of(&row);
    let site::Model {
        branch_id,
        id,
        display_name,
        customer,
        contact,
        address,
        latitude,
        longitude,
        areas,
        hazards,
        clippings,
        clippings_note,
        quiet_until_second_of_day,
        sensitive,
        access_note,
        revision: _,
        create_time,
        update_time,
    } = row;
    let areas = areas.0.into_iter();
    let hazards = hazards.0.into_iter();
    v1::Site {
        name: work::site::name(&branch_id, &id),
        display_name,
        customer,
        contact: contact.map(contact::contact),
        address,
        location: Some(place::lat_lng(Place {
            latitude,
            longitude,
        })),
        areas: areas.map(|area| area::to_wire(area, system)).collect(),
        hazards: hazards.map(area::hazard_to_wire).collect(),
        clippings: match clippings {
            Clippings::MayLie => v1::Clippings::MayLie,
            Clippings::CustomerHeap => v1::Clippings::CustomerHeap,
            Clippings::TakeAway => v1::Clippings::TakeAway,
        }
        .into(),
        clippings_note,
        quiet_until: quiet_until_second_of_day.map(time::time_of_day),
        sensitive,
        access_note,
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
    }
}

/// A row from the wire; its revision and times are for the use case to set.
pub(crate) fn from_wire(
    checks: &mut Checks,
    branch: &branch::Model,
    id: String,
    wire: v1::Site,
) -> Option<site::Model> {
    let v1::Site {
        name: _,
        display_name,
        customer,
        contact,
        address,
        location,
        areas,
        hazards,
        clippings,
        clippings_note,
        quiet_until,
        sensitive,
        access_note,
        etag: _,
        create_time: _,
        update_time: _,
    } = wire;
    let display_name = checks.line("display_name", display_name, 1..=200);
    let customer = checks.line("customer", customer, 0..=200);
    let contact = checks.contact("contact", contact);
    let address = checks.line("address", address, 0..=500);
    let location = checks.required_land("location", location);

    let area_ids: Vec<String> = areas.iter().map(|area| area.area_id.clone()).collect();
    checks.distinct("areas", "area_id", &area_ids);
    let areas = checks.each("areas", areas, PARTS_MAX, area::from_wire);
    checks.distinct(
        "hazards",
        "hazard_id",
        hazards.iter().map(|one| &one.hazard_id),
    );
    let hazards = checks.each("hazards", hazards, PARTS_MAX, |checks, hazard| {
        area::hazard_from_wire(checks, hazard, &area_ids)
    });

    let clippings = checks.word(
        "clippings",
        clippings,
        Some(Clippings::MayLie),
        |word| match word {
            v1::Clippings::Unspecified => None,
            v1::Clippings::MayLie => Some(Clippings::MayLie),
            v1::Clippings::CustomerHeap => Some(Clippings::CustomerHeap),
            v1::Clippings::TakeAway => Some(Clippings::TakeAway),
        },
    );
    let clippings_note = checks.text("clippings_note", clippings_note, 0..=500);
    let quiet_until = match quiet_until {
        None => Some(None),
        Some(time) => checks.time_of_day("quiet_until", time).map(Some),
    };
    let access_note = checks.text("access_note", access_note, 0..=2_000);
    let Place {
        latitude,
        longitude,
    } = location?;
    Some(site::Model {
        branch_id: branch.id.clone(),
        id,
        display_name: display_name?,
        customer: customer?,
        contact: contact?,
        address: address?,
        latitude,
        longitude,
        areas: Areas(areas?),
        hazards: Hazards(hazards?),
        clippings: clippings?,
        clippings_note: clippings_note?,
        quiet_until_second_of_day: quiet_until?,
        sensitive,
        access_note: access_note?,
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}
