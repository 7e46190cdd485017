//! The guards of plans and tag-outs.
//!
//! A tagged unit is on no load-out and no stop of any plan from the moment its tag is accepted. The
//! guards stand where a plan comes into being and where it is published. They do not reach into
//! plans published before the tag: those are history and never change. A stop that was over before
//! the tag may name the unit, because that is what happened.

use sea_orm_migration::prelude::*;

use crate::guard::{Guard, Moment, put_up, take_down};

/// The parts of a plan, which come and go with it and never change.
const PARTS: [&str; 5] = [
    "plan_crew_day",
    "plan_load_out",
    "plan_stop",
    "plan_stop_unit",
    "plan_unplanned",
];

/// Names of the guards of [`PARTS`], on insert, update and delete.
const PART_GUARDS: [[&str; 3]; 5] = [
    [
        "plan_crew_day_insert_guard",
        "plan_crew_day_update_guard",
        "plan_crew_day_delete_guard",
    ],
    [
        "plan_load_out_insert_guard",
        "plan_load_out_update_guard",
        "plan_load_out_delete_guard",
    ],
    [
        "plan_stop_insert_guard",
        "plan_stop_update_guard",
        "plan_stop_delete_guard",
    ],
    [
        "plan_stop_unit_insert_guard",
        "plan_stop_unit_update_guard",
        "plan_stop_unit_delete_guard",
    ],
    [
        "plan_unplanned_insert_guard",
        "plan_unplanned_update_guard",
        "plan_unplanned_delete_guard",
    ],
];

/// An open tag that keeps its unit from going out. The table is `t`.
const OUT: &str = "t.severity = 'unsafe' AND t.state <> 'released'";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for guard in guards() {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for guard in guards() {
            take_down(manager, &guard).await?;
        }
        Ok(())
    }
}

fn guards() -> Vec<Guard> {
    let mut guards = tagged_out();
    guards.extend(fixed_plans());
    guards.extend(releases());
    guards
}

/// Tagged units stay off load-outs, stops, publications and starts of work.
fn tagged_out() -> Vec<Guard> {
    let rule = "unit_tagged_out";
    vec![
        Guard {
            name: "plan_load_out_tagged_guard",
            table: "plan_load_out",
            moment: Moment::Insert,
            rule,
            refuse_when: format!(
                "EXISTS (SELECT 1 FROM tag_out t WHERE t.branch_id = NEW.branch_id \
                 AND t.unit_id = NEW.unit_id AND {OUT})"
            ),
        },
        Guard {
            name: "plan_stop_unit_tagged_guard",
            table: "plan_stop_unit",
            moment: Moment::Insert,
            rule,
            refuse_when: format!(
                "EXISTS (SELECT 1 FROM tag_out t JOIN plan_stop s \
                 ON s.branch_id = t.branch_id AND s.plan_id = NEW.plan_id \
                 AND s.job_id = NEW.job_id WHERE t.branch_id = NEW.branch_id \
                 AND t.unit_id = NEW.unit_id AND {OUT} AND s.finish_time > t.create_time)"
            ),
        },
        Guard {
            name: "plan_publish_tagged_guard",
            table: "plan",
            moment: Moment::Update,
            rule,
            refuse_when: format!(
                "NEW.state = 'published' AND OLD.state <> 'published' AND (\
                 EXISTS (SELECT 1 FROM plan_load_out l JOIN tag_out t \
                 ON t.branch_id = l.branch_id AND t.unit_id = l.unit_id \
                 WHERE l.branch_id = NEW.branch_id AND l.plan_id = NEW.id AND {OUT}) \
                 OR EXISTS (SELECT 1 FROM plan_stop_unit u JOIN plan_stop s \
                 ON s.branch_id = u.branch_id AND s.plan_id = u.plan_id AND s.job_id = u.job_id \
                 JOIN tag_out t ON t.branch_id = u.branch_id AND t.unit_id = u.unit_id \
                 WHERE u.branch_id = NEW.branch_id AND u.plan_id = NEW.id AND {OUT} \
                 AND s.finish_time > t.create_time))"
            ),
        },
        Guard {
            name: "visit_tagged_guard",
            table: "visit",
            moment: Moment::Insert,
            rule,
            refuse_when: format!(
                "EXISTS (SELECT 1 FROM plan_stop_unit u JOIN tag_out t \
                 ON t.branch_id = u.branch_id AND t.unit_id = u.unit_id \
                 WHERE u.branch_id = NEW.branch_id AND u.plan_id = NEW.plan_id \
                 AND u.job_id = NEW.job_id AND {OUT} AND t.create_time <= NEW.start_time)"
            ),
        },
    ]
}

/// A plan begins as a draft, and what was published never changes.
fn fixed_plans() -> Vec<Guard> {
    let mut guards = vec![
        Guard {
            name: "plan_begins_as_draft_guard",
            table: "plan",
            moment: Moment::Insert,
            rule: "plan_begins_as_draft",
            refuse_when: "NEW.state <> 'draft'".to_owned(),
        },
        Guard {
            name: "plan_transition_guard",
            table: "plan",
            moment: Moment::Update,
            rule: "plan_transition",
            refuse_when: "NEW.state <> OLD.state \
                          AND NOT (OLD.state = 'draft' AND NEW.state IN ('published', 'discarded')) \
                          AND NOT (OLD.state = 'published' AND NEW.state = 'replaced')"
                .to_owned(),
        },
        Guard {
            name: "plan_fixed_guard",
            table: "plan",
            moment: Moment::Update,
            rule: "plan_fixed",
            refuse_when: "OLD.state <> 'draft' AND (\
                          NEW.id <> OLD.id OR NEW.day <> OLD.day \
                          OR NEW.day_revision <> OLD.day_revision \
                          OR NEW.base_plan_id IS DISTINCT FROM OLD.base_plan_id \
                          OR NEW.totals <> OLD.totals OR NEW.seed <> OLD.seed \
                          OR NEW.iterations <> OLD.iterations OR NEW.changes <> OLD.changes \
                          OR NEW.create_time <> OLD.create_time \
                          OR NEW.publish_time IS DISTINCT FROM OLD.publish_time)"
                .to_owned(),
        },
    ];
    for (table, [insert, update, delete]) in PARTS.into_iter().zip(PART_GUARDS) {
        let part = |name, moment, refuse_when| Guard {
            name,
            table,
            moment,
            rule: "plan_fixed",
            refuse_when,
        };
        guards.push(part(insert, Moment::Insert, plan_is_not_draft("NEW")));
        // Not even in a draft: a row changed in place would slip past the guards of insertion.
        guards.push(part(update, Moment::Update, "1 = 1".to_owned()));
        // Where the plan itself goes, it is gone already when its parts follow.
        guards.push(part(delete, Moment::Delete, plan_is_not_draft("OLD")));
    }
    guards
}

fn plan_is_not_draft(row: &str) -> String {
    format!(
        "EXISTS (SELECT 1 FROM plan p WHERE p.branch_id = {row}.branch_id \
         AND p.id = {row}.plan_id AND p.state <> 'draft')"
    )
}

/// A tag ends by a release after an inspection, and stays ended.
fn releases() -> Vec<Guard> {
    vec![
        Guard {
            name: "tag_out_release_guard",
            table: "tag_out",
            moment: Moment::Update,
            rule: "release_needs_inspection",
            refuse_when: "NEW.state = 'released' AND OLD.state <> 'released' \
                          AND OLD.state <> 'inspected'"
                .to_owned(),
        },
        Guard {
            name: "tag_out_released_guard",
            table: "tag_out",
            moment: Moment::Update,
            rule: "tag_out_released",
            refuse_when: "OLD.state = 'released'".to_owned(),
        },
        Guard {
            name: "tag_out_delete_guard",
            table: "tag_out",
            moment: Moment::Delete,
            rule: "tag_out_open",
            refuse_when: "OLD.state <> 'released'".to_owned(),
        },
    ]
}
