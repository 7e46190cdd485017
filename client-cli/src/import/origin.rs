//! Where the fields of a record came from.

use super::fault::{Fault, Place};

/// The places of one record's fields.
#[derive(Clone, Debug)]
pub struct Origins {
    /// Where the record begins.
    record: Place,
    /// Paths within the record, as `areas[0].surface`, and where each was written.
    fields: Vec<(String, Place)>,
}

impl Origins {
    /// The origins of a record that begins at a place.
    pub fn new(record: Place) -> Self {
        Self {
            record,
            fields: Vec::new(),
        }
    }

    /// Keeps where a field was written.
    pub fn put(&mut self, path: String, place: Place) {
        self.fields.push((path, place));
    }

    /// The record's own fields that were written, each named once, without the parts inside them.
    pub fn top_fields(&self) -> Vec<String> {
        let mut names: Vec<String> = self
            .fields
            .iter()
            .map(|(path, _)| path.split(['.', '[']).next().unwrap_or(path).to_owned())
            .collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Leads a fault that the server found back to where its field was written, or to the nearest thing around it.
    /// The server's paths begin with the kind of record, as `site.areas[0].surface`.
    pub fn fault(&self, field: &str, description: &str) -> Fault {
        let path = field.split_once('.').map_or("", |(_, path)| path);
        let mut around = path;
        loop {
            if let Some((_, place)) = self.fields.iter().find(|(known, _)| known == around) {
                let beyond = path
                    .get(around.len()..)
                    .unwrap_or("")
                    .trim_start_matches('.');
                return Fault::new(place.clone(), said(beyond, description));
            }
            match around.rfind(['.', '[']) {
                Some(cut) => around = around.get(..cut).unwrap_or(""),
                None => return Fault::new(self.record.clone(), said(path, description)),
            }
        }
    }
}

/// A description, with the field before it where the place alone does not tell it.
fn said(field: &str, description: &str) -> String {
    if field.is_empty() {
        description.to_owned()
    } else {
        format!("{field}: {description}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    #[test]
    fn server_faults_find_their_cell_row_or_record() {
        let sites: Arc<str> = "sites.csv".into();
        let areas: Arc<str> = "areas.csv".into();
        let mut origins = Origins::new(Place::line(&sites, 2));
        let cell = Place {
            column_number: 4,
            column: "surface".into(),
            ..Place::line(&areas, 7)
        };
        origins.put("areas[0]".into(), Place::line(&areas, 7));
        origins.put("areas[0].surface".into(), cell.clone());

        let exact = origins.fault("site.areas[0].surface", "must be positive");
        assert_eq!(exact, Fault::new(cell, "must be positive"));
        let row = origins.fault("site.areas[0].length", "is missing");
        assert_eq!(
            row,
            Fault::new(Place::line(&areas, 7), "length: is missing")
        );
        let record = origins.fault("site.address", "is too long");
        assert_eq!(
            record,
            Fault::new(Place::line(&sites, 2), "address: is too long")
        );
        assert_eq!(origins.fault("site", "exists").reason, "exists");
        assert_eq!(origins.top_fields(), ["areas"]);
    }
}
