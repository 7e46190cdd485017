//! `hazard`: something found on a site, for every later sheet.

use forenoon_proto::v1;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::cells::site::site as cells;
use crate::parse::number;

/// How `hazard` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  forenoon hazard alder \"steel pipe sticks out by the west gate\" --area back\n  \
                        forenoon hazard weld \"broken glass along the fence\" --at 41.5412,-90.5101"
)]
pub struct Args {
    /// The site, by id
    #[arg(value_name = "SITE")]
    site: String,
    /// What it is and where
    #[arg(value_name = "WORDS")]
    words: String,
    /// The area it lies in, by id
    #[arg(
        long,
        value_name = "AREA",
        default_value = "",
        hide_default_value = true
    )]
    area: String,
    /// Where it is
    #[arg(long, value_name = "LATITUDE,LONGITUDE", value_parser = point, allow_hyphen_values = true)]
    at: Option<forenoon_proto::google::r#type::LatLng>,
}

/// Reads a point: `41.54,-90.51`.
pub(super) fn point(text: &str) -> Result<forenoon_proto::google::r#type::LatLng, String> {
    let (latitude, longitude) = text
        .split_once(',')
        .ok_or_else(|| format!("\"{text}\" is not a point; write it like 41.54,-90.51"))?;
    Ok(forenoon_proto::google::r#type::LatLng {
        latitude: number(latitude)?,
        longitude: number(longitude)?,
    })
}

pub(super) async fn run(desk: &Desk, args: Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let name = desk.name(Collection::Sites, &args.site);
    let answer = desk.link.get_site(v1::GetSiteRequest { name }).await?;
    let mut site = answer.site.unwrap_or_default();
    let hazard_id = free_id(&site.hazards);
    site.hazards.push(v1::Hazard {
        hazard_id: hazard_id.clone(),
        description: args.words,
        location: args.at,
        area_id: args.area,
    });
    let request = v1::UpdateSiteRequest {
        site: Some(site),
        update_mask: Some(prost_types::FieldMask {
            paths: vec!["hazards".to_owned()],
        }),
        request_id: request_id(),
    };
    let site = desk
        .link
        .update_site(request)
        .await?
        .site
        .unwrap_or_default();
    desk.screen.answer(
        &site,
        || cells(&site).grid(),
        |_| {
            format!(
                "{hazard_id} added; every later sheet for {} shows it\n",
                site.display_name
            )
        },
    )
}

/// The first of `h-1`, `h-2` and so on that is not taken.
fn free_id(hazards: &[v1::Hazard]) -> String {
    let mut number = hazards.len() + 1;
    loop {
        let id = format!("h-{number}");
        if hazards.iter().all(|hazard| hazard.hazard_id != id) {
            return id;
        }
        number += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn new_hazards_get_a_free_id() {
        let hazard = |id: &str| v1::Hazard {
            hazard_id: id.into(),
            ..v1::Hazard::default()
        };
        assert_eq!(free_id(&[]), "h-1");
        assert_eq!(free_id(&[hazard("pipe"), hazard("h-3")]), "h-4");
    }

    #[test]
    fn points_are_two_numbers() {
        let read = point("41.5, -90.25").unwrap();
        assert!((read.longitude + 90.25).abs() < 1e-12);
        assert!(point("41.5").is_err());
        assert!(point("north,west").is_err());
        assert!(point("41,5,-90,25").is_err(), "decimal commas");
    }
}
