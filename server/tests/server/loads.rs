//! Goal: what a crew did not load is known to the plans of the day, and so is who turns up after all.

use forenoon_proto::v1;
use forenoon_proto::v1::disruption::Disruption as One;
use tonic::Code;

use crate::actors::{Api, asking, date};
use crate::house::{faults, on_both, reason};
use crate::mowing_yard::{BRANCH, first_day, furnish, name};

/// Says what a crew has loaded for a plan.
async fn load(api: &mut Api, plan: &str, crew: &str, missing: &[&str]) -> bool {
    let request = v1::ConfirmLoadRequest {
        plan: plan.into(),
        crew: crew.into(),
        missing_units: missing.iter().map(|unit| (*unit).into()).collect(),
        ..Default::default()
    };
    let answer = api.visits.confirm_load(asking(request)).await;
    answer.expect("confirmed").into_inner().wants_replan
}

/// Proposes ways on after something happened.
async fn told(api: &mut Api, happened: Vec<One>) -> Result<Vec<v1::Proposal>, tonic::Status> {
    let request = v1::ProposeReplanRequest {
        parent: BRANCH.into(),
        day: Some(date(first_day())),
        cause: "it is so".into(),
        seed: 1,
        iterations: 100,
        disruptions: happened
            .into_iter()
            .map(|one| v1::Disruption {
                disruption: Some(one),
            })
            .collect(),
        ..Default::default()
    };
    let answer = api.plans.propose_replan(asking(request)).await?;
    Ok(answer.into_inner().proposals)
}

/// A crew that takes a mower along, and the mower.
fn with_mower(plan: &v1::Plan) -> (&String, &String) {
    let is_mower = |unit: &&String| unit.contains("/units/m-");
    plan.crew_days
        .iter()
        .find_map(|day| Some((&day.crew, day.load_out.iter().find(is_mower)?)))
        .expect("a crew with a mower")
}

/// Whoever has the unit in a plan has fetched it on the way.
fn is_fetched(plan: &v1::Plan, unit: &str) -> bool {
    let has = |units: &[String]| units.iter().any(|known| known == unit);
    let mut with = plan.crew_days.iter().filter(|day| has(&day.load_out));
    with.all(|day| day.yard_calls.iter().any(|call| has(&call.load)))
}

/// Guards a load that is short: a proposal made before it is stale, one made after it has the unit in the yard. A load from
/// which nothing is missing changes nothing.
#[tokio::test]
async fn what_a_crew_did_not_load_is_planned_with_as_in_the_yard() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        house.set_clock("2027-04-20T12:10:00Z");
        let (crew, mower) = with_mower(&plan);

        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let before = proposals[0].plan.clone().expect("its plan");
        assert!(!is_fetched(&before, mower));
        assert!(!load(&mut api, &plan.name, crew, &[]).await);
        let other = plan.crew_days.iter().find(|day| day.crew != *crew);
        assert!(!load(&mut api, &plan.name, &other.expect("a crew").crew, &[]).await);
        assert!(load(&mut api, &plan.name, crew, &[mower]).await);
        let refused = api.accept(before.name).await.expect_err("stale");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "DAY_CHANGED".into())
        );
        assert_eq!(refused.message().matches("load confirmed").count(), 1);

        for proposal in api.propose(first_day(), 100).await.expect("proposals") {
            let plan = proposal.plan.expect("its plan");
            assert!(is_fetched(&plan, mower), "{plan:?}");
        }
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let short = proposals[0].plan.clone().expect("its plan").name;
        load(&mut api, &plan.name, crew, &[]).await;
        let refused = api.accept(short).await.expect_err("it is aboard after all");
        assert_eq!(reason(&refused).1, "DAY_CHANGED");
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let full = proposals[0].plan.clone().expect("its plan");
        load(&mut api, &plan.name, &plan.crew_days[2].crew, &[]).await;
        api.accept(full.name).await.expect("nothing is missing");
    })
    .await;
}

/// Guards a crew that loads by a sheet of long before: what it lacks is known two plans later.
#[tokio::test]
async fn what_is_told_by_an_old_sheet_is_known_to_later_plans() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        for _ in 0..2 {
            let proposals = api.propose(first_day(), 100).await.expect("proposals");
            let best = proposals[0].plan.clone().expect("its plan");
            api.accept(best.name).await.expect("accepted");
        }
        house.set_clock("2027-04-20T12:10:00Z");
        let (crew, mower) = with_mower(&plan);
        assert!(load(&mut api, &plan.name, crew, &[mower]).await);
        for proposal in api.propose(first_day(), 100).await.expect("proposals") {
            let plan = proposal.plan.expect("its plan");
            assert!(is_fetched(&plan, mower), "{plan:?}");
        }
    })
    .await;
}

/// Guards people who turn up late: who was said to be absent stands on no sheet, and is planned with again once it is said
/// that they are there.
#[tokio::test]
async fn who_turns_up_after_all_is_planned_with_again() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let busy = |plan: &v1::Plan, crew: &str| {
            let mut days = plan.crew_days.iter();
            days.any(|day| day.crew == crew && !day.stops.is_empty())
        };
        let [ash, birch] = ["ash", "birch"].map(|crew| name("crews", crew));
        let hand = name("workers", "hand-birch");
        let absent = vec![
            One::AbsentCrew(ash.clone()),
            One::AbsentWorker(hand.clone()),
        ];
        let proposals = told(&mut api, absent).await.expect("proposals");
        let without = proposals[0].plan.clone().expect("its plan");
        assert!(!busy(&without, &ash) && busy(&without, &birch));
        let without = api.accept(without.name).await.expect("accepted");

        let request = v1::ListCrewSheetsRequest {
            plan: without.name,
            crew: birch.clone(),
        };
        let sheets = api.plans.list_crew_sheets(asking(request)).await;
        let sheets = sheets.expect("sheets").into_inner().crew_sheets;
        assert_eq!(sheets[0].worker_display_names, ["lead-birch"]);

        // The others have all the work by now, until they can't go on.
        let others = ["birch", "cedar"].map(|crew| One::AbsentCrew(name("crews", crew)));
        let nobody = told(&mut api, others.to_vec()).await.expect_err("no crew");
        assert_eq!(reason(&nobody).1, "NO_CREW");
        let mut present = vec![One::PresentCrew(ash.clone()), One::PresentWorker(hand)];
        present.extend(others);
        let proposals = told(&mut api, present).await.expect("proposals");
        let plan = proposals[0].plan.as_ref().expect("its plan");
        assert!(busy(plan, &ash) && !busy(plan, &birch));

        let both = vec![One::AbsentCrew(ash.clone()), One::PresentCrew(ash)];
        let refused = told(&mut api, both).await.expect_err("refused");
        assert_eq!(
            faults(&refused),
            [("disruptions".to_owned(), "CONFLICT".to_owned())]
        );
        let nothing = v1::WorkResumption { kinds: Vec::new() };
        let refused = told(&mut api, vec![One::WorkResumption(nothing)]).await;
        assert_eq!(
            faults(&refused.expect_err("refused")),
            [(
                "disruptions[0].work_resumption.kinds".to_owned(),
                "REQUIRED".to_owned()
            )]
        );
    })
    .await;
}
