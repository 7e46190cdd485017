//! Two crews meet on the road, and one takes a unit over.

use forenoon_proto::v1;

use forenoon_store::entity::{branch, job, unit, worker};
use forenoon_store::sea_orm::{
    ActiveModelTrait, ColumnTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, QueryFilter,
    Set,
};
use forenoon_store::value::{DayTimes, Words};
use forenoon_store::{StoreError, Write};

use crate::actors::{Api, asking, date};
use crate::house::{House, on_both};
use crate::mowing_yard::{BRANCH, ID, first_day, furnish};

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
                day: Some(date(first_day())),
                cause: "it is so".into(),
                seed: 1,
                iterations: 1,
                ..Default::default()
            };
            let answer = api.plans.propose_replan(asking(request)).await;
            let proposals = answer.expect("proposals").into_inner().proposals;
            let holds = proposals
                .iter()
                .filter_map(|one| one.plan.as_ref())
                .any(|plan| {
                    let day = plan.crew_days.iter().find(|day| day.crew == *holder);
                    // A meeting that is over stays on the record of the day; one that is not is kept.
                    let is_over = |call: &v1::YardCall| {
                        let left = call.leave_time.as_ref();
                        left.is_some_and(|left| left.seconds <= at.timestamp())
                    };
                    let hands_on = |call: &v1::YardCall| call.unload.contains(&unit);
                    day.is_some_and(|day| {
                        let calls = &day.yard_calls;
                        day.load_out.contains(&unit)
                            && calls.iter().all(|call| is_over(call) || hands_on(call))
                    })
                });
            assert!(holds, "{unit} is not with {holder} at {at}");
        }
    })
    .await;
}

/// The yard is far from two lawns, there is one mower, and each lawn has a crew of its own and its time of day.
struct FarOut;

impl Write for FarOut {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let yard = branch::ActiveModel {
            id: Set(ID.into()),
            yard_latitude: Set(40.95),
            ..Default::default()
        };
        yard.update(transaction).await?;
        unit::Entity::delete_many()
            .filter(unit::Column::Id.is_in(["m-2", "m-3", "m-4", "m-5", "m-6", "m-7"]))
            .exec(transaction)
            .await?;
        let lawns = ["weekly-0", "weekly-1"];
        job::Entity::delete_many()
            .filter(job::Column::Id.is_not_in(lawns))
            .exec(transaction)
            .await?;
        for (lawn, lead, hours) in [
            (lawns[0], "lead-ash", [7, 10]),
            (lawns[1], "lead-birch", [9, 11]),
        ] {
            let skills = Words(vec![lead.to_owned()]);
            let person = worker::Entity::find_by_id((ID.to_owned(), lead.to_owned()));
            let mut person = person
                .one(transaction)
                .await?
                .expect("a worker")
                .into_active_model();
            person.skills = Set(skills.clone());
            person.update(transaction).await?;
            let wanted = job::Entity::find_by_id((ID.to_owned(), lawn.to_owned()));
            let row = wanted.one(transaction).await?.expect("a job");
            let mut windows = row.windows.clone();
            windows.0[0].times = vec![DayTimes {
                start_second_of_day: hours[0] * 3_600,
                end_second_of_day: hours[1] * 3_600,
            }];
            let mut row = row.into_active_model();
            row.skills = Set(skills);
            row.windows = Set(windows);
            row.update(transaction).await?;
        }
        Ok(())
    }
}

/// Guards meetings of the morning's plan: asked for, two crews meet in place of a long way to the yard; both days and the
/// mower's shares tell of it, and it is published as it is. Not asked for, nobody meets.
#[tokio::test]
async fn a_plan_has_crews_meet_where_it_is_asked_to() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        house.database.write(ID, &FarOut).await.expect("far out");
        let mut api = Api::of(house);
        let apart = api.plan(first_day(), 2_000).await.expect("a plan");
        assert!(taker(&apart).is_none());
        let request = v1::PlanDayRequest {
            parent: BRANCH.into(),
            day: Some(date(first_day())),
            seed: 1,
            iterations: 2_000,
            meetings: true,
            ..Default::default()
        };
        let answer = api.plans.plan_day(asking(request)).await.expect("a plan");
        let plan = answer.into_inner().plan.expect("a plan");
        let mower = format!("{BRANCH}/units/m-1");
        let (crew, call) = taker(&plan).expect("two crews meet");
        assert!(crew.crew.ends_with("/birch") && call.with_crew.ends_with("/ash"));
        assert!(call.load.contains(&mower) && !call.site.is_empty());
        let shared = crew.shared_units.iter().find(|one| one.unit == mower);
        let shared = shared.expect("the mower is shared");
        assert_eq!(shared.from_crew, call.with_crew);
        assert_eq!(shared.from_time, call.leave_time);
        api.publish(plan.name.clone()).await.expect("published");
        let request = v1::GetPlanRequest {
            name: plan.name.clone(),
        };
        let kept = api.plans.get_plan(asking(request)).await.expect("kept");
        let kept = kept.into_inner().plan.expect("a plan");
        assert_eq!(taker(&kept).map(|(_, call)| call), Some(call));
    })
    .await;
}
