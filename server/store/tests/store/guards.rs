//! Goal: what the schema promises holds against any code that writes, on both databases.
//! Method: rows are put in directly, past every use case, and the refusal is checked by its rule.

use forenoon_store::entity::{plan, plan_draft, plan_load_out, plan_stop, tag_out, unit, visit};
use forenoon_store::sea_orm::{ActiveModelTrait, EntityTrait, IntoActiveModel, NotSet, Set};
use forenoon_store::value::{PlanState, Severity, TagOutState, Times, UnitKind, VisitState};
use forenoon_store::{GuardRule, StoreError, UniqueRule};

use crate::bench::{
    Bench, at, document, load_row, on_both, plan_row, spell_row, stop_row, stop_with, tag_row,
    unit_row, visit_row,
};

#[track_caller]
fn refused_by(guard: GuardRule, result: &Result<(), StoreError>) {
    assert!(
        matches!(result, Err(StoreError::Guard(rule)) if *rule == guard),
        "expected {guard:?}, got {result:?}"
    );
}

#[track_caller]
fn not_unique(unique: UniqueRule, result: &Result<(), StoreError>) {
    assert!(
        matches!(result, Err(StoreError::Unique(rule)) if *rule == unique),
        "expected {unique:?}, got {result:?}"
    );
}

fn state_of(plan: &str, state: PlanState) -> plan::ActiveModel {
    plan::ActiveModel {
        branch_id: Set("north".into()),
        id: Set(plan.into()),
        state: Set(state),
        publish_time: match state {
            PlanState::Published => Set(Some(at(1))),
            PlanState::Draft | PlanState::Replaced | PlanState::Discarded => NotSet,
        },
        ..Default::default()
    }
}

fn tag_state(number: i64, state: TagOutState) -> tag_out::ActiveModel {
    let released = state == TagOutState::Released;
    tag_out::ActiveModel {
        branch_id: Set("north".into()),
        id: Set(format!("t-{number}")),
        state: Set(state),
        released_by_id: Set(released.then(|| "smith".into())),
        release_time: Set(released.then(|| at(90))),
        ..Default::default()
    }
}

async fn tag(bench: &Bench, number: i64, unit: &str, severity: Severity, minute: i64) {
    bench
        .put(tag_row(number, unit, severity, minute).into_active_model())
        .await
        .expect("the tag is accepted");
}

#[tokio::test]
async fn a_tagged_unit_comes_on_no_load_out_and_no_stop() {
    on_both(async |bench| {
        bench.furnish().await;
        tag(bench, 1, "mower", Severity::Unsafe, 30).await;
        let draft = bench.draft(1).await;
        refused_by(
            GuardRule::UnitTaggedOut,
            &bench.put(load_row(&draft, "one", "mower")).await,
        );
        bench
            .put(load_row(&draft, "one", "blower"))
            .await
            .expect("another unit may go");
        refused_by(
            GuardRule::UnitTaggedOut,
            &bench.put(stop_with(&draft, "mower", 0, 60)).await,
        );
        bench
            .put(stop_with(&draft, "blower", 0, 60))
            .await
            .expect("another unit may work there");
    })
    .await;
}

#[tokio::test]
async fn a_tagged_unit_comes_into_no_draft() {
    on_both(async |bench| {
        bench.furnish().await;
        let before = bench.bare_draft(1).await;
        tag(bench, 1, "mower", Severity::Unsafe, 30).await;
        tag(bench, 2, "blower", Severity::Reduced, 30).await;
        let draft = bench.bare_draft(2).await;
        let aboard = |unit| vec![load_row(&draft, "one", unit)];
        let stop = |unit, end| vec![stop_with(&draft, unit, 0, end)];
        for document in [
            document(&draft, aboard("mower"), vec![]),
            document(&draft, vec![], stop("mower", 31)),
        ] {
            refused_by(GuardRule::UnitTaggedOut, &bench.put(document).await);
        }
        bench
            .put(document(&draft, aboard("blower"), stop("blower", 60)))
            .await
            .expect("it is limited, not out");
        bench
            .put(document(
                &before,
                vec![],
                vec![stop_with(&before, "mower", 0, 30)],
            ))
            .await
            .expect("that is what happened");
    })
    .await;
}

#[tokio::test]
async fn a_draft_is_published_as_rows_and_its_document_never_changes() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.bare_draft(1).await;
        bench
            .put(document(
                &draft,
                vec![load_row(&draft, "one", "mower")],
                vec![],
            ))
            .await
            .expect("a document");
        refused_by(
            GuardRule::PlanTransition,
            &bench.change(state_of(&draft, PlanState::Published)).await,
        );
        let sql = "UPDATE plan_draft SET plan_id = plan_id";
        refused_by(GuardRule::PlanFixed, &bench.execute(sql).await);
        bench
            .remove::<plan_draft::Entity>(("north".into(), draft.clone()))
            .await
            .expect("to make rows of it");
        bench
            .change(state_of(&draft, PlanState::Published))
            .await
            .expect("published");
        let late = document(&draft, vec![], vec![]);
        refused_by(GuardRule::PlanFixed, &bench.put(late).await);
    })
    .await;
}

#[tokio::test]
async fn a_draft_thrown_away_keeps_its_document() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.bare_draft(1).await;
        bench
            .put(document(&draft, vec![], vec![]))
            .await
            .expect("a document");
        bench
            .change(state_of(&draft, PlanState::Discarded))
            .await
            .expect("thrown away");
        let key = ("north".into(), draft.clone());
        refused_by(
            GuardRule::PlanFixed,
            &bench.remove::<plan_draft::Entity>(key.clone()).await,
        );
        bench.remove::<plan::Entity>(key).await.expect("gone");
        let left = plan_draft::Entity::find().all(bench.database.read()).await;
        assert_eq!(left.expect("read"), vec![]);
    })
    .await;
}

#[tokio::test]
async fn a_stop_that_was_over_before_the_tag_may_name_the_unit() {
    on_both(async |bench| {
        bench.furnish().await;
        tag(bench, 1, "mower", Severity::Unsafe, 60).await;
        let draft = bench.draft(1).await;
        bench
            .put(stop_with(&draft, "mower", 0, 60))
            .await
            .expect("that is what happened");
        bench
            .change(state_of(&draft, PlanState::Published))
            .await
            .expect("published");
    })
    .await;
}

#[tokio::test]
async fn a_draft_with_a_unit_tagged_since_cannot_be_published() {
    on_both(async |bench| {
        bench.furnish().await;
        let loaded = bench.draft(1).await;
        bench
            .put(load_row(&loaded, "one", "mower"))
            .await
            .expect("fit so far");
        let stopping = bench.draft(2).await;
        bench
            .put(stop_with(&stopping, "mower", 0, 60))
            .await
            .expect("fit so far");
        tag(bench, 1, "mower", Severity::Unsafe, 30).await;
        for draft in [loaded, stopping] {
            let published = bench.change(state_of(&draft, PlanState::Published)).await;
            refused_by(GuardRule::UnitTaggedOut, &published);
        }
    })
    .await;
}

#[tokio::test]
async fn a_published_plan_stands_when_its_unit_is_tagged_and_released() {
    on_both(async |bench| {
        bench.furnish().await;
        let first = bench.draft(1).await;
        bench
            .put(load_row(&first, "one", "mower"))
            .await
            .expect("load-out");
        bench
            .change(state_of(&first, PlanState::Published))
            .await
            .expect("published");
        tag(bench, 1, "mower", Severity::Unsafe, 30).await;

        refused_by(
            GuardRule::ReleaseNeedsInspection,
            &bench.change(tag_state(1, TagOutState::Released)).await,
        );
        bench
            .change(tag_state(1, TagOutState::Inspected))
            .await
            .expect("inspected");
        bench
            .change(tag_state(1, TagOutState::Released))
            .await
            .expect("released");
        refused_by(
            GuardRule::TagOutReleased,
            &bench.change(tag_state(1, TagOutState::Tagged)).await,
        );

        let second = bench.draft(2).await;
        bench
            .put(load_row(&second, "one", "mower"))
            .await
            .expect("fit again");
    })
    .await;
}

#[tokio::test]
async fn a_tag_of_reduced_severity_leaves_the_unit_in_use() {
    on_both(async |bench| {
        bench.furnish().await;
        tag(bench, 1, "mower", Severity::Reduced, 0).await;
        let draft = bench.draft(1).await;
        bench
            .put(load_row(&draft, "one", "mower"))
            .await
            .expect("load-out");
        bench
            .change(state_of(&draft, PlanState::Published))
            .await
            .expect("published");
    })
    .await;
}

#[tokio::test]
async fn two_crews_have_a_unit_one_after_the_other_and_never_at_once() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        let [first, later] = [[None, Some(60)], [Some(90), None]];
        bench
            .put(spell_row(&draft, "one", 0, first))
            .await
            .expect("the first has it until the hour");
        for meets in [
            [None, None],
            [None, Some(1)],
            [Some(59), None],
            [Some(30), Some(40)],
            [Some(-10), Some(90)],
        ] {
            let both = bench.put(spell_row(&draft, "two", 1, meets)).await;
            refused_by(GuardRule::UnitWithAnotherCrew, &both);
        }
        bench
            .put(spell_row(&draft, "two", 1, [Some(60), Some(90)]))
            .await
            .expect("from the hour on it is free");
        not_unique(
            UniqueRule::LoadOutUnit,
            &bench.put(spell_row(&draft, "one", 1, later)).await,
        );
        bench
            .put(spell_row(&draft, "one", 2, later))
            .await
            .expect("and again after that");
    })
    .await;
}

#[tokio::test]
async fn a_spell_ends_after_it_begins() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        for backwards in [[Some(60), Some(60)], [Some(60), Some(59)]] {
            let spell = bench.put(spell_row(&draft, "one", 0, backwards)).await;
            refused_by(GuardRule::SpellEndsBeforeItBegins, &spell);
        }
        bench
            .put(spell_row(&draft, "one", 0, [Some(59), Some(60)]))
            .await
            .expect("a minute");
    })
    .await;
}

#[tokio::test]
async fn a_unit_is_on_one_load_out_and_has_one_open_tag_and_one_serial_number() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        bench
            .put(load_row(&draft, "one", "mower"))
            .await
            .expect("load-out");
        refused_by(
            GuardRule::UnitWithAnotherCrew,
            &bench.put(load_row(&draft, "two", "mower")).await,
        );
        tag(bench, 1, "mower", Severity::Unsafe, 0).await;
        let again = tag_row(2, "mower", Severity::Unsafe, 1).into_active_model();
        not_unique(UniqueRule::OpenTagOut, &bench.put(again).await);
        let same = tag_row(1, "blower", Severity::Unsafe, 1);
        let same = tag_out::Model {
            id: "other".into(),
            ..same
        };
        not_unique(
            UniqueRule::TagOutNumber,
            &bench.put(same.into_active_model()).await,
        );
        not_unique(
            UniqueRule::UnitSerialNumber,
            &bench.put(unit_row("third", "1").into_active_model()).await,
        );
        not_unique(
            UniqueRule::Key,
            &bench.put(unit_row("mower", "3").into_active_model()).await,
        );
    })
    .await;
}

#[tokio::test]
async fn a_day_has_one_published_plan_and_it_never_changes() {
    on_both(async |bench| {
        bench.furnish().await;
        let first = bench.draft(1).await;
        bench
            .put(load_row(&first, "one", "mower"))
            .await
            .expect("load-out");
        bench.put(stop_row(&first, 0, 60)).await.expect("stop");
        bench
            .change(state_of(&first, PlanState::Published))
            .await
            .expect("published");
        let second = bench.draft(2).await;
        not_unique(
            UniqueRule::PublishedPlan,
            &bench.change(state_of(&second, PlanState::Published)).await,
        );

        let fixed = [
            bench.put(load_row(&first, "two", "blower")).await,
            bench
                .change(plan_stop::ActiveModel {
                    branch_id: Set("north".into()),
                    plan_id: Set(first.clone()),
                    job_id: Set("mow".into()),
                    slack_seconds: Set(5),
                    ..Default::default()
                })
                .await,
            bench
                .change(plan::ActiveModel {
                    branch_id: Set("north".into()),
                    id: Set(first.clone()),
                    seed: Set(99),
                    ..Default::default()
                })
                .await,
        ];
        for result in &fixed {
            refused_by(GuardRule::PlanFixed, result);
        }
        refused_by(
            GuardRule::PlanTransition,
            &bench.change(state_of(&first, PlanState::Draft)).await,
        );
        bench
            .change(state_of(&first, PlanState::Replaced))
            .await
            .expect("replaced");
        bench
            .change(state_of(&second, PlanState::Published))
            .await
            .expect("published");
    })
    .await;
}

#[tokio::test]
async fn a_plan_begins_as_a_draft() {
    on_both(async |bench| {
        bench.furnish().await;
        let mut row = plan_row(1);
        row.state = PlanState::Published;
        row.publish_time = Some(at(0));
        refused_by(
            GuardRule::PlanBeginsAsDraft,
            &bench.put(row.into_active_model()).await,
        );
    })
    .await;
}

#[tokio::test]
async fn a_plan_that_goes_takes_its_parts_along() {
    on_both(async |bench| {
        bench.furnish().await;
        let first = bench.draft(1).await;
        bench
            .put(load_row(&first, "one", "mower"))
            .await
            .expect("load-out");
        bench
            .change(state_of(&first, PlanState::Published))
            .await
            .expect("published");
        bench
            .remove::<plan::Entity>(("north".into(), first.clone()))
            .await
            .expect("gone");
        let left = plan_load_out::Entity::find()
            .all(bench.database.read())
            .await
            .expect("read");
        assert_eq!(left, vec![]);
    })
    .await;
}

#[tokio::test]
async fn a_part_of_a_published_plan_is_not_taken_out() {
    on_both(async |bench| {
        bench.furnish().await;
        let first = bench.draft(1).await;
        bench
            .put(load_row(&first, "one", "mower"))
            .await
            .expect("load-out");
        bench
            .change(state_of(&first, PlanState::Published))
            .await
            .expect("published");
        let key = ("north".into(), first.clone(), "mower".into(), 0);
        let result = bench.remove::<plan_load_out::Entity>(key).await;
        refused_by(GuardRule::PlanFixed, &result);
    })
    .await;
}

#[tokio::test]
async fn a_load_out_is_never_changed_in_place() {
    on_both(async |bench| {
        bench.furnish().await;
        tag(bench, 1, "mower", Severity::Unsafe, 0).await;
        let draft = bench.draft(1).await;
        bench
            .put(load_row(&draft, "one", "blower"))
            .await
            .expect("load-out");
        let sql = "UPDATE plan_load_out SET unit_id = 'mower'";
        refused_by(GuardRule::PlanFixed, &bench.execute(sql).await);
    })
    .await;
}

#[tokio::test]
async fn work_is_not_begun_with_a_tagged_unit() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        bench
            .put(stop_with(&draft, "mower", 0, 60))
            .await
            .expect("fit so far");
        bench
            .change(state_of(&draft, PlanState::Published))
            .await
            .expect("published");
        tag(bench, 1, "mower", Severity::Unsafe, 10).await;
        refused_by(
            GuardRule::UnitTaggedOut,
            &bench.put(visit_row(&draft, 11)).await,
        );
        // A crew may have set out before; it does not begin either.
        let mut on_its_way = visit_row(&draft, 11);
        on_its_way.state = Set(VisitState::UnderWay);
        on_its_way.start_time = Set(None);
        bench.put(on_its_way.clone()).await.expect("on its way");
        let mut begun = on_its_way.reset_all();
        begun.state = Set(VisitState::Working);
        begun.start_time = Set(Some(at(11)));
        refused_by(GuardRule::UnitTaggedOut, &bench.change(begun.clone()).await);
        begun.start_time = Set(Some(at(9)));
        bench.change(begun).await.expect("begun before the tag");
    })
    .await;
}

/// Guards trucks and trailers: a crew does not set out with one that is tagged out, and is not there or begins without having set
/// out before.
#[tokio::test]
async fn a_crew_does_not_drive_with_a_tagged_carrier() {
    on_both(async |bench| {
        bench.furnish().await;
        for (id, serial, kind) in [
            ("truck", "3", UnitKind::Vehicle),
            ("trailer", "4", UnitKind::Trailer),
        ] {
            let carrier = unit::Model {
                kind,
                ..unit_row(id, serial)
            };
            bench.put(carrier.into_active_model()).await.expect("unit");
        }
        let draft = bench.draft(1).await;
        for carrier in ["truck", "trailer"] {
            let aboard = load_row(&draft, "one", carrier);
            bench.put(aboard).await.expect("aboard");
        }
        bench.put(stop_row(&draft, 0, 60)).await.expect("a stop");
        let published = bench.change(state_of(&draft, PlanState::Published)).await;
        published.expect("published");
        tag(bench, 1, "trailer", Severity::Unsafe, 10).await;
        let told = |crew: &str, [depart, arrive, start]: [Option<i64>; 3]| visit::ActiveModel {
            crew_id: Set(crew.into()),
            state: Set(match (arrive, start) {
                (_, Some(_)) => VisitState::Working,
                (Some(_), None) => VisitState::Arrived,
                (None, None) => VisitState::UnderWay,
            }),
            depart_time: Set(depart.map(at)),
            arrive_time: Set(arrive.map(at)),
            start_time: Set(start.map(at)),
            ..visit_row(&draft, 0)
        };
        for first in [
            [Some(11), None, None],
            [None, Some(11), None],
            [None, None, Some(10)],
        ] {
            let put = bench.put(told("one", first)).await;
            refused_by(GuardRule::UnitTaggedOut, &put);
        }
        let before = told("one", [Some(9), None, None]);
        bench.put(before).await.expect("it set out before");
        let there = told("one", [Some(9), Some(20), Some(21)]);
        bench.change(there).await.expect("it stands there");
        // Another crew comes in its place: with nothing, and then with a tagged truck of its own that is on no load-out.
        let other = told("two", [Some(22), None, None]);
        bench.change(other.clone()).await.expect("it has no truck");
        let back = told("one", [Some(23), None, None]);
        refused_by(GuardRule::UnitTaggedOut, &bench.change(back).await);
        tag(bench, 2, "truck", Severity::Unsafe, 10).await;
        let own = "UPDATE crew SET vehicle_id = 'truck' WHERE id = 'two'";
        bench.execute(own).await.expect("it has a truck");
        let anew = told("two", [Some(21), None, None]);
        refused_by(GuardRule::UnitTaggedOut, &bench.change(anew).await);
    })
    .await;
}

/// Guards work that stood still: it does not go on with a tagged unit, by the plan that is published by then.
#[tokio::test]
async fn work_does_not_go_on_with_a_tagged_unit() {
    on_both(async |bench| {
        bench.furnish().await;
        let [first, second] = [bench.draft(1).await, bench.draft(2).await];
        let stop = stop_with(&first, "mower", 0, 60);
        bench.put(stop).await.expect("fit so far");
        let stop = stop_with(&second, "blower", 0, 60);
        bench.put(stop).await.expect("fit");
        let published = bench.change(state_of(&first, PlanState::Published)).await;
        published.expect("published");
        bench.put(visit_row(&first, 5)).await.expect("begun");
        tag(bench, 1, "mower", Severity::Unsafe, 10).await;
        let on = |minutes: &[i64]| {
            let mut row = visit_row(&first, 5).reset_all();
            row.resume_times = Set(Times(minutes.iter().map(|&minute| at(minute)).collect()));
            row
        };
        for late in [&[10][..], &[7, 11]] {
            refused_by(GuardRule::UnitTaggedOut, &bench.change(on(late)).await);
        }
        bench.change(on(&[7])).await.expect("before the tag");
        for (plan, state) in [
            (&first, PlanState::Replaced),
            (&second, PlanState::Published),
        ] {
            let moved = bench.change(state_of(plan, state)).await;
            moved.expect("planned again");
        }
        bench.change(on(&[7, 12])).await.expect("with another unit");
    })
    .await;
}

/// Guards a tag that is raised: the unit is out from then on, and what it did before, when it might, stands and may be told late.
#[tokio::test]
async fn a_raised_tag_keeps_its_unit_in_from_then_on() {
    on_both(async |bench| {
        bench.furnish().await;
        tag(bench, 1, "mower", Severity::Reduced, 10).await;
        let [with_it, over] = [bench.draft(1).await, bench.bare_draft(2).await];
        bench
            .put(stop_with(&with_it, "mower", 0, 60))
            .await
            .expect("it may");
        let mut worse = tag_state(1, TagOutState::Tagged);
        worse.severity = Set(Severity::Unsafe);
        worse.severity_time = Set(Some(at(30)));
        bench.change(worse).await.expect("raised");

        let published = bench.change(state_of(&with_it, PlanState::Published)).await;
        refused_by(GuardRule::UnitTaggedOut, &published);
        for (end, may) in [(30, true), (31, false)] {
            let stop = document(&over, vec![], vec![stop_with(&over, "mower", 0, end)]);
            let stored = bench.put(stop).await;
            if may {
                stored.expect("that is what happened");
                bench
                    .remove::<plan_draft::Entity>(("north".into(), over.clone()))
                    .await
                    .expect("thrown away");
            } else {
                refused_by(GuardRule::UnitTaggedOut, &stored);
            }
        }
        let third = bench.draft(3).await;
        bench
            .put(stop_with(&third, "mower", 0, 30))
            .await
            .expect("that is what happened");
        let [fourth, aboard] = [bench.draft(4).await, bench.draft(5).await];
        let later = bench.put(stop_with(&fourth, "mower", 0, 31)).await;
        refused_by(GuardRule::UnitTaggedOut, &later);
        let loaded = bench.put(load_row(&aboard, "one", "mower")).await;
        refused_by(GuardRule::UnitTaggedOut, &loaded);

        refused_by(
            GuardRule::UnitTaggedOut,
            &bench.put(visit_row(&with_it, 30)).await,
        );
        let mut on_its_way = visit_row(&with_it, 30);
        on_its_way.state = Set(VisitState::UnderWay);
        on_its_way.start_time = Set(None);
        bench.put(on_its_way.clone()).await.expect("on its way");
        let mut begun = on_its_way.reset_all();
        begun.state = Set(VisitState::Working);
        begun.start_time = Set(Some(at(30)));
        refused_by(GuardRule::UnitTaggedOut, &bench.change(begun.clone()).await);
        begun.start_time = Set(Some(at(29)));
        bench.change(begun).await.expect("begun while it might");
    })
    .await;
}

#[tokio::test]
async fn a_job_has_one_visit_at_a_time() {
    on_both(async |bench| {
        bench.furnish().await;
        let draft = bench.draft(1).await;
        bench.put(visit_row(&draft, 9)).await.expect("the first");
        let mut second = visit_row(&draft, 20);
        second.attempt = Set(2);
        let refused = bench.put(second.clone()).await;
        assert!(
            matches!(refused, Err(StoreError::Unique(UniqueRule::Visit))),
            "{refused:?}"
        );
        let mut given_up = visit_row(&draft, 9).reset_all();
        given_up.state = Set(VisitState::NotDone);
        given_up.finish_time = Set(Some(at(12)));
        given_up.not_done_reason = Set("gate locked".to_owned());
        bench.change(given_up).await.expect("given up");
        bench.put(second).await.expect("another attempt");
        // What was done has an end, and times are in order.
        let mut done = visit_row(&draft, 9).reset_all();
        done.attempt = Set(2);
        done.state = Set(VisitState::Done);
        assert!(bench.change(done.clone()).await.is_err(), "no end");
        done.finish_time = Set(Some(at(8)));
        assert!(bench.change(done).await.is_err(), "an end before the start");
    })
    .await;
}
