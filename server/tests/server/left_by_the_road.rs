//! Goal: what was left by the road with a tagged trailer comes back the same day: with the trailer once that is released, or where it
//! is told to have been moved; and nothing tagged goes out.
//! Method: a yard whose only mower rides on the trailer of one crew, which is tagged out at the first lawn.

use forenoon_proto::v1;
use forenoon_proto::v1::disruption::Disruption as One;
use forenoon_store::entity::{crew, job, unit, worker};
use forenoon_store::sea_orm::{
    ActiveModelTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, Set,
};
use forenoon_store::value::{Capabilities, Capability, JobState, TaskKind, UnitKind, Words};
use forenoon_store::{StoreError, Write};
use prost_types::Timestamp;

use crate::actors::{Api, asking, date};
use crate::house::{House, faults, on_both};
use crate::mowing_yard::{BRANCH, ID, first_day, furnish, name};

const MOWER: &str = "m-1";
const TRAILER: &str = "trailer-ash";

/// Leaves the yard one mower, for which only the trailer has room, and a lawn that birch blows off.
struct OneTrailer;

impl Write for OneTrailer {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let units = unit::Entity::find().all(transaction).await?;
        let truck = units.iter().find(|unit| unit.id == "truck-ash");
        let trailer = unit::Model {
            id: TRAILER.into(),
            display_name: "Ash's trailer".into(),
            serial_number: "LG-trailer".into(),
            kind: UnitKind::Trailer,
            capabilities: Capabilities(vec![Capability::Carrier]),
            carries_litres: 6_000.0,
            ..truck.expect("the truck").clone()
        };
        trailer.into_active_model().insert(transaction).await?;
        for unit in units {
            let is_other = unit.id.starts_with("m-") && unit.id != MOWER;
            let (is_mower, carries) = (unit.id == MOWER, unit.kind == UnitKind::Vehicle);
            let mut row = unit.into_active_model();
            row.retired = Set(is_other);
            if is_mower {
                row.load_space_litres = Set(3_000.0);
            }
            if carries {
                row.carries_litres = Set(300.0);
            }
            row.update(transaction).await?;
        }
        let key = (ID.to_owned(), "ash".to_owned());
        let ash = crew::Entity::find_by_id(key).one(transaction).await?;
        let mut row = ash.expect("the crew").into_active_model();
        row.trailer_id = Set(Some(TRAILER.into()));
        row.update(transaction).await?;
        let key = (ID.to_owned(), "lead-birch".to_owned());
        let lead = worker::Entity::find_by_id(key).one(transaction).await?;
        let mut row = lead.expect("the lead").into_active_model();
        row.skills = Set(Words(vec!["birch".into()]));
        row.update(transaction).await?;
        for job in job::Entity::find().all(transaction).await? {
            let mut tasks = job.tasks.clone();
            tasks.0.retain(|task| task.kind == TaskKind::BlowOff);
            let id = job.id.clone();
            let mut row = job.into_active_model();
            match id.as_str() {
                "weekly-0" | "weekly-1" | "weekly-2" => {}
                "weekly-8" => {
                    row.tasks = Set(tasks);
                    row.skills = Set(Words(vec!["birch".into()]));
                }
                _ => row.state = Set(JobState::Cancelled),
            }
            row.update(transaction).await?;
        }
        Ok(())
    }
}

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

fn moved(units: &[&str], crew: &str) -> One {
    let crew = match crew {
        "" => String::new(),
        crew => name("crews", crew),
    };
    One::UnitsMoved(v1::UnitsMoved {
        units: units.iter().map(|unit| name("units", unit)).collect(),
        crew,
    })
}

/// The crews that have a unit aboard at some time in a plan.
fn crews_with(plan: &v1::Plan, unit: &str) -> Vec<String> {
    let unit = name("units", unit);
    let with = plan.crew_days.iter().filter(|day| {
        let tasks = day.stops.iter().filter(|stop| !stop.fixed);
        let mut used = tasks
            .flat_map(|stop| &stop.tasks)
            .flat_map(|task| &task.units);
        day.load_out.contains(&unit) || used.any(|known| *known == unit)
    });
    with.map(|day| day.crew.clone()).collect()
}

fn plan_of(proposal: &v1::Proposal) -> &v1::Plan {
    proposal.plan.as_ref().expect("its plan")
}

/// The day under way: ash works at its first lawn, the trailer is tagged out, and a way on was accepted. Answers with the tag and
/// when ash began.
async fn left(house: &House, api: &mut Api) -> (v1::TagOut, Timestamp) {
    furnish(&house.database, &[]).await;
    let written = house.database.write(ID, &OneTrailer).await;
    written.expect("written");
    let plan = api.plan(first_day(), 300).await.expect("a plan");
    api.publish(plan.name.clone()).await.expect("published");
    assert_eq!(crews_with(&plan, MOWER), [name("crews", "ash")]);
    let mut days = plan.crew_days.iter();
    let ash = days.find(|day| day.crew == name("crews", "ash"));
    let first = &ash.expect("ash's day").stops[0];
    let begins = first.start_time.expect("a time");
    house.set_clock_after(begins, 0);
    api.start(&first.job, &name("crews", "ash"))
        .await
        .expect("begun");
    house.set_clock_after(begins, 300);
    let tag = api.tag(TRAILER).await.expect("tagged");
    let proposals = told(api, Vec::new()).await.expect("proposals");
    for proposal in &proposals {
        assert_eq!(crews_with(plan_of(proposal), TRAILER), [""; 0]);
        let mower = name("units", MOWER);
        let days = &plan_of(proposal).crew_days;
        assert!(days.iter().all(|day| !day.load_out.contains(&mower)));
    }
    let best = plan_of(&proposals[0]).name.clone();
    api.accept(best).await.expect("accepted");
    house.set_clock_after(begins, 420);
    (tag, begins)
}

/// Guards what stands by the road as long as nobody says otherwise: it is on no load-out, and the plan says where it is.
#[tokio::test]
async fn what_was_left_stays_out_and_is_told_of() {
    on_both(async |house| {
        let mut api = Api::of(house);
        left(house, &mut api).await;
        let proposals = told(&mut api, Vec::new()).await.expect("proposals");
        let mut reasons = Vec::new();
        for proposal in &proposals {
            let plan = plan_of(proposal);
            assert_eq!(crews_with(plan, TRAILER), [""; 0]);
            let mower = name("units", MOWER);
            let mut days = plan.crew_days.iter();
            assert!(days.all(|day| !day.load_out.contains(&mower)));
            let left = plan.unplanned_jobs.iter().flat_map(|job| &job.reasons);
            reasons.extend(left.map(|reason| reason.text.clone()));
        }
        let told =
            "was left with the trailer of ash and stays out until it is told to have been moved";
        assert!(
            reasons.iter().any(|text| text.contains(told)),
            "{reasons:?}"
        );
    })
    .await;
}

/// Guards a trailer that is mended where its crew works: it and the mower are aboard again.
#[tokio::test]
async fn a_released_trailer_brings_back_what_was_left_with_it() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let (tag, _) = left(house, &mut api).await;
        api.mend(&tag.name).await.expect("mended");
        let proposals = told(&mut api, Vec::new()).await.expect("proposals");
        let best = plan_of(&proposals[0]);
        for unit in [TRAILER, MOWER] {
            assert_eq!(crews_with(best, unit), [name("crews", "ash")], "{unit}");
        }
        let mut days = best.crew_days.iter();
        assert!(days.all(|day| day.yard_calls.is_empty()), "{best:?}");
    })
    .await;
}

/// Guards what is told to have been moved: the crew has it aboard in this plan and in those after it, the trailer stays out, and
/// the plan's record says what was told.
#[tokio::test]
async fn what_was_moved_goes_on_with_the_crew_that_has_it() {
    on_both(async |house| {
        let mut api = Api::of(house);
        let (_, begins) = left(house, &mut api).await;
        let mut happened = vec![moved(&[MOWER], "birch")];
        for minutes in [7, 8, 9] {
            house.set_clock_after(begins, minutes * 60);
            let proposals = told(&mut api, happened).await.expect("proposals");
            happened = Vec::new();
            for proposal in &proposals {
                let plan = plan_of(proposal);
                assert_eq!(crews_with(plan, TRAILER), [""; 0]);
                let taken = plan.crew_days.iter().flat_map(|day| &day.yard_calls);
                let mut taken = taken.flat_map(|call| &call.load);
                assert!(taken.all(|unit| *unit != name("units", MOWER)));
            }
            let best = plan_of(&proposals[0]);
            let with = crews_with(best, MOWER);
            assert!(with.contains(&name("crews", "birch")), "{with:?}");
            api.accept(best.name.clone()).await.expect("accepted");
        }
        let audit = house.audit().await;
        let mut recorded = audit.iter().filter(|entry| {
            let moved = entry.after.as_ref().map(|row| &row["proposal"]["moved"][0]);
            moved.is_some_and(|moved| moved["unit_id"] == MOWER && moved["crew_id"] == "birch")
        });
        assert!(recorded.any(|entry| entry.kind == "plan.drafted"));
        let events = house.events().await;
        let mut told = events.iter().filter(|event| {
            let moved = &event.body["proposal"]["moved"][0]["unit_id"];
            event.kind == "plan.published" && *moved == MOWER
        });
        assert!(told.next().is_some(), "the event of the plan tells it");
    })
    .await;
}

/// Guards a trailer that was towed to the yard with what rides on it: the mower may be had there, and the tagged trailer not.
#[tokio::test]
async fn a_trailer_takes_along_what_was_left_with_it() {
    on_both(async |house| {
        let mut api = Api::of(house);
        left(house, &mut api).await;
        let proposals = told(&mut api, vec![moved(&[TRAILER], "")])
            .await
            .expect("proposals");
        let mut reasons = Vec::new();
        for proposal in &proposals {
            assert_eq!(crews_with(plan_of(proposal), TRAILER), [""; 0]);
            let left = plan_of(proposal).unplanned_jobs.iter();
            let texts = left.flat_map(|job| &job.reasons).map(|one| &one.text);
            reasons.extend(texts.cloned());
        }
        // Nothing else has room for it.
        let is_out = |text: &String| text.contains("was left with the trailer");
        assert!(!reasons.iter().any(is_out), "{reasons:?}");
        let best = plan_of(&proposals[0]).name.clone();
        api.accept(best).await.expect("accepted");
        let proposals = told(&mut api, Vec::new()).await.expect("proposals");
        let left = plan_of(&proposals[0]).unplanned_jobs.iter();
        let mut texts = left.flat_map(|job| &job.reasons).map(|one| &one.text);
        assert!(!texts.any(is_out));
    })
    .await;
}

/// Guards the record from what cannot be.
#[tokio::test]
async fn what_cannot_have_been_moved_is_refused() {
    on_both(async |house| {
        let mut api = Api::of(house);
        left(house, &mut api).await;
        let nothing = One::UnitsMoved(v1::UnitsMoved::default());
        let before = house.counts().await;
        for (happened, field, reason) in [
            (
                vec![moved(&["m-99"], "")],
                "disruptions",
                "UNKNOWN_REFERENCE",
            ),
            (
                vec![moved(&["m-2"], "")],
                "disruptions",
                "UNKNOWN_REFERENCE",
            ),
            (
                vec![moved(&[MOWER], "elm")],
                "disruptions",
                "UNKNOWN_REFERENCE",
            ),
            (vec![moved(&["truck-ash"], "")], "disruptions", "CONFLICT"),
            (vec![moved(&[TRAILER], "ash")], "disruptions", "CONFLICT"),
            (vec![moved(&[TRAILER], "birch")], "disruptions", "CONFLICT"),
            (
                vec![moved(&[MOWER], "birch"), moved(&[MOWER], "")],
                "disruptions",
                "DUPLICATE",
            ),
            (
                vec![nothing],
                "disruptions[0].units_moved.units",
                "REQUIRED",
            ),
        ] {
            let refused = told(&mut api, happened).await.expect_err("refused");
            let expected = [(field.to_owned(), reason.to_owned())];
            assert_eq!(faults(&refused), expected, "{refused:?}");
        }
        assert_eq!(house.counts().await, before);
    })
    .await;
}
