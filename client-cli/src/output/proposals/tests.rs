//! Two ways to go on with the fixed day.

use forenoon_proto::v1::{Contact, CustomerCall, PlanChange};

use super::super::fixture;
use super::*;

fn proposal(revision: i32, change: PlanChange, cost_points: i64) -> Proposal {
    let mut plan = fixture::plan();
    plan.name = format!("branches/north/plans/2027-04-20-{revision}");
    if let Some(totals) = plan.totals.as_mut() {
        totals.cost_points = cost_points;
        totals.travel = fixture::minutes(95);
    }
    if change.kind() == PlanChangeKind::Dropped {
        plan.crew_days[1].stops.clear();
    }
    Proposal {
        plan: Some(plan),
        changes: vec![change],
        cause: "t-8: walk mower 36 shakes".into(),
        sites_to_phone: vec!["branches/north/sites/hill-school".into()],
        title: format!("way {revision}"),
        ..Proposal::default()
    }
}

fn ways() -> [Proposal; 2] {
    let change = |kind: PlanChangeKind, text: &str| PlanChange {
        kind: kind.into(),
        text: text.into(),
        job: "branches/north/jobs/j-school".into(),
        from_crew: "branches/north/crews/sedge".into(),
        shift: fixture::minutes(-40),
        ..PlanChange::default()
    };
    [
        proposal(
            3,
            change(
                PlanChangeKind::Crew,
                "Hill school goes from Sedge to Bluestem",
            ),
            4350,
        ),
        proposal(
            4,
            change(PlanChangeKind::Dropped, "Hill school leaves the day"),
            4900,
        ),
    ]
}

#[test]
fn proposals_stand_side_by_side_with_their_cost_and_calls() {
    let (ways, present) = (ways(), fixture::plan());
    let school = Site {
        display_name: "Hill school".into(),
        contact: Some(Contact {
            display_name: "Mr Dale".into(),
            phone: "555-0107".into(),
            ..Contact::default()
        }),
        ..Site::default()
    };
    let sites = BTreeMap::from([("branches/north/sites/hill-school".to_owned(), school)]);
    let all = Ways {
        proposals: &ways,
        present: Some(&present),
        sites: &sites,
        clock: fixture::CLOCK,
    };
    let page = anstream::adapter::strip_str(&page(&all, 90)).to_string();
    let squeezed: Vec<String> = page
        .lines()
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .collect();
    for line in [
        "2 ways to go on: t-8: walk mower 36 shakes",
        "what way 3 way 4",
        "leave the day 0 1",
        "change crew 1 0",
        "drive 1 h 35 (+15 min) 1 h 35 (+15 min)",
        "overtime 20 min (same) 20 min (same)",
        "cost points 4350 4900 (+550)",
        "A forenoon accept 2027-04-20-3",
        "crew Hill school goes from Sedge to Bluestem",
        "PHONE Hill school: Mr Dale, 555-0107, now at 07:20",
        "B forenoon accept 2027-04-20-4",
        "dropped Hill school leaves the day",
        "PHONE Hill school: Mr Dale, 555-0107, not that day",
    ] {
        assert!(
            squeezed.iter().any(|found| found == line),
            "missing {line:?} in\n{page}"
        );
    }
}

#[test]
fn missed_deadlines_stand_side_by_side() {
    let [keeps, mut misses] = ways();
    misses.missed_deadlines = vec!["branches/north/jobs/j-notice".into()];
    let all = Ways {
        proposals: &[keeps, misses],
        present: None,
        sites: &BTreeMap::new(),
        clock: fixture::CLOCK,
    };
    let page = anstream::adapter::strip_str(&page(&all, 90)).to_string();
    let told = |line: &str| line.split_whitespace().collect::<Vec<_>>().join(" ");
    let lines: Vec<String> = page.lines().map(told).collect();
    for line in ["deadlines missed 0 1", "deadline j-notice is missed"] {
        assert!(lines.iter().any(|found| found == line), "{line:?}\n{page}");
    }
}

#[test]
fn scripts_get_a_row_for_each_change() {
    assert_eq!(
        grid(&ways()[..1]).plain(),
        "2027-04-20-3\tcrew\tj-school\tsedge\t\t\t-40\tHill school goes from Sedge to Bluestem\n"
    );
}

#[test]
fn who_waits_for_a_meeting_is_phoned_beside_the_site() {
    let [mut way, _] = ways();
    let site = "branches/north/sites/hill-school";
    let call = |name: &str, text: &str| CustomerCall {
        site: site.into(),
        text: text.into(),
        contact: (!name.is_empty()).then(|| Contact {
            display_name: name.into(),
            ..Contact::default()
        }),
    };
    way.calls = vec![
        call("", "comes at 15:20 and not at 14:20"),
        call("the gardener", "there at 14:48, not by 14:45 as promised"),
    ];
    let sites = BTreeMap::from([(
        site.to_owned(),
        Site {
            display_name: "Hill school".into(),
            contact: Some(Contact {
                display_name: "the office".into(),
                ..Contact::default()
            }),
            ..Site::default()
        },
    )]);
    let all = Ways {
        proposals: &[way],
        present: None,
        sites: &sites,
        clock: fixture::CLOCK,
    };
    let page = anstream::adapter::strip_str(&page(&all, 90)).to_string();
    for line in [
        "  PHONE     Hill school: the office: comes at 15:20 and not at 14:20",
        "  PHONE     Hill school: the gardener: there at 14:48, not by 14:45 as promised",
    ] {
        assert!(
            page.lines().any(|found| found == line),
            "{line:?} in\n{page}"
        );
    }
}
