//! Two crews meet on the road, and one takes a unit over.

use forenoon_proto::v1;

use crate::actors::{Api, asking};
use crate::house::{House, on_both};
use crate::mowing_yard::{BRANCH, first_day, furnish};

/// A crew that takes a unit over, and its call.
fn taker(plan: &v1::Plan) -> Option<(&v1::CrewDay, &v1::YardCall)> {
    plan.crew_days.iter().find_map(|crew| {
        let meets = |call: &&v1::YardCall| !call.with_crew.is_empty() && !call.load.is_empty();
        let call = crew.yard_calls.iter().find(meets)?;
        Some((crew, call))
    })
}

/// Takes a mower that is aboard out at one time of day after the other, until a meeting is among the proposals.
async fn proposal_to_meet(house: &House, api: &mut Api) -> Option<(v1::Proposal, String)> {
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    for time in ["13:10", "14:10", "15:10"] {
        house.set_clock(&format!("{}T{time}:00Z", first_day()));
        let aboard = plan.crew_days.iter().flat_map(|crew| &crew.load_out);
        for unit in aboard.filter(|unit| unit.contains("/units/m-")) {
            let id = unit.rsplit('/').next().expect("an id");
            let tag = api.tag(id).await.expect("tagged");
            let proposals = api.propose(first_day(), 100).await.expect("proposals");
            let meets =
                |one: &v1::Proposal| one.plan.as_ref().is_some_and(|plan| taker(plan).is_some());
            if let Some(found) = proposals.into_iter().find(meets) {
                return Some((found, unit.clone()));
            }
            api.mend(&tag.name).await.expect("mended");
        }
    }
    None
}

/// Guards meetings: the two crews' days name each other, the place and the times; the unit is not the one that is out and
/// is the taker's; title and changes tell of it. Once accepted, a plan made before they have met still has the unit with
/// the giver, and one made after it with the taker.
#[tokio::test]
async fn a_crew_meets_another_and_takes_a_mower_over() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let (proposal, out) = proposal_to_meet(house, &mut api)
            .await
            .expect("somewhere two crews meet");
        let plan = proposal.plan.expect("its plan");
        let (crew, call) = taker(&plan).expect("a taker");
        let giver = plan
            .crew_days
            .iter()
            .find(|other| other.crew == call.with_crew)
            .expect("the giver");
        let mirrored = giver.yard_calls.first().expect("its call");
        assert_eq!(mirrored.with_crew, crew.crew);
        assert_eq!(mirrored.unload, call.load);
        assert_eq!(mirrored.leave_time, call.leave_time);
        assert_eq!(mirrored.site, call.site);
        assert!(!call.load.contains(&out));
        assert!(call.load.iter().all(|unit| crew.load_out.contains(unit)));
        assert!(proposal.title.contains(" meets "), "{}", proposal.title);
        let told = |change: &v1::PlanChange| {
            change.text.contains(" meets ") && change.to_crew == crew.crew
        };
        assert!(proposal.changes.iter().any(told), "{:?}", proposal.changes);
        let (crew, giver, unit) = (crew.crew.clone(), giver.crew.clone(), call.load[0].clone());
        let met = call.leave_time.expect("a time");
        api.accept(plan.name).await.expect("accepted");
        for (seconds, holder) in [(-60, &giver), (60, &crew)] {
            let at = house.set_clock_after(met, seconds);
            let request = v1::ProposeReplanRequest {
                parent: BRANCH.into(),
                day: Some(crate::actors::date(first_day())),
                cause: "it is so".into(),
                seed: 1,
                iterations: 1,
                ..Default::default()
            };
            let answer = api.plans.propose_replan(asking(request)).await;
            let proposals = answer.expect("proposals").into_inner().proposals;
            let keeps = proposals
                .iter()
                .filter_map(|one| one.plan.as_ref())
                .any(|plan| {
                    let day = plan.crew_days.iter().find(|day| day.crew == *holder);
                    // A meeting that is over stays on the record of the day.
                    let over = |call: &v1::YardCall| {
                        let left = call.leave_time.as_ref();
                        left.is_some_and(|left| left.seconds <= at.timestamp())
                    };
                    day.is_some_and(|day| {
                        day.load_out.contains(&unit) && day.yard_calls.iter().all(over)
                    })
                });
            assert!(keeps, "{unit} is not with {holder} at {at}");
        }
    })
    .await;
}
