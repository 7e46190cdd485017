//! Takes a release back. The released tag is history and never changes: a new one takes it up.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{tag_out, unit, worker};
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait};
use forenoon_store::value::{Contact, ForbiddenEarlier, ForbiddenTasks, Severity};
use forenoon_trade::tagout::{Event, Person, Rules, Tag};

use super::tag::{accept, open_tag};
use super::{Tagged, get, name, state};
use crate::work::{Accepted, Command, Error, ObstacleKind, Reason, branch as branches};

/// Takes a release back.
pub struct Reopen {
    /// The branch.
    pub branch: String,
    /// The released tag-out.
    pub id: String,
    /// Who saw that the fault is there.
    pub reopened_by: String,
    /// What was seen.
    pub description: String,
}

impl Command for Reopen {
    type Answer = Tagged;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<Tagged>, Error> {
        let released = get(transaction, &self.branch, &self.id).await?;
        let branch = branches::get(transaction, &self.branch).await?;
        let finder = worker::Entity::find_by_id((self.branch.clone(), self.reopened_by.clone()))
            .one(transaction)
            .await?
            .ok_or_else(|| {
                Error::violation(
                    "reopened_by",
                    Reason::UnknownReference,
                    "names no worker of the branch",
                )
            })?;
        self.allowed(&released)?;
        if let Some(open) = open_tag(transaction, &released).await? {
            return Err(Error::obstacle(
                ObstacleKind::AlreadyTaggedOut,
                name(&self.branch, &open.id),
                "the unit has this open tag already; where it got worse, tag the unit out as unsafe",
            ));
        }
        let unit = unit::Entity::find_by_id((self.branch.clone(), released.unit_id.clone()))
            .one(transaction)
            .await?
            .map_or_else(|| released.unit_id.clone(), |unit| unit.display_name);
        let row = tag_out::Model {
            description: self.description.clone(),
            // A fault that outlived its repair is not what it was taken for.
            severity: Severity::Unsafe,
            forbidden_tasks: ForbiddenTasks::default(),
            found_by_id: Some(finder.id),
            job_id: None,
            contact: Some(Contact {
                display_name: finder.display_name,
                phone: finder.phone,
                email: String::new(),
            }),
            diagnosis: String::new(),
            expected_return_time: None,
            repair: String::new(),
            repaired_by_id: None,
            inspection: String::new(),
            inspected_by_id: None,
            released_by_id: None,
            release_time: None,
            reopens_id: Some(released.id.clone()),
            severity_time: None,
            forbidden_earlier: ForbiddenEarlier::default(),
            ..released
        };
        let (tag, affected_plans, change) = accept(transaction, &branch, row, now).await?;
        Ok(Accepted {
            answer: Tagged {
                tag,
                unit_display_name: unit,
                affected_plans,
            },
            changes: vec![change],
        })
    }
}

impl Reopen {
    /// The trade's state machine lets a released tag alone be reopened, by anybody.
    fn allowed(&self, released: &tag_out::Model) -> Result<(), Error> {
        let tag = Tag {
            state: state(released.state),
            repaired_by: released.repaired_by_id.as_deref(),
            inspected_by: released.inspected_by_id.as_deref(),
        };
        let person = Person {
            id: self.reopened_by.as_str(),
            mechanic: false,
        };
        let rules = Rules {
            inspector_differs_from_repairer: false,
        };
        tag.after(Event::Reopen, person, rules)
            .map(drop)
            .map_err(|refusal| {
                Error::obstacle(
                    ObstacleKind::TagOutState,
                    name(&self.branch, &self.id),
                    format!("{refusal}; only a released one is reopened"),
                )
            })
    }
}
