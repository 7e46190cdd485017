//! Driving times that a caller supplies: sound ones are driven by, others are refused.

use forenoon_proto::v1::{PlanDayRequest, TravelMatrix};
use forenoon_tests::actors::request_id;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, day, sites};

use super::{Case, check, small_branch};

on_both!(supplied_drives_are_driven_by_or_refused);

/// A drive that no travel rule of a town would give.
const DRIVE_SECONDS: i32 = 777;

/// The yard and every site of the small branch, all as far from each other.
fn sound(names: Vec<String>) -> PlanDayRequest {
    let places: Vec<String> = std::iter::once(BRANCH.to_owned()).chain(names).collect();
    let rows = places.len();
    let seconds = (0..rows * rows)
        .map(|at| {
            if at / rows == at % rows {
                0
            } else {
                DRIVE_SECONDS
            }
        })
        .collect();
    PlanDayRequest {
        confidence_percent: 0,
        meetings: false,
        parent: BRANCH.to_owned(),
        day: Some(day()),
        seed: 5,
        iterations: 500,
        time_limit: None,
        request_id: request_id(),
        travel_matrix: Some(TravelMatrix { places, seconds }),
        heat: None,
    }
}

fn matrix(request: &mut PlanDayRequest) -> &mut TravelMatrix {
    request.travel_matrix.get_or_insert_default()
}

async fn supplied_drives_are_driven_by_or_refused(database: Database) {
    let (_server, api): (Server, _) = small_branch(&database).await;
    let listed = api
        .sites()
        .list_sites(forenoon_proto::v1::ListSitesRequest {
            parent: BRANCH.to_owned(),
            page_size: 0,
            page_token: String::new(),
        })
        .await
        .expect("the sites are listed")
        .into_inner()
        .sites;
    assert_eq!(listed.len(), sites().len());
    let request = sound(listed.into_iter().map(|site| site.name).collect());
    let cases: [Case<PlanDayRequest>; 6] = [
        Case::new(
            "too few entries",
            &[("travel_matrix.seconds", "MALFORMED")],
            |request| {
                matrix(request).seconds.pop();
            },
        ),
        Case::new(
            "a negative drive",
            &[("travel_matrix.seconds[1]", "OUT_OF_RANGE")],
            |request| matrix(request).seconds[1] = -2,
        ),
        Case::new(
            "a drive of more than a day",
            &[("travel_matrix.seconds[1]", "OUT_OF_RANGE")],
            |request| matrix(request).seconds[1] = 86_401,
        ),
        Case::new(
            "a way from a place to itself",
            &[("travel_matrix.seconds[0]", "OUT_OF_RANGE")],
            |request| matrix(request).seconds[0] = 1,
        ),
        Case::new(
            "a place named twice",
            &[("travel_matrix.places[1]", "DUPLICATE")],
            |request| matrix(request).places[1] = BRANCH.to_owned(),
        ),
        Case::new(
            "a place that is none",
            &[("travel_matrix.places[1]", "MALFORMED")],
            |request| matrix(request).places[1] = format!("{BRANCH}/units/x"),
        ),
    ];
    check(
        &api,
        &request,
        &cases,
        async |mut request: PlanDayRequest| {
            request.request_id = request_id();
            api.plans().plan_day(request).await
        },
    )
    .await;
    let plan = api
        .plans()
        .plan_day(request)
        .await
        .expect("the day is planned")
        .into_inner()
        .plan
        .expect("a plan");
    let drives: Vec<i64> = plan
        .crew_days
        .iter()
        .flat_map(|day| &day.stops)
        .filter_map(|stop| stop.drive.as_ref())
        .map(|drive| drive.seconds)
        .collect();
    assert!(!drives.is_empty());
    assert!(
        drives
            .iter()
            .all(|drive| *drive == 0 || *drive == i64::from(DRIVE_SECONDS)),
        "{drives:?}"
    );
    assert!(drives.contains(&i64::from(DRIVE_SECONDS)));
}
