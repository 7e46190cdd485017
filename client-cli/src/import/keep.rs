//! Parts of stored records that the files say nothing of.
//!
//! A record that is there already is replaced whole. Where a folder has sites and no table of hazards at all, that is not
//! to say that there are none: what crews found and cases added stays. An empty table says that there are none.

use std::collections::BTreeMap;

use forenoon_proto::v1;
use forenoon_proto::v1::import_record::Record;

use super::Tables;
use crate::connect::Link;
use crate::failure::Failure;

/// Parts that records are stored with, each with the table of the records and its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    Absences,
    Shifts,
    Areas,
    Hazards,
}

impl Part {
    const ALL: [Self; 4] = [Self::Absences, Self::Shifts, Self::Areas, Self::Hazards];

    const fn tables(self) -> (&'static str, &'static str) {
        match self {
            Self::Absences => ("units", "absences"),
            Self::Shifts => ("crews", "shifts"),
            Self::Areas => ("sites", "areas"),
            Self::Hazards => ("sites", "hazards"),
        }
    }

    /// Whether the files have the records and say nothing of this part of them.
    fn is_left_open(self, tables: &Tables) -> bool {
        let (owners, parts) = self.tables();
        tables.contains_key(owners) && !tables.contains_key(parts)
    }
}

/// Stored records by name.
#[derive(Clone, Debug, Default)]
pub struct Stored {
    units: BTreeMap<String, v1::Unit>,
    crews: BTreeMap<String, v1::Crew>,
    sites: BTreeMap<String, v1::Site>,
}

/// Reads the stored records of which the files leave parts open; none where they leave nothing open.
///
/// # Errors
/// What the server answers, or that it cannot be reached.
pub async fn stored(link: &Link, branch: &str, tables: &Tables) -> Result<Stored, Failure> {
    let mut stored = Stored::default();
    macro_rules! read {
        ($list:ident, $all:ident, $request:ident) => {
            let request = v1::$request {
                parent: branch.to_owned(),
                ..v1::$request::default()
            };
            let records = link.$all(request).await?.into_iter();
            stored.$list = records.map(|one| (one.name.clone(), one)).collect();
        };
    }
    let are_open = |owners| {
        Part::ALL
            .into_iter()
            .any(|part| part.tables().0 == owners && part.is_left_open(tables))
    };
    if are_open("units") {
        read!(units, all_units, ListUnitsRequest);
    }
    if are_open("crews") {
        read!(crews, all_crews, ListCrewsRequest);
    }
    if are_open("sites") {
        read!(sites, all_sites, ListSitesRequest);
    }
    Ok(stored)
}

/// Puts the stored parts that the files leave open into the records that replace the stored ones.
pub fn keep(tables: &Tables, stored: &Stored, records: &mut [v1::ImportRecord]) {
    for part in Part::ALL {
        if !part.is_left_open(tables) {
            continue;
        }
        for record in records.iter_mut().filter_map(|one| one.record.as_mut()) {
            match (part, record) {
                (Part::Absences, Record::Unit(unit)) => {
                    if let Some(before) = stored.units.get(&unit.name) {
                        unit.absences.clone_from(&before.absences);
                    }
                }
                (Part::Shifts, Record::Crew(crew)) => {
                    if let Some(before) = stored.crews.get(&crew.name) {
                        crew.shifts.clone_from(&before.shifts);
                    }
                }
                (Part::Areas, Record::Site(site)) => {
                    if let Some(before) = stored.sites.get(&site.name) {
                        site.areas.clone_from(&before.areas);
                    }
                }
                (Part::Hazards, Record::Site(site)) => {
                    if let Some(before) = stored.sites.get(&site.name) {
                        site.hazards.clone_from(&before.hazards);
                    }
                }
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stored_site() -> v1::Site {
        v1::Site {
            name: "branches/north/sites/alder".into(),
            areas: vec![v1::Area {
                area_id: "back".into(),
                ..v1::Area::default()
            }],
            hazards: vec![v1::Hazard {
                hazard_id: "damage-1".into(),
                ..v1::Hazard::default()
            }],
            ..v1::Site::default()
        }
    }

    fn stored_records() -> Stored {
        let site = stored_site();
        let crew = v1::Crew {
            name: "branches/north/crews/bluestem".into(),
            shifts: vec![v1::Shift::default()],
            ..v1::Crew::default()
        };
        let unit = v1::Unit {
            name: "branches/north/units/m-36".into(),
            absences: vec![v1::Absence::default()],
            ..v1::Unit::default()
        };
        Stored {
            units: BTreeMap::from([(unit.name.clone(), unit)]),
            crews: BTreeMap::from([(crew.name.clone(), crew)]),
            sites: BTreeMap::from([(site.name.clone(), site)]),
        }
    }

    /// The parts of the three records, and of a site that is new, after an import of tables.
    fn parts_after(tables: &[&'static str]) -> Vec<usize> {
        let tables: Tables = tables.iter().map(|name| (*name, Vec::new())).collect();
        let record = |record| v1::ImportRecord {
            record: Some(record),
        };
        let mut records = [
            record(Record::Unit(v1::Unit {
                name: "branches/north/units/m-36".into(),
                ..v1::Unit::default()
            })),
            record(Record::Crew(v1::Crew {
                name: "branches/north/crews/bluestem".into(),
                ..v1::Crew::default()
            })),
            record(Record::Site(v1::Site {
                name: stored_site().name,
                ..v1::Site::default()
            })),
            record(Record::Site(v1::Site {
                name: "branches/north/sites/new".into(),
                ..v1::Site::default()
            })),
        ];
        keep(&tables, &stored_records(), &mut records);
        records
            .into_iter()
            .map(|one| match one.record {
                Some(Record::Unit(unit)) => unit.absences.len(),
                Some(Record::Crew(crew)) => crew.shifts.len(),
                Some(Record::Site(site)) => 10 * site.areas.len() + site.hazards.len(),
                _ => 0,
            })
            .collect()
    }

    #[test]
    fn parts_without_a_table_stay_and_those_with_one_are_replaced() {
        assert_eq!(parts_after(&["units", "crews", "sites"]), [1, 1, 11, 0]);
        let some = ["units", "absences", "crews", "sites", "areas"];
        assert_eq!(parts_after(&some), [0, 1, 1, 0]);
        let all = [
            "units", "absences", "crews", "shifts", "sites", "areas", "hazards",
        ];
        assert_eq!(parts_after(&all), [0, 0, 0, 0]);
    }
}
