//! Travel as the contract reckons it.

use forenoon_proto::google::r#type::LatLng;
use forenoon_proto::v1::TravelRule;

/// Mean radius of the earth, metres: International Union of Geodesy and Geophysics, R1 of the 1980 reference
/// system (6,371,008.8 m).
const EARTH_RADIUS_METRES: f64 = 6_371_008.8;

/// Great-circle distance in metres, by the haversine formula (Sinnott, "Virtues of the Haversine", 1984).
pub(super) fn great_circle_metres(from: &LatLng, to: &LatLng) -> f64 {
    let (from_latitude, to_latitude) = (from.latitude.to_radians(), to.latitude.to_radians());
    let half_latitude = (to_latitude - from_latitude) / 2.0;
    let half_longitude = (to.longitude - from.longitude).to_radians() / 2.0;
    let haversine = half_latitude.sin().powi(2)
        + from_latitude.cos() * to_latitude.cos() * half_longitude.sin().powi(2);
    2.0 * EARTH_RADIUS_METRES * haversine.sqrt().asin()
}

/// A drive in seconds: distance times the road factor at the speed, and the fixed seconds of every drive.
pub(super) fn drive_seconds(rule: &TravelRule, from: &LatLng, to: &LatLng) -> f64 {
    let metres = great_circle_metres(from, to) * rule.road_factor;
    let metres_per_second = rule.kilometres_per_hour / 3.6;
    metres / metres_per_second + f64::from(rule.seconds_per_stop)
}

#[test]
fn a_degree_of_a_meridian_is_as_long_as_published() {
    // Great circle on that sphere: pi * R / 180 = 111,195.1 m.
    let metres = great_circle_metres(
        &LatLng {
            latitude: 41.0,
            longitude: -92.0,
        },
        &LatLng {
            latitude: 42.0,
            longitude: -92.0,
        },
    );
    assert!((metres - 111_195.1).abs() < 0.1, "{metres}");
}

#[test]
fn a_drive_takes_its_road_and_its_stop() {
    let rule = TravelRule {
        road_factor: 1.5,
        kilometres_per_hour: 36.0,
        seconds_per_stop: 60,
    };
    let from = LatLng {
        latitude: 41.0,
        longitude: -92.0,
    };
    let to = LatLng {
        latitude: 41.01,
        longitude: -92.0,
    };
    // 1,111.951 m * 1.5 at 10 m/s is 166.8 s, and a minute.
    let seconds = drive_seconds(&rule, &from, &to);
    assert!((seconds - 226.8).abs() < 0.1, "{seconds}");
}
