//! Points on the ground, between wire and domain.

use forenoon_proto::google::r#type::LatLng;
use forenoon_store::value::Place;

use super::checks::{Checked, Checks};

/// A point as the wire has it.
pub(crate) fn lat_lng(place: Place) -> LatLng {
    let Place {
        latitude,
        longitude,
    } = place;
    LatLng {
        latitude,
        longitude,
    }
}

impl Checks {
    /// A point with sound coordinates; none where absent.
    pub(crate) fn place(&mut self, field: &str, value: Option<LatLng>) -> Checked<Option<Place>> {
        let Some(LatLng {
            latitude,
            longitude,
        }) = value
        else {
            return Some(None);
        };
        self.within(field, |checks| {
            let latitude = checks.number("latitude", latitude, -90.0..=90.0);
            let longitude = checks.number("longitude", longitude, -180.0..=180.0);
            Some(Some(Place {
                latitude: latitude?,
                longitude: longitude?,
            }))
        })
    }

    /// A point that must be given.
    pub(crate) fn required_place(&mut self, field: &str, value: Option<LatLng>) -> Option<Place> {
        let place = self.place(field, value)?;
        self.required(field, place)
    }
}
