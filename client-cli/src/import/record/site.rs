//! Sites with their areas and hazards.

use forenoon_proto::v1::{Area, AreaKind, AreaShape, Clippings, Hazard, Obstacles, Site};

use super::super::row::{Reader, some, text};
use super::{somebody, word};
use crate::parse::{clock, flag, measure, number};

/// Fills a site.
pub fn site(row: &mut Reader<'_>, site: &mut Site) {
    row.put("display_name", &mut site.display_name, text);
    row.put("customer", &mut site.customer, text);
    if row.names_any(&["contact_name", "contact_phone", "contact_email"]) {
        let mut contact = site.contact.take().unwrap_or_default();
        row.put_as(
            "contact_name",
            "contact.display_name",
            &mut contact.display_name,
            text,
        );
        row.put_as("contact_phone", "contact.phone", &mut contact.phone, text);
        row.put_as("contact_email", "contact.email", &mut contact.email, text);
        site.contact = somebody(contact);
    }
    row.put("address", &mut site.address, text);
    row.point("latitude", "longitude", "location", &mut site.location);
    row.put("clippings", &mut site.clippings, word::<Clippings>);
    row.put("clippings_note", &mut site.clippings_note, text);
    row.put(
        "quiet_until",
        &mut site.quiet_until,
        some(clock::time_of_day),
    );
    row.put("sensitive", &mut site.sensitive, flag);
    row.put("access_note", &mut site.access_note, text);
}

/// Fills an area.
pub fn area(row: &mut Reader<'_>, area: &mut Area) {
    row.put("area_id", &mut area.area_id, text);
    row.put("display_name", &mut area.display_name, text);
    row.put("kind", &mut area.kind, word::<AreaKind>);
    row.put("surface", &mut area.surface, some(measure::surface));
    row.put("length", &mut area.length, some(measure::length));
    row.put("slope_percent", &mut area.slope_percent, number);
    row.put(
        "narrowest_gate",
        &mut area.narrowest_gate,
        some(measure::length),
    );
    row.put("obstacles", &mut area.obstacles, word::<Obstacles>);
    row.put("shape", &mut area.shape, word::<AreaShape>);
}

/// Fills a hazard.
pub fn hazard(row: &mut Reader<'_>, hazard: &mut Hazard) {
    row.put("hazard_id", &mut hazard.hazard_id, text);
    row.put("description", &mut hazard.description, text);
    row.point("latitude", "longitude", "location", &mut hazard.location);
    row.put("area_id", &mut hazard.area_id, text);
}
