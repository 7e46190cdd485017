//! What people are exposed to, on a page.

use forenoon_proto::v1::{Exposure, ExposureStanding, HeatAdvice};

use super::clock::minutes;
use super::{paint, text};

/// Columns for a tool's name.
const NAME_WIDTH: usize = 34;

/// The exposure in words, in the colour of its standing.
pub(super) fn words(first: &str, exposure: &Exposure, width: usize) -> Vec<String> {
    let colour: fn(&str) -> String = match exposure.standing() {
        ExposureStanding::OverLimit => paint::alarm,
        ExposureStanding::Action => paint::heed,
        ExposureStanding::Below | ExposureStanding::Unspecified => str::to_owned,
    };
    text::hanging(first, &exposure.text, width)
        .iter()
        .map(|line| colour(line))
        .collect()
}

/// The tools with their figures, and the caution that goes with them.
pub(super) fn working(exposure: &Exposure, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = exposure
        .parts
        .iter()
        .map(|part| {
            format!(
                "    {}{:>4} min  {:>5.1} dBA  {:>4.1} m/s2  {:>5.1} % of the limit",
                text::fit(&part.display_name, NAME_WIDTH),
                minutes(part.run_time.as_ref()),
                part.noise_dba,
                part.vibration,
                part.limit_share_percent,
            )
        })
        .collect();
    lines.push(format!(
        "    noise {:.1} % of a day by the regulation, {:.1} % by the recommendation; vibration {:.0} points",
        exposure.regulation_dose_percent,
        exposure.recommendation_dose_percent,
        exposure.vibration_points,
    ));
    let caution = text::hanging("    ", &exposure.caution, width);
    lines.extend(caution.iter().map(|line| paint::faint(line)));
    lines
}

/// What the weather means.
pub(super) fn heat(first: &str, advice: &HeatAdvice, width: usize) -> Vec<String> {
    text::hanging(first, &advice.text, width)
        .iter()
        .map(|line| paint::heed(line))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use forenoon_proto::v1::ExposurePart;

    #[test]
    fn figures_and_caution_stand_together() {
        let exposure = Exposure {
            text: "Each of 2 taking turns: noise 62 % of a day's dose, limit 100.".to_owned(),
            caution: "For planning only.".to_owned(),
            regulation_dose_percent: 62.0,
            recommendation_dose_percent: 240.5,
            vibration_points: 88.0,
            parts: vec![ExposurePart {
                display_name: "Line head 2".to_owned(),
                run_time: Some(prost_types::Duration {
                    seconds: 48 * 60,
                    nanos: 0,
                }),
                noise_dba: 96.0,
                vibration: 5.0,
                limit_share_percent: 41.25,
                ..ExposurePart::default()
            }],
            ..Exposure::default()
        };
        let lines = working(&exposure, 100).join("\n");
        for expected in [
            "Line head 2",
            "48 min",
            "96.0 dBA",
            "41.2 % of the limit",
            "240.5 % by the recommendation",
            "88 points",
            "For planning only.",
        ] {
            assert!(lines.contains(expected), "{lines}");
        }
    }
}
