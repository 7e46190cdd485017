//! Sites.

use forenoon_proto::v1::{AreaKind, AreaShape, Clippings, Obstacles, Site};

use super::{Cells, degrees, flag, number};
use crate::names::id;
use crate::output::clock::time_of_day;
use crate::output::grid::Grid;
use crate::output::measure::{length, surface};
use crate::output::sheet::contact_words;
use crate::parse::word::word_of;

/// A site as cells.
pub fn site(site: &Site) -> Cells {
    let (latitude, longitude) = degrees(site.location.as_ref());
    let contact = site.contact.clone().unwrap_or_default();
    Cells {
        own: vec![
            ("site_id", id(&site.name).to_owned()),
            ("display_name", site.display_name.clone()),
            ("customer", site.customer.clone()),
            ("contact_name", contact.display_name),
            ("contact_phone", contact.phone),
            ("contact_email", contact.email),
            ("address", site.address.clone()),
            ("latitude", latitude),
            ("longitude", longitude),
            ("clippings", word_of::<Clippings>(site.clippings)),
            ("clippings_note", site.clippings_note.clone()),
            (
                "quiet_until",
                site.quiet_until
                    .as_ref()
                    .map(time_of_day)
                    .unwrap_or_default(),
            ),
            ("sensitive", flag(site.sensitive)),
            ("access_note", site.access_note.clone()),
        ],
        parts: vec![("hazards", hazards(site)), ("areas", areas(site))],
    }
}

fn areas(site: &Site) -> Grid {
    let mut grid = Grid::new(&[
        "area_id",
        "display_name",
        "kind",
        "surface",
        "length",
        "slope_percent",
        "narrowest_gate",
        "obstacles",
        "shape",
    ]);
    for area in &site.areas {
        grid.row([
            area.area_id.clone(),
            area.display_name.clone(),
            word_of::<AreaKind>(area.kind),
            surface(area.surface.as_ref()),
            length(area.length.as_ref()),
            number(area.slope_percent),
            length(area.narrowest_gate.as_ref()),
            word_of::<Obstacles>(area.obstacles),
            word_of::<AreaShape>(area.shape),
        ]);
    }
    grid
}

fn hazards(site: &Site) -> Grid {
    let mut grid = Grid::new(&[
        "hazard_id",
        "description",
        "latitude",
        "longitude",
        "area_id",
    ]);
    for hazard in &site.hazards {
        let (latitude, longitude) = degrees(hazard.location.as_ref());
        grid.row([
            hazard.hazard_id.clone(),
            hazard.description.clone(),
            latitude,
            longitude,
            hazard.area_id.clone(),
        ]);
    }
    grid
}

/// Sites as rows.
pub fn list(sites: &[Site]) -> Grid {
    let mut grid = Grid::new(&[
        "site",
        "name",
        "address",
        "contact",
        "areas",
        "hazards",
        "quiet until",
    ]);
    for site in sites {
        grid.row([
            id(&site.name).to_owned(),
            site.display_name.clone(),
            site.address.clone(),
            contact_words(site.contact.as_ref()),
            site.areas.len().to_string(),
            site.hazards.len().to_string(),
            site.quiet_until
                .as_ref()
                .map(time_of_day)
                .unwrap_or_default(),
        ]);
    }
    grid
}
