//! Places on land: where latitude and longitude are both zero is open sea, and in practice a record
//! whose coordinates were left out.

use forenoon_proto::google::r#type::LatLng;
use forenoon_store::value::Place;

use crate::work::Reason;

use super::checks::{Checked, Checks};

impl Checks {
    /// A place on land; none where absent.
    pub(crate) fn land(&mut self, field: &str, value: Option<LatLng>) -> Checked<Option<Place>> {
        let place = self.place(field, value)?;
        // Exactly zero, as an empty message reads.
        if place.is_some_and(|place| place.latitude == 0.0 && place.longitude == 0.0) {
            return self.fault(
                field,
                Reason::OutOfRange,
                "is 0, 0, which is open sea; give latitude and longitude, or leave it out",
            );
        }
        Some(place)
    }

    /// A place on land that must be given.
    pub(crate) fn required_land(&mut self, field: &str, value: Option<LatLng>) -> Option<Place> {
        let place = self.land(field, value)?;
        self.required(field, place)
    }
}
