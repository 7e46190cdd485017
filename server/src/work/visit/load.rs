//! A crew has loaded its vehicle. Of two reports the one of the later time holds, in whatever order they arrive.

use chrono::{DateTime, Utc};
use forenoon_store::entity::crew_load;
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait};
use forenoon_store::value::{PlanState, Words};

use super::{moment, tagged};
use crate::work::plan::{load, name};
use crate::work::tag_out::told_after;
use crate::work::{
    Accepted, Change, Command, Error, Obstacle, ObstacleKind, Reason, Violation, row,
};

/// A crew has loaded its vehicle.
pub struct ConfirmLoad {
    /// The branch.
    pub branch: String,
    /// The plan it loads for. One that a later revision has replaced will do: a report may come late.
    pub plan: String,
    /// The crew.
    pub crew: String,
    /// Units of the load-out that are not aboard.
    pub missing: Vec<String>,
    /// When; none for now.
    pub at: Option<DateTime<Utc>>,
}

/// A load that is confirmed.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded {
    /// As it is known.
    pub load: crew_load::Model,
    /// Whether the day wants a re-plan: units are missing, or one that is aboard is tagged out by now.
    pub wants_replan: bool,
}

impl Command for ConfirmLoad {
    type Answer = Loaded;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<Loaded>, Error> {
        let load_time = moment(self.at, "load_time", now)?;
        let stored = load(transaction, &self.branch, &self.plan).await?;
        let subject = name(&self.branch, &self.plan);
        if !matches!(
            stored.plan.state,
            PlanState::Published | PlanState::Replaced
        ) {
            return Err(Error::obstacle(
                ObstacleKind::NotPublished,
                subject,
                "nobody loads for a plan that was not published",
            ));
        }
        if stored.day_of(&self.crew).is_none() {
            return Err(Error::violation(
                "crew",
                Reason::UnknownReference,
                "has no day in the plan",
            ));
        }
        let aboard: Vec<&str> = stored.load_out_of(&self.crew).map(AsRef::as_ref).collect();
        let faults: Vec<Violation> = self
            .missing
            .iter()
            .enumerate()
            .filter(|(_, unit)| !aboard.contains(&unit.as_str()))
            .map(|(ix, _)| Violation {
                field: format!("missing_units[{ix}]"),
                reason: Reason::UnknownReference,
                description: "is not on the crew's load-out".to_owned(),
            })
            .collect();
        if !faults.is_empty() {
            return Err(Error::Invalid(faults));
        }
        let key = (self.branch.clone(), self.plan.clone(), self.crew.clone());
        let before = crew_load::Entity::find_by_id(key).one(transaction).await?;
        // A report that comes late: how it stood at a later time is known already.
        if let Some(before) = &before
            && self.at.is_some_and(|at| at < before.load_time)
        {
            return Ok(heard(before, &[]));
        }
        // What is fetched on the way need not be fit yet.
        let now_loaded = |unit: &&&str| {
            stored.leaves_with(&self.crew, unit)
                && !self.missing.iter().any(|missing| missing == **unit)
        };
        let units: Vec<String> = aboard
            .iter()
            .filter(now_loaded)
            .map(|unit| (*unit).to_owned())
            .collect();
        // What was loaded before the tag is told late, and happened. Yet it does not go out: its crew is kept from setting out with
        // it, and no plan is published that has it aboard.
        let advice = "leave it in the yard";
        let begun = told_after(self.at, now);
        let obstacles = tagged(transaction, &self.branch, units.clone(), begun, advice).await?;
        if !obstacles.is_empty() {
            return Err(Error::Obstructed(obstacles));
        }
        let out = tagged(transaction, &self.branch, units, None, advice).await?;
        if let Some(before) = &before
            && before.missing_unit_ids.0 == self.missing
            && self.at.is_none_or(|at| at == before.load_time)
        {
            return Ok(heard(before, &out));
        }
        let row = crew_load::Model {
            branch_id: self.branch.clone(),
            plan_id: self.plan.clone(),
            crew_id: self.crew.clone(),
            load_time,
            missing_unit_ids: Words(self.missing.clone()),
        };
        match &before {
            Some(before) => row::update(transaction, before, &row).await?,
            None => row::insert(transaction, &row).await?,
        }
        let change = Change::of(subject, "load.confirmed", before.as_ref(), Some(&row))?;
        Ok(Accepted {
            answer: loaded(row, &out),
            changes: vec![change],
        })
    }
}

fn heard(known: &crew_load::Model, out: &[Obstacle]) -> Accepted<Loaded> {
    Accepted {
        answer: loaded(known.clone(), out),
        changes: vec![],
    }
}

fn loaded(load: crew_load::Model, out: &[Obstacle]) -> Loaded {
    Loaded {
        wants_replan: !load.missing_unit_ids.0.is_empty() || !out.is_empty(),
        load,
    }
}
