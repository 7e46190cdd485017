//! Records a walk of the site before or after the work.

use chrono::{DateTime, Utc};
use forenoon_store::entity::visit;
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::{VisitState, WalkOutcome, Walkthrough};

use super::{moment, subject};
use crate::work::photo::{link, refuse_unknown};
use crate::work::{Accepted, Change, Command, Error, ObstacleKind, Reason, row};

/// Records a walk of the site. One before the work and one after it are kept; told again, the last telling holds, since
/// photographs come later than words. A telling of an earlier time than the one that is known comes late and changes the
/// walk no more; its photographs are kept with the job.
pub struct RecordWalkthrough {
    /// The branch.
    pub branch: String,
    /// The job.
    pub job: String,
    /// The crew.
    pub crew: String,
    /// The walk; its time is set here where `at` is none.
    pub walk: Walkthrough,
    /// When; none for now.
    pub at: Option<DateTime<Utc>>,
}

impl Command for RecordWalkthrough {
    type Answer = visit::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<visit::Model>, Error> {
        let mut walk = self.walk.clone();
        walk.walk_time = moment(self.at, "walkthrough.walk_time", now)?;
        let subject = subject(&self.branch, &self.job);
        let before = self.visit(transaction, &subject).await?;
        refuse_unknown(
            transaction,
            &self.branch,
            &walk.photos,
            "walkthrough.photos",
        )
        .await?;
        if walk.outcome == WalkOutcome::NotHome && walk.photos.is_empty() {
            return Err(Error::violation(
                "walkthrough.photos",
                Reason::Required,
                "nobody was home: give at least one photograph",
            ));
        }
        let mut after = before.clone();
        match after
            .walkthroughs
            .0
            .iter_mut()
            .find(|known| known.before_work == walk.before_work)
        {
            Some(known) if self.at.is_some_and(|at| at < known.walk_time) => {}
            Some(known) => {
                if self.at.is_none() {
                    walk.walk_time = known.walk_time;
                }
                *known = walk;
            }
            None => after.walkthroughs.0.push(walk),
        }
        after.walkthroughs.0.sort_by_key(|walk| !walk.before_work);
        for sha256 in &self.walk.photos {
            // Whatever it was stored as being of, it is kept as long as this job.
            link(transaction, &self.branch, &subject, sha256, now).await?;
        }
        if after == before {
            return Ok(Accepted {
                answer: before,
                changes: vec![],
            });
        }
        row::update(transaction, &before, &after).await?;
        let change = Change::of(subject, "walk.recorded", Some(&before), Some(&after))?;
        Ok(Accepted {
            answer: after,
            changes: vec![change],
        })
    }
}

impl RecordWalkthrough {
    /// The crew's last visit; it must be there, since who walks a site is on it.
    async fn visit(
        &self,
        transaction: &DatabaseTransaction,
        subject: &str,
    ) -> Result<visit::Model, Error> {
        let last = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(self.branch.as_str()))
            .filter(visit::Column::JobId.eq(self.job.as_str()))
            .order_by_desc(visit::Column::Attempt)
            .one(transaction)
            .await?
            .filter(|visit| visit.state != VisitState::UnderWay)
            .ok_or_else(|| {
                Error::obstacle(
                    ObstacleKind::NotArrived,
                    subject,
                    "no crew is there; report the arrival first",
                )
            })?;
        if last.crew_id == self.crew {
            return Ok(last);
        }
        Err(Error::obstacle(
            ObstacleKind::OtherCrew,
            subject,
            format!("{} is there and must report", last.crew_id),
        ))
    }
}
