//! Diagnosis, repair, inspection and release: the steps of a tag-out, as the trade's state machine allows them.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::{tag_out, unit, worker};
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait};
use forenoon_store::value::Role;
use forenoon_trade::tagout::{Event, Person, Refusal, Rules};

use super::{get, moved_on, name, standing};
use crate::work::{
    Accepted, Change, Command, Error, ObstacleKind, Reason, Seen, refuse_stale, row,
};

/// A step of a tag-out.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// A mechanic found out what is wrong.
    Diagnosis {
        /// What is wrong.
        text: String,
        /// It waits for parts.
        waiting_for_parts: bool,
        /// When it is expected back; none where nobody knows.
        expected_return_time: Option<DateTime<Utc>>,
    },
    /// A mechanic has repaired it.
    Repair {
        /// What was done.
        text: String,
    },
    /// A mechanic has inspected it.
    Inspection {
        /// What was inspected and how it was found.
        text: String,
        /// Whether it passed.
        passed: bool,
    },
    /// A mechanic ends it.
    Release,
}

/// Takes a tag-out one step on.
pub struct Advance {
    /// The branch.
    pub branch: String,
    /// The tag-out.
    pub id: String,
    /// The mechanic.
    pub mechanic: String,
    /// The step.
    pub step: Step,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
    /// Whoever repaired must not inspect.
    pub inspector_differs: bool,
}

impl Command for Advance {
    type Answer = (tag_out::Model, String);

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<Self::Answer>, Error> {
        let before = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &before, &name)?;
        let mechanic = worker::Entity::find_by_id((self.branch.clone(), self.mechanic.clone()))
            .one(transaction)
            .await?
            .ok_or_else(|| {
                Error::violation(
                    "mechanic",
                    Reason::UnknownReference,
                    "names no worker of the branch",
                )
            })?;
        let mut after = self.advanced(&before, &mechanic, now)?;
        after.stamp_changed(&before, now);
        row::update(transaction, &before, &after).await?;
        let kind = match self.step {
            Step::Diagnosis { .. } => "tag_out.diagnosed",
            Step::Repair { .. } => "tag_out.repaired",
            Step::Inspection { .. } => "tag_out.inspected",
            Step::Release => "tag_out.released",
        };
        let change = Change::of(name, kind, Some(&before), Some(&after))?;
        let unit = unit::Entity::find_by_id((self.branch.clone(), after.unit_id.clone()))
            .one(transaction)
            .await?
            .map_or_else(|| after.unit_id.clone(), |unit| unit.display_name);
        Ok(Accepted {
            answer: (after, unit),
            changes: vec![change],
        })
    }
}

impl Advance {
    /// The tag after the step.
    fn advanced(
        &self,
        before: &tag_out::Model,
        mechanic: &worker::Model,
        now: DateTime<Utc>,
    ) -> Result<tag_out::Model, Error> {
        let person = Person {
            id: mechanic.id.as_str(),
            mechanic: mechanic.roles.0.contains(&Role::Mechanic),
        };
        let event = match self.step {
            Step::Diagnosis {
                waiting_for_parts, ..
            } => Event::Diagnose { waiting_for_parts },
            Step::Repair { .. } => Event::Repair,
            Step::Inspection { passed, .. } => Event::Inspect { passed },
            Step::Release => Event::Release,
        };
        let rules = Rules {
            inspector_differs_from_repairer: self.inspector_differs,
        };
        let next = standing(before)
            .after(event, person, rules)
            .map_err(|refusal| self.refused(refusal))?;
        let mut after = moved_on(before, next);
        match &self.step {
            Step::Diagnosis {
                text,
                expected_return_time,
                ..
            } => {
                after.diagnosis.clone_from(text);
                after.expected_return_time = *expected_return_time;
            }
            Step::Repair { text } => after.repair.clone_from(text),
            Step::Inspection { text, .. } => after.inspection.clone_from(text),
            Step::Release => {
                after.released_by_id = Some(mechanic.id.clone());
                after.release_time = Some(Ord::max(now, before.create_time));
            }
        }
        Ok(after)
    }

    fn refused(&self, refusal: Refusal) -> Error {
        let kind = match refusal {
            Refusal::NotAMechanic => {
                return Error::NotPermitted {
                    action: format!("{} is no mechanic; {refusal}", self.mechanic),
                };
            }
            Refusal::WrongState(_) => ObstacleKind::TagOutState,
            Refusal::OwnRepair => ObstacleKind::OwnRepair,
        };
        Error::obstacle(kind, name(&self.branch, &self.id), refusal.to_string())
    }
}
