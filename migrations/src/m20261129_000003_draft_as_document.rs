//! Keeps the parts of a draft in one document.
//!
//! A re-plan makes four or five proposals of some hundred stops and units each, of which one at most is published. As
//! rows, each with its keys and guards, they took longer to store than to find. A draft is one row now; its parts become
//! rows when it is published, and nothing is published whose parts are not. Drafts that are rows stay so. A server of the
//! version before shows the drafts of this one without stops, and cannot publish them.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::text;
use sea_orm_migration::sea_orm::DbBackend;

use crate::columns::within_branch;
use crate::guard::{Guard, Moment, put_up, take_down};

const TABLE: &str = "plan_draft";

/// An open tag that keeps its unit from going out. The table is `t`.
const OUT: &str = "t.severity = 'unsafe' AND t.state <> 'released'";

/// The step down throws drafts away whose parts the version before would not find: units of them may have been tagged since,
/// and jobs may have gone, so that their rows would be refused. A draft is made again by one call.
const THROW_AWAY: &str = "UPDATE plan SET state = 'discarded' WHERE state = 'draft' AND EXISTS (SELECT 1 FROM plan_draft d \
                          WHERE d.branch_id = plan.branch_id AND d.plan_id = plan.id)";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let table = Table::create()
            .table(TABLE)
            .col(text("branch_id"))
            .col(text("plan_id"))
            .col(text("parts"))
            .primary_key(
                Index::create()
                    .name("plan_draft_pkey")
                    .col("branch_id")
                    .col("plan_id"),
            )
            .foreign_key(
                within_branch(TABLE, "plan_id", "plan").on_delete(ForeignKeyAction::Cascade),
            )
            .take();
        manager.create_table(table).await?;
        for guard in guards(manager.get_database_backend()) {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .get_connection()
            .execute_unprepared(THROW_AWAY)
            .await?;
        for guard in guards(manager.get_database_backend()) {
            take_down(manager, &guard).await?;
        }
        manager
            .drop_table(Table::drop().table(TABLE).take())
            .await?;
        Ok(())
    }
}

fn guards(backend: DbBackend) -> [Guard; 5] {
    let fixed = |name, moment, refuse_when| Guard {
        name,
        table: TABLE,
        moment,
        rule: "plan_fixed",
        refuse_when,
    };
    [
        Guard {
            name: "plan_draft_tagged_guard",
            table: TABLE,
            moment: Moment::Insert,
            rule: "unit_tagged_out",
            refuse_when: format!(
                "EXISTS (SELECT 1 FROM tag_out t WHERE t.branch_id = NEW.branch_id AND {OUT} AND {})",
                names_unit(backend)
            ),
        },
        fixed(
            "plan_draft_insert_guard",
            Moment::Insert,
            plan_is_not_draft("NEW"),
        ),
        // A document changed in place would slip past the guard of insertion.
        fixed(
            "plan_draft_update_guard",
            Moment::Update,
            "1 = 1".to_owned(),
        ),
        // Where the plan itself goes, it is gone already when its document follows.
        fixed(
            "plan_draft_delete_guard",
            Moment::Delete,
            plan_is_not_draft("OLD"),
        ),
        Guard {
            name: "plan_publish_draft_guard",
            table: "plan",
            moment: Moment::Update,
            rule: "plan_transition",
            refuse_when: format!(
                "NEW.state = 'published' AND OLD.state <> 'published' AND EXISTS (SELECT 1 FROM {TABLE} d \
                 WHERE d.branch_id = NEW.branch_id AND d.plan_id = NEW.id)"
            ),
        },
    ]
}

fn plan_is_not_draft(row: &str) -> String {
    format!(
        "EXISTS (SELECT 1 FROM plan p WHERE p.branch_id = {row}.branch_id \
         AND p.id = {row}.plan_id AND p.state <> 'draft')"
    )
}

/// SQL that holds where the document has the unit of the tag `t` on a load-out, or at a stop that ends after the tag. The
/// text is looked through first: most drafts do not have the unit, and to parse is dear.
fn names_unit(backend: DbBackend) -> &'static str {
    match backend {
        DbBackend::Sqlite => {
            "instr(NEW.parts, json_quote(t.unit_id)) > 0 AND (\
             EXISTS (SELECT 1 FROM json_each(NEW.parts, '$.load_outs') aboard \
             WHERE json_extract(aboard.value, '$.unit_id') = t.unit_id) \
             OR EXISTS (SELECT 1 FROM json_each(NEW.parts, '$.stops') stop, \
             json_each(stop.value, '$.tasks') task, json_each(task.value, '$.unit_ids') unit \
             WHERE unit.value = t.unit_id \
             AND julianday(json_extract(stop.value, '$.finish_time')) > julianday(t.create_time)))"
        }
        _ => {
            "CASE WHEN position(to_json(t.unit_id)::text IN NEW.parts) = 0 THEN false ELSE \
             NEW.parts::jsonb -> 'load_outs' @> jsonb_build_array(jsonb_build_object('unit_id', t.unit_id)) \
             OR EXISTS (SELECT 1 FROM jsonb_array_elements(NEW.parts::jsonb -> 'stops') stop(value) \
             WHERE stop.value -> 'tasks' \
             @> jsonb_build_array(jsonb_build_object('unit_ids', jsonb_build_array(t.unit_id))) \
             AND CAST(stop.value ->> 'finish_time' AS timestamptz) > t.create_time) END"
        }
    }
}
