//! Sites that cannot be.

use forenoon_proto::v1::{Area, CreateSiteRequest, Length, Site, length};
use forenoon_tests::actors::request_id;
use forenoon_tests::database::Database;
use forenoon_tests::make::{metres, place, square_metres, time};
use forenoon_tests::on_both;
use forenoon_tests::small_branch::{BRANCH, sites};

use super::{Case, check, small_branch};

on_both!(faulty_sites_are_refused);

const CASES: &[Case<CreateSiteRequest>] = &[
    Case::new("no id", &[("site_id", "REQUIRED")], |request| {
        request.site_id.clear();
    }),
    Case::new("no name", &[("site.display_name", "REQUIRED")], |request| {
        of(request).display_name.clear();
    }),
    Case::new(
        "an address that is too long",
        &[("site.address", "TOO_LONG")],
        |request| {
            of(request).address = "a".repeat(501);
        },
    ),
    Case::new(
        "a note that is too long",
        &[("site.access_note", "TOO_LONG")],
        |request| {
            of(request).access_note = "n".repeat(2_001);
        },
    ),
    Case::new("nowhere", &[("site.location", "REQUIRED")], |request| {
        of(request).location = None;
    }),
    Case::new(
        "beyond the date line",
        &[("site.location.longitude", "OUT_OF_RANGE")],
        |request| {
            of(request).location = Some(place(41.2, 180.5));
        },
    ),
    Case::new(
        "a place without number",
        &[("site.location.latitude", "OUT_OF_RANGE")],
        |request| {
            of(request).location = Some(place(f64::INFINITY, -92.8));
        },
    ),
    Case::new(
        "a negative lawn",
        &[("site.areas[0].surface", "OUT_OF_RANGE")],
        |request| {
            area(request).surface = Some(square_metres(-10.0));
        },
    ),
    Case::new(
        "an absurd lawn",
        &[("site.areas[0].surface", "OUT_OF_RANGE")],
        |request| {
            area(request).surface = Some(square_metres(1.0e12));
        },
    ),
    Case::new(
        "a lawn without size",
        &[("site.areas[0].surface", "REQUIRED")],
        |request| {
            area(request).surface = None;
        },
    ),
    Case::new(
        "a gate without a unit",
        &[("site.areas[0].narrowest_gate", "REQUIRED")],
        |request| {
            area(request).narrowest_gate = Some(Length { value: None });
        },
    ),
    Case::new(
        "a negative gate",
        &[("site.areas[0].narrowest_gate", "OUT_OF_RANGE")],
        |request| {
            area(request).narrowest_gate = Some(metres(-0.7));
        },
    ),
    Case::new(
        "a gate that is no number",
        &[("site.areas[0].narrowest_gate", "OUT_OF_RANGE")],
        |request| {
            area(request).narrowest_gate = Some(Length {
                value: Some(length::Value::Feet(f64::NAN)),
            });
        },
    ),
    Case::new(
        "a slope beyond measure",
        &[("site.areas[0].slope_percent", "OUT_OF_RANGE")],
        |request| {
            area(request).slope_percent = 201.0;
        },
    ),
    Case::new(
        "an area of no kind",
        &[("site.areas[0].kind", "REQUIRED")],
        |request| {
            area(request).kind = 0;
        },
    ),
    Case::new(
        "an area without id, in which a hazard lies",
        &[
            ("site.areas[0].area_id", "REQUIRED"),
            ("site.hazards[0].area_id", "UNKNOWN_REFERENCE"),
        ],
        |request| {
            area(request).area_id.clear();
        },
    ),
    Case::new(
        "two areas of one id",
        &[("site.areas[1].area_id", "DUPLICATE")],
        |request| {
            let again = area(request).clone();
            of(request).areas.push(again);
        },
    ),
    Case::new(
        "a hazard without words",
        &[("site.hazards[0].description", "REQUIRED")],
        |request| {
            of(request).hazards[0].description.clear();
        },
    ),
    Case::new(
        "a hazard in no area",
        &[("site.hazards[0].area_id", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).hazards[0].area_id = "cellar".to_owned();
        },
    ),
    Case::new(
        "an hour that is none",
        &[("site.quiet_until", "OUT_OF_RANGE")],
        |request| {
            of(request).quiet_until = Some(time(24, 30));
        },
    ),
    Case::new(
        "a phone number that is too long",
        &[("site.contact.phone", "TOO_LONG")],
        |request| {
            of(request).contact.get_or_insert_default().phone = "5".repeat(41);
        },
    ),
];

fn of(request: &mut CreateSiteRequest) -> &mut Site {
    request.site.as_mut().expect("a site")
}

fn area(request: &mut CreateSiteRequest) -> &mut Area {
    &mut of(request).areas[0]
}

async fn faulty_sites_are_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let with_a_hazard = sites()
        .into_iter()
        .find(|site| !site.hazards.is_empty())
        .expect("a site with a hazard");
    let sound = CreateSiteRequest {
        parent: BRANCH.to_owned(),
        site_id: "probe".to_owned(),
        site: Some(with_a_hazard),
        request_id: request_id(),
    };
    check(&api, &sound, CASES, async |request| {
        api.sites().create_site(request).await
    })
    .await;
}
