//! A unit that might still do some work is found unsafe, or fit for less: its tag is raised, and holds at once for all that is
//! planned and begun.

use forenoon_proto::v1;
use tonic::Code;

use crate::actors::{Api, asking};
use crate::house::{House, on_both, reason};
use crate::mowing_yard::{BRANCH, MOWERS, first_day, furnish, name};
use crate::tagged_units::breaches;

fn report(unit: &str, severity: v1::Severity, words: &str) -> v1::TagOut {
    let forbidden = match severity {
        v1::Severity::Reduced => vec![v1::TaskKind::CutBrush.into()],
        _ => vec![],
    };
    v1::TagOut {
        unit: unit.into(),
        symptom: match severity {
            v1::Severity::Reduced => v1::Symptom::PowerLoss.into(),
            _ => v1::Symptom::Leak.into(),
        },
        severity: severity.into(),
        forbidden_tasks: forbidden,
        description: words.into(),
        found_by: name("workers", "lead-ash"),
        ..Default::default()
    }
}

async fn tag(api: &mut Api, tag: v1::TagOut) -> Result<v1::TagOutResponse, tonic::Status> {
    let request = v1::TagOutRequest {
        parent: BRANCH.into(),
        tag_out: Some(tag),
        ..Default::default()
    };
    Ok(api.tags.tag_out(asking(request)).await?.into_inner())
}

/// A stop that wants a mower, with its crew and the mower.
fn mowing(plan: &v1::Plan) -> (&str, &v1::Stop, &str) {
    plan.crew_days
        .iter()
        .flat_map(|crew| crew.stops.iter().map(move |stop| (crew, stop)))
        .find_map(|(crew, stop)| {
            let mut units = stop.tasks.iter().flat_map(|task| &task.units);
            let mower = units.find(|unit| unit.contains("/units/m-"))?;
            Some((crew.crew.as_str(), stop, mower.as_str()))
        })
        .expect("a stop with a mower")
}

async fn kinds(house: &House) -> Vec<String> {
    let events = house.events().await;
    events.into_iter().map(|event| event.kind).collect()
}

/// Guards a draft made while the unit might still mow: it is not published once the unit is unsafe.
#[tokio::test]
async fn a_draft_made_in_between_is_not_published() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        // All of them, since a sound one would be taken before.
        for mower in MOWERS {
            let reduced = report(&name("units", mower), v1::Severity::Reduced, "weak");
            tag(&mut api, reduced).await.expect("tagged");
        }
        let between = api.plan(first_day(), 300).await.expect("a plan");
        let mower = mowing(&between).2.to_owned();
        let worse = report(&mower, v1::Severity::Unsafe, "drips fuel");
        tag(&mut api, worse).await.expect("raised");
        let refused = api.publish(between.name).await.expect_err("refused");
        assert_eq!(
            reason(&refused),
            (Code::FailedPrecondition, "UNIT_TAGGED_OUT".into())
        );
        let after = api.plan(first_day(), 300).await.expect("a plan");
        let crew_days = format!("{:?}", after.crew_days);
        assert!(!crew_days.contains(&format!("\"{mower}\"")), "{crew_days}");
        assert_eq!(breaches(&house.database).await, Vec::<String>::new());
    })
    .await;
}

/// Guards the rest: the tag keeps its name and what was said, tells the plans that break, makes proposals stale, lets nobody
/// begin with the unit, and ends the way of every tag.
#[tokio::test]
async fn a_raised_tag_holds_at_once_and_ends_like_any_other() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let (crew, stop, mower) = mowing(&plan);
        let reduced = report(mower, v1::Severity::Reduced, "weak");
        let first = tag(&mut api, reduced.clone()).await.expect("tagged");
        assert_eq!(first.affected_plans, Vec::<String>::new(), "it still mows");
        let first = first.tag_out.expect("a tag");
        api.tags
            .record_diagnosis(asking(v1::RecordDiagnosisRequest {
                name: first.name.clone(),
                mechanic: name("workers", "moss"),
                diagnosis: "clogged filter".into(),
                expected_return_time: stop.finish_time,
                ..Default::default()
            }))
            .await
            .expect("diagnosed");
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let stale = proposals[0].plan.clone().expect("its plan");

        house.set_clock("2027-04-20T11:50:00Z");
        let before = kinds(house).await.len();
        let worse = report(mower, v1::Severity::Unsafe, "drips fuel");
        let raised = tag(&mut api, worse.clone()).await.expect("raised");
        assert_eq!(raised.affected_plans, std::slice::from_ref(&plan.name));
        assert_eq!(kinds(house).await[before..], ["tag_out.raised"]);
        let raised = raised.tag_out.expect("a tag");
        assert_eq!(raised.name, first.name);
        assert_eq!(raised.create_time, first.create_time);
        assert_eq!(raised.severity(), v1::Severity::Unsafe);
        assert_eq!(raised.symptom(), v1::Symptom::Leak);
        assert_eq!(raised.state(), v1::TagOutState::Tagged);
        assert_eq!(raised.description, "drips fuel; before: weak");
        assert_eq!(raised.forbidden_tasks, Vec::<i32>::new());
        assert_eq!(raised.diagnosis, "clogged filter", "it was found");
        assert_eq!(raised.expected_return_time, None, "nobody knows now");

        let written = house.counts().await;
        for again in [reduced, worse] {
            let refused = tag(&mut api, again).await.expect_err("refused");
            assert_eq!(reason(&refused).1, "ALREADY_TAGGED_OUT");
        }
        let refused = api.start(&stop.job, crew).await.expect_err("refused");
        assert_eq!(reason(&refused).1, "UNIT_TAGGED_OUT");
        let refused = api.accept(stale.name).await.expect_err("refused");
        assert!(
            format!("{refused:?}").contains("tag_out raised"),
            "{refused:?}"
        );
        assert_eq!(house.counts().await, written);

        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let fresh = proposals[0].plan.clone().expect("its plan");
        let fresh = api.accept(fresh.name).await.expect("accepted");
        assert!(
            fresh
                .crew_days
                .iter()
                .all(|day| !day.load_out.iter().any(|unit| unit == mower))
        );
        assert_eq!(breaches(&house.database).await, Vec::<String>::new());
        api.mend(&raised.name).await.expect("mended");
    })
    .await;
}

/// Guards a unit that is found fit for less: its tag forbids more from then on, and what it forbade before it forbids since then.
#[tokio::test]
async fn a_raised_tag_forbids_more_from_then_on() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let (crew, stop, mower) = mowing(&plan);
        let limited = |kinds: &[v1::TaskKind]| v1::TagOut {
            forbidden_tasks: kinds.iter().map(|&kind| kind.into()).collect(),
            ..report(mower, v1::Severity::Reduced, "weak")
        };
        let [brush, mow] = [v1::TaskKind::CutBrush, v1::TaskKind::Mow];
        let first = tag(&mut api, limited(&[brush])).await.expect("tagged");
        let first = first.tag_out.expect("a tag");
        assert_eq!(first.severity_time, None);
        // What tells nothing new is no worse.
        let again = tag(&mut api, limited(&[brush])).await;
        assert_eq!(reason(&again.expect_err("refused")).1, "ALREADY_TAGGED_OUT");
        let proposals = api.propose(first_day(), 100).await.expect("proposals");
        let stale = proposals[0].plan.clone().expect("its plan");

        house.set_clock("2027-04-20T12:30:00Z");
        let before = kinds(house).await.len();
        let raised = tag(&mut api, limited(&[mow])).await.expect("raised");
        assert_eq!(raised.affected_plans, std::slice::from_ref(&plan.name));
        assert_eq!(kinds(house).await[before..], ["tag_out.raised"]);
        let raised = raised.tag_out.expect("a tag");
        assert_eq!(raised.name, first.name);
        assert_eq!(raised.severity(), v1::Severity::Reduced);
        assert_eq!(raised.forbidden_tasks, [brush, mow].map(i32::from));
        let since = "2027-04-20T12:30:00Z".parse().expect("an instant");
        assert_eq!(raised.severity_time, Some(since));
        let refused = api.accept(stale.name).await.expect_err("refused");
        assert_eq!(reason(&refused).1, "DAY_CHANGED");

        house.set_clock("2027-04-20T12:35:00Z");
        let job = stop.job.as_str();
        let at = |time: &str| {
            Some(
                format!("2027-04-20T{time}:00Z")
                    .parse()
                    .expect("an instant"),
            )
        };
        for time in [None, at("12:31")] {
            let refused = api.start_at(job, crew, time).await.expect_err("refused");
            assert_eq!(reason(&refused).1, "UNIT_LIMITED");
        }
        let late = api.start_at(job, crew, at("12:15")).await;
        late.expect("it might mow then");
    })
    .await;
}

/// Guards the other side of it: what the tag forbade from the beginning was not right before it forbade more.
#[tokio::test]
async fn a_raised_tag_forbids_what_it_forbade_since_then() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let plan = api.plan(first_day(), 300).await.expect("a plan");
        api.publish(plan.name.clone()).await.expect("published");
        let (crew, stop, mower) = mowing(&plan);
        let limited = |kind: v1::TaskKind| v1::TagOut {
            forbidden_tasks: vec![kind.into()],
            ..report(mower, v1::Severity::Reduced, "weak")
        };
        tag(&mut api, limited(v1::TaskKind::Mow))
            .await
            .expect("tagged");
        house.set_clock("2027-04-20T12:30:00Z");
        tag(&mut api, limited(v1::TaskKind::Trim))
            .await
            .expect("raised");
        house.set_clock("2027-04-20T12:35:00Z");
        let time = Some("2027-04-20T12:15:00Z".parse().expect("an instant"));
        let late = api.start_at(&stop.job, crew, time).await;
        assert_eq!(reason(&late.expect_err("refused")).1, "UNIT_LIMITED");
    })
    .await;
}
