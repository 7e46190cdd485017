//! What the tags of a way say about driving on it.
//!
//! The tags are those of the OpenStreetMap Wiki, pages "Key:highway", "Key:oneway", "Key:access", "Key:maxspeed".

/// Directions in which a way may be driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Direction {
    /// Both.
    Both,
    /// As drawn.
    Forward,
    /// Against the drawing.
    Backward,
}

/// A way that a truck may drive on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Road {
    pub(crate) metres_per_hour: u32,
    pub(crate) direction: Direction,
}

const METRES_PER_MILE: f64 = 1_609.344;

/// Slowest and quickest speed believed, metres per hour.
const SPEEDS: (f64, f64) = (3_000.0, 140_000.0);

/// Usual speed of a kind of road, miles per hour; `None` for what is not driven on. Common practice, no source.
fn usual_miles_per_hour(highway: &str) -> Option<u32> {
    Some(match highway {
        "motorway" => 65,
        "trunk" => 55,
        "primary" | "motorway_link" => 45,
        "secondary" | "trunk_link" => 40,
        "tertiary" | "unclassified" | "primary_link" | "secondary_link" | "tertiary_link" => 35,
        "residential" | "road" => 25,
        "service" => 12,
        "living_street" | "track" => 10,
        _ => return None,
    })
}

/// A posted speed in metres per hour: a number of kilometres per hour, or one with the unit `mph` or `km/h`.
fn posted(text: &str) -> Option<f64> {
    let text = text.trim();
    let (number, unit) = match text.strip_suffix("mph") {
        Some(number) => (number, METRES_PER_MILE),
        None => (text.strip_suffix("km/h").unwrap_or(text), 1_000.0),
    };
    let speed = number.trim().parse::<f64>().ok()? * unit;
    (SPEEDS.0..=SPEEDS.1).contains(&speed).then_some(speed)
}

/// Reads the tags of a way; `None` when a truck may not drive on it.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "speeds lie between the bounds of SPEEDS"
)]
pub(crate) fn road<'t>(tags: impl Iterator<Item = (&'t str, &'t str)>) -> Option<Road> {
    let (mut highway, mut speed, mut oneway, mut round) = (None, None, None, false);
    let (mut area, mut access, mut vehicle, mut motor) = (false, None, None, None);
    for (key, value) in tags {
        match key {
            "highway" => highway = Some(value),
            "maxspeed" => speed = posted(value),
            "oneway" => oneway = Some(value),
            "junction" => round = matches!(value, "roundabout" | "circular"),
            "area" => area = value == "yes",
            "access" => access = Some(value),
            "vehicle" => vehicle = Some(value),
            "motor_vehicle" => motor = Some(value),
            _ => {}
        }
    }
    let highway = highway?;
    let usual = usual_miles_per_hour(highway)?;
    // The more special rule goes before the more general one.
    let barred = matches!(motor.or(vehicle).or(access), Some("no" | "private"));
    if area || barred {
        return None;
    }
    let direction = match oneway {
        Some("yes" | "true" | "1") => Direction::Forward,
        Some("-1" | "reverse") => Direction::Backward,
        None if round || highway == "motorway" => Direction::Forward,
        _ => Direction::Both,
    };
    let metres_per_hour = speed.unwrap_or(f64::from(usual) * METRES_PER_MILE);
    Some(Road {
        metres_per_hour: metres_per_hour.round() as u32,
        direction,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(tags: &[(&str, &str)]) -> Option<Road> {
        road(tags.iter().copied())
    }

    /// Guards the reading of speeds and directions: a wrong unit or a reversed one-way street sends crews astray.
    #[test]
    fn tags_are_read_as_the_wiki_says() {
        let both = |speed| {
            Some(Road {
                metres_per_hour: speed,
                direction: Direction::Both,
            })
        };
        assert_eq!(
            read(&[("highway", "primary"), ("maxspeed", "30 mph")]),
            both(48_280)
        );
        assert_eq!(
            read(&[("maxspeed", "50"), ("highway", "primary")]),
            both(50_000)
        );
        assert_eq!(
            read(&[("highway", "residential"), ("maxspeed", "walk")]),
            both(40_234)
        );
        for (key, value, direction) in [
            ("oneway", "yes", Direction::Forward),
            ("oneway", "-1", Direction::Backward),
            ("junction", "roundabout", Direction::Forward),
            ("oneway", "no", Direction::Both),
        ] {
            let road = read(&[("highway", "tertiary"), (key, value)]);
            assert_eq!(
                road.map(|road| road.direction),
                Some(direction),
                "{key}={value}"
            );
        }
        for barred in [
            &[("highway", "footway")][..],
            &[("building", "yes")],
            &[("highway", "service"), ("access", "private")],
            &[("highway", "service"), ("area", "yes")],
            &[
                ("highway", "service"),
                ("access", "yes"),
                ("motor_vehicle", "no"),
            ],
        ] {
            assert_eq!(read(barred), None, "{barred:?}");
        }
        assert!(
            read(&[
                ("highway", "service"),
                ("access", "private"),
                ("motor_vehicle", "yes")
            ])
            .is_some()
        );
    }
}
