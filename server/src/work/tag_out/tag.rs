//! Tags a unit out.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::{branch, job, plan, plan_load_out, plan_stop, tag_out, unit, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Select,
};
use forenoon_store::value::{Contact, JobState, TagOutState};

use super::limits::{forbids, is_misuse};
use super::raise::{is_worse, raised};
use super::{may_go_out, name, open_tags};
use crate::work::plan::plans_at_work;
use crate::work::{
    Accepted, Change, Command, Error, ObstacleKind, Reason, Violation, branch as branches, row,
};

/// Tags a unit out. One that has an open tag and may still do some work is found unsafe by another, or to be fit for less: its
/// tag is raised.
pub struct TagOut {
    /// The tag; its number, state and times are set here. A contact left out is the finder.
    pub tag: tag_out::Model,
}

/// A tag that was accepted.
#[derive(Clone, Debug, PartialEq)]
pub struct Tagged {
    /// The tag as stored.
    pub tag: tag_out::Model,
    /// The unit's name.
    pub unit_display_name: String,
    /// Ids of published plans that have the unit aboard: from today on, and yesterday's while crews are still at work by it.
    pub affected_plans: Vec<String>,
}

impl Command for TagOut {
    type Answer = Tagged;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<Tagged>, Error> {
        let mut row = self.tag.clone();
        let branch = branches::get(transaction, &row.branch_id).await?;
        let (unit, finder) = references(transaction, &row).await?;
        if row.contact.is_none() {
            row.contact = finder.map(|finder| Contact {
                display_name: finder.display_name,
                phone: finder.phone,
                email: String::new(),
            });
        }
        let (tag, affected_plans, change) = match open_tag(transaction, &row).await? {
            None => accept(transaction, &branch, row, now).await?,
            Some(open) if is_worse(&row, &open) => {
                let raised = raised(&open, row, now)?;
                row::update(transaction, &open, &raised).await?;
                told(
                    transaction,
                    &branch,
                    "tag_out.raised",
                    Some(&open),
                    raised,
                    now,
                )
                .await?
            }
            Some(open) => return Err(has_tag(&unit, &open)),
        };
        Ok(Accepted {
            answer: Tagged {
                tag,
                unit_display_name: unit.display_name,
                affected_plans,
            },
            changes: vec![change],
        })
    }
}

/// A unit has one open tag at a time; what to do with that.
fn has_tag(unit: &unit::Model, open: &tag_out::Model) -> Error {
    let what = if may_go_out(open.state, open.severity) {
        "; where it got worse, say that it is unsafe or what else it must not do; else release it first"
    } else {
        " and must not be used; release it first"
    };
    Error::obstacle(
        ObstacleKind::AlreadyTaggedOut,
        name(&open.branch_id, &open.id),
        format!("{} has this open tag already{what}", unit.display_name),
    )
}

/// Stores a tag as the branch's next one. Answers with it, the published plans that it breaks and the change it makes.
pub(super) async fn accept(
    transaction: &DatabaseTransaction,
    branch: &branch::Model,
    mut row: tag_out::Model,
    now: DateTime<Utc>,
) -> Result<(tag_out::Model, Vec<String>, Change), Error> {
    row.number = next_number(transaction, &row.branch_id).await?;
    row.id = format!("t-{}", row.number);
    row.state = TagOutState::Tagged;
    row.stamp_created(now);
    row::insert(transaction, &row).await?;
    let kind = if row.reopens_id.is_some() {
        "tag_out.reopened"
    } else {
        "tag_out.tagged"
    };
    told(transaction, branch, kind, None, row, now).await
}

/// A stored tag with the published plans that it breaks, and the change that it makes.
async fn told(
    transaction: &DatabaseTransaction,
    branch: &branch::Model,
    kind: &'static str,
    before: Option<&tag_out::Model>,
    row: tag_out::Model,
    now: DateTime<Utc>,
) -> Result<(tag_out::Model, Vec<String>, Change), Error> {
    let at_work = plans_at_work(transaction, branch, now).await?;
    let affected_plans = affected(transaction, &row, at_work).await?;
    let change = Change::of(name(&row.branch_id, &row.id), kind, before, Some(&row))?;
    Ok((row, affected_plans, change))
}

/// The unit and the finder; everything the tag refers to is there.
async fn references(
    transaction: &DatabaseTransaction,
    row: &tag_out::Model,
) -> Result<(unit::Model, Option<worker::Model>), Error> {
    let mut faults = Vec::new();
    let mut missing = |field: &str, what: &str| {
        faults.push(Violation {
            field: format!("tag_out.{field}"),
            reason: Reason::UnknownReference,
            description: format!("names no {what} of the branch"),
        });
    };
    let key = |id: &str| (row.branch_id.clone(), id.to_owned());
    let unit = unit::Entity::find_by_id(key(&row.unit_id))
        .one(transaction)
        .await?;
    if unit.as_ref().is_none_or(|unit| unit.retired) {
        missing("unit", "unit in the fleet");
    }
    let mut finder = None;
    if let Some(id) = &row.found_by_id {
        finder = worker::Entity::find_by_id(key(id)).one(transaction).await?;
        if finder.is_none() {
            missing("found_by", "worker");
        }
    }
    if let Some(id) = &row.job_id
        && job::Entity::find_by_id(key(id))
            .one(transaction)
            .await?
            .is_none()
    {
        missing("job", "job");
    }
    match unit {
        Some(unit) if faults.is_empty() => Ok((unit, finder)),
        _ => Err(Error::Invalid(faults)),
    }
}

pub(super) async fn open_tag(
    transaction: &DatabaseTransaction,
    row: &tag_out::Model,
) -> Result<Option<tag_out::Model>, Error> {
    Ok(tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(row.branch_id.as_str()))
        .filter(tag_out::Column::UnitId.eq(row.unit_id.as_str()))
        .filter(open_tags())
        .one(transaction)
        .await?)
}

async fn next_number(transaction: &DatabaseTransaction, branch: &str) -> Result<i64, Error> {
    let all = tag_out::Entity::find().filter(tag_out::Column::BranchId.eq(branch));
    let last: Option<i64> = row::highest(transaction, all, tag_out::Column::Number).await?;
    Ok(last.unwrap_or(0) + 1)
}

/// Those of the published plans that have the unit aboard, or for a limited one that want it for what it must not do, in order
/// of day.
async fn affected(
    transaction: &DatabaseTransaction,
    row: &tag_out::Model,
    published: Select<plan::Entity>,
) -> Result<Vec<String>, Error> {
    let published: Vec<String> = published
        .select_only()
        .column(plan::Column::Id)
        .order_by_asc(plan::Column::Day)
        .into_tuple()
        .all(transaction)
        .await?;
    // Asked by plan: of the unit's load-outs of years hardly one is still to come.
    let with_unit: Vec<String> = plan_load_out::Entity::find()
        .filter(plan_load_out::Column::BranchId.eq(row.branch_id.as_str()))
        .filter(plan_load_out::Column::PlanId.is_in(published.iter().map(String::as_str)))
        .filter(plan_load_out::Column::UnitId.eq(row.unit_id.as_str()))
        .select_only()
        .column(plan_load_out::Column::PlanId)
        .into_tuple()
        .all(transaction)
        .await?;
    let goes_out = may_go_out(row.state, row.severity);
    let mut affected = Vec::new();
    for plan in published
        .into_iter()
        .filter(|plan| with_unit.contains(plan))
    {
        let breaks = !goes_out || {
            let stops = plan_stop::Entity::find()
                .filter(plan_stop::Column::BranchId.eq(row.branch_id.as_str()))
                .filter(plan_stop::Column::PlanId.eq(plan.as_str()))
                .all(transaction)
                .await?;
            wants_it(transaction, row, &stops).await?
        };
        if breaks {
            affected.push(plan);
        }
    }
    Ok(affected)
}

/// Whether one of a plan's stops wants a limited unit for what it must not do. A stop that by its plan is over may yet be
/// to come: crews run late.
async fn wants_it(
    transaction: &DatabaseTransaction,
    row: &tag_out::Model,
    stops: &[plan_stop::Model],
) -> Result<bool, Error> {
    let wanting: Vec<&str> = stops
        .iter()
        .filter(|stop| forbids(row, stop))
        .map(|stop| stop.job_id.as_str())
        .collect();
    if wanting.is_empty() {
        return Ok(false);
    }
    if stops.iter().any(|stop| is_misuse(row, stop)) {
        return Ok(true);
    }
    let undone = job::Entity::find()
        .filter(job::Column::BranchId.eq(row.branch_id.as_str()))
        .filter(job::Column::Id.is_in(wanting))
        .filter(job::Column::State.is_in([JobState::Open, JobState::Running]))
        .one(transaction)
        .await?;
    Ok(undone.is_some())
}
