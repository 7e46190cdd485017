//! A crew reports a step of a visit.
//!
//! What may follow what is for [`forenoon_trade::visit`]. Here: whose visit it is, which attempt at the job it belongs
//! to, whether the published plan has it, and what becomes of the job.

mod fit;
mod late;

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::visit::told;
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::{JobState, TaskActual, TaskActuals, VisitState};
use forenoon_trade::visit::{Ending, Event, Refusal, Visit};

use super::actuals::refuse_unknown;
use super::record::{fresh, tell};
use super::{moment, subject};
use crate::work::bench::add_late;
use crate::work::plan::{self, published_with};
use crate::work::{
    Accepted, Change, Command, Error, ObstacleKind, Reason, branch as branches, row,
};

/// How long after a job was given up the same report without a time is the same giving up: a shift.
const TOLD_AGAIN_MAX: TimeDelta = TimeDelta::hours(8);

/// A crew reports a step of a visit.
pub struct Report {
    /// The branch.
    pub branch: String,
    /// The job.
    pub job: String,
    /// The crew.
    pub crew: String,
    /// When; none for now.
    pub at: Option<DateTime<Utc>>,
    /// The step.
    pub step: Step,
}

/// The steps of a visit.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// The crew leaves for the job.
    Depart,
    /// It is there.
    Arrive,
    /// Work begins.
    Start,
    /// Work stops for a while, for a reason.
    Pause(String),
    /// Work goes on.
    Resume,
    /// Work is done.
    Finish(Finish),
    /// It could not be done.
    GiveUp(GivenUp),
}

/// What the end of the work comes with.
#[derive(Clone, Debug, PartialEq)]
pub struct Finish {
    /// What each task took, where known.
    pub task_actuals: Vec<TaskActual>,
    /// Bags taken away.
    pub bags: i32,
    /// What the office should know.
    pub note: String,
}

/// What giving a job up comes with.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenUp {
    /// Why.
    pub reason: String,
    /// What was worked at each task until then, where known.
    pub task_actuals: Vec<TaskActual>,
}

impl Step {
    /// What tasks took by the report.
    fn task_actuals(&self) -> &[TaskActual] {
        match self {
            Self::Finish(finish) => &finish.task_actuals,
            Self::GiveUp(given_up) => &given_up.task_actuals,
            _ => &[],
        }
    }

    fn event(&self) -> Event {
        match self {
            Self::Depart => Event::Depart,
            Self::Arrive => Event::Arrive,
            Self::Start => Event::Start,
            Self::Pause(_) => Event::Pause,
            Self::Resume => Event::Resume,
            Self::Finish(_) => Event::Finish,
            Self::GiveUp(_) => Event::GiveUp,
        }
    }

    /// The request's field with the time.
    fn time_field(&self) -> &'static str {
        match self {
            Self::Start => "start_time",
            Self::Finish(_) => "finish_time",
            _ => "event_time",
        }
    }

    fn kind(&self) -> &'static str {
        match self {
            Self::Depart => "visit.departed",
            Self::Arrive => "visit.arrived",
            Self::Start => "visit.started",
            Self::Pause(_) => "visit.paused",
            Self::Resume => "visit.resumed",
            Self::Finish(_) => "visit.finished",
            Self::GiveUp(_) => "visit.not_done",
        }
    }

    /// Whether a visit may begin with it.
    fn may_come_first(&self) -> bool {
        !matches!(self, Self::Pause(_) | Self::Resume | Self::Finish(_))
    }
}

/// The visit that a report belongs to.
struct Found {
    /// As it is stored; none where it is new.
    before: Option<visit::Model>,
    /// As the report goes on from it.
    row: visit::Model,
    /// The visit of another crew that has not begun, where a plan had given it the job and the report says that it was done by
    /// then.
    instead_of: Option<visit::Model>,
}

impl Command for Report {
    type Answer = visit::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<visit::Model>, Error> {
        let at = moment(self.at, self.step.time_field(), now)?;
        let subject = subject(&self.branch, &self.job);
        let job = job::Entity::find_by_id((self.branch.clone(), self.job.clone()))
            .one(transaction)
            .await?
            .ok_or_else(|| Error::not_found(subject.clone()))?;
        if let Some(accepted) = self.begun_before(transaction, &job, at, now).await? {
            return Ok(accepted);
        }
        let Found {
            before,
            mut row,
            instead_of,
        } = self.find(transaction, &job, at).await?;
        let mut known = told(&row);
        if self.gives_up_again(&row, at) {
            return self.heard_before(row);
        }
        if self.is_so_already(&row) {
            return Ok(heard(row));
        }
        if row.ended_by_plan_id.is_some() {
            match &self.step {
                // Done before the plan took it away: telephones are out of reach for a while.
                Step::Finish(_) => {
                    self.refuse_closed(&job)?;
                    known.ended = None;
                }
                // It is not done, whoever says so.
                Step::GiveUp(told) => {
                    return self
                        .worked_before(transaction, &job, row, &told.task_actuals)
                        .await;
                }
                _ => {}
            }
        }
        let next = known
            .after(self.step.event(), at)
            .map_err(|refusal| self.refused(refusal))?;
        if next == known && before.is_some() {
            return self.heard_before(row);
        }
        match self.step {
            Step::GiveUp(_) if next.started.is_none() => {
                row.plan_id = self.given_up_by(transaction, &row, at).await?;
            }
            // What is over has happened.
            _ if next.ended.is_some() => {}
            Step::Depart | Step::Arrive => {
                self.set_out(transaction, &job, &row, at, now).await?;
            }
            Step::Start => row.plan_id = self.begin(transaction, &job, &row, at, now).await?,
            Step::Resume => self.go_on(transaction, &job, &row, at, now).await?,
            _ => {}
        }
        let task_actuals = self.step.task_actuals();
        if !task_actuals.is_empty() {
            refuse_unknown(transaction, &job, task_actuals).await?;
        }
        self.write_down(&mut row, &next);
        let accepted = match (&before, &instead_of) {
            (Some(before), Some(other)) => {
                self.done_before_it_came(transaction, (before, row), other, now)
                    .await?
            }
            _ => self.keep(transaction, before.as_ref(), row).await?,
        };
        self.move_job(transaction, &job, &accepted.answer, now)
            .await?;
        Ok(accepted)
    }
}

impl Report {
    /// The attempt at the job that the report belongs to, or a new one.
    async fn find(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        at: DateTime<Utc>,
    ) -> Result<Found, Error> {
        let last = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(self.branch.as_str()))
            .filter(visit::Column::JobId.eq(self.job.as_str()))
            .order_by_desc(visit::Column::Attempt)
            .one(transaction)
            .await?;
        if let Some(last) = &last {
            let own = last.crew_id == self.crew;
            let given_up = last.state == VisitState::NotDone;
            if own && self.is_of_another_day(transaction, last, at).await? {
                return self.take_over(transaction, job, last, at).await;
            }
            if own && (told(last).takes(at) || self.gives_up_again(last, at)) {
                return Ok(Found {
                    before: Some(last.clone()),
                    row: last.clone(),
                    instead_of: None,
                });
            }
            // A crew that has not begun may be sent elsewhere by a new plan; then another comes.
            if !own && !given_up {
                if last.start_time.is_some() || !self.step.may_come_first() {
                    let taken = self.taken_away(transaction).await?;
                    return self.done_before(last, taken.as_ref(), at);
                }
                return self.take_over(transaction, job, last, at).await;
            }
        }
        if !self.step.may_come_first() {
            return Err(match self.taken_away(transaction).await? {
                Some(taken) => self.ended_by_plan(&taken),
                None => self.refused(Refusal::NotStarted),
            });
        }
        let attempt = last.map_or(1, |last| last.attempt + 1);
        let mut row = fresh(&self.branch, &self.job, attempt);
        self.take_on(transaction, job, &mut row, at).await?;
        Ok(Found {
            before: None,
            row,
            instead_of: None,
        })
    }

    /// Where another crew has the job: what the crew has done before a plan took it away counts, as long as the other has not
    /// begun; all else is refused.
    fn done_before(
        &self,
        last: &visit::Model,
        taken: Option<&visit::Model>,
        at: DateTime<Utc>,
    ) -> Result<Found, Error> {
        let counts = |taken: &&visit::Model| {
            matches!(self.step, Step::Finish(_))
                && last.start_time.is_none()
                && taken.start_time.is_some()
                && told(taken).takes(at)
        };
        match taken.filter(counts) {
            Some(taken) => Ok(Found {
                before: Some(taken.clone()),
                row: taken.clone(),
                instead_of: Some(last.clone()),
            }),
            None => Err(self.of_another(last, taken)),
        }
    }

    /// Whether a crew now sets out for a job by another day's plan than that by which it did before, and never began.
    async fn is_of_another_day(
        &self,
        transaction: &DatabaseTransaction,
        last: &visit::Model,
        at: DateTime<Utc>,
    ) -> Result<bool, Error> {
        let begun = last.start_time.is_some() || last.finish_time.is_some();
        if begun || !self.step.may_come_first() {
            return Ok(false);
        }
        let day = plan::get(transaction, &self.branch, &last.plan_id)
            .await?
            .day;
        let branch = branches::get(transaction, &self.branch).await?;
        if branches::local_day(&branch, at)? <= day {
            return Ok(false);
        }
        match published_with(transaction, &self.branch, &self.job, &self.crew, at).await {
            Ok(plan) => Ok(plan.plan.day != day),
            Err(Error::Obstructed(_) | Error::NotFound { .. }) => Ok(false),
            Err(error) => Err(error),
        }
    }

    /// The visit of a crew that comes in place of another, or by another day's plan, where nobody has begun.
    async fn take_over(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        last: &visit::Model,
        at: DateTime<Utc>,
    ) -> Result<Found, Error> {
        let mut row = fresh(&self.branch, &self.job, last.attempt);
        // Who has walked the site may be on the way elsewhere; what was seen holds.
        row.walkthroughs.clone_from(&last.walkthroughs);
        self.take_on(transaction, job, &mut row, at).await?;
        Ok(Found {
            before: Some(last.clone()),
            row,
            instead_of: None,
        })
    }

    /// The crew's last visit to the job, where a plan ended it.
    async fn taken_away(
        &self,
        transaction: &DatabaseTransaction,
    ) -> Result<Option<visit::Model>, Error> {
        let own = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(self.branch.as_str()))
            .filter(visit::Column::JobId.eq(self.job.as_str()))
            .filter(visit::Column::CrewId.eq(self.crew.as_str()))
            .order_by_desc(visit::Column::Attempt)
            .one(transaction)
            .await?;
        Ok(own.filter(|visit| visit.ended_by_plan_id.is_some()))
    }

    /// A crew begins a visit to a job that is open and that the day's published plan gives it.
    async fn take_on(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        row: &mut visit::Model,
        at: DateTime<Utc>,
    ) -> Result<(), Error> {
        self.refuse_closed(job)?;
        let plan = published_with(transaction, &self.branch, &self.job, &self.crew, at).await?;
        row.plan_id = plan.plan.id;
        row.crew_id.clone_from(&self.crew);
        Ok(())
    }

    /// The plan of the day on which a crew gives a job up: it may have set out for it by an earlier day's.
    async fn given_up_by(
        &self,
        transaction: &DatabaseTransaction,
        row: &visit::Model,
        at: DateTime<Utc>,
    ) -> Result<String, Error> {
        match published_with(transaction, &self.branch, &self.job, &self.crew, at).await {
            Ok(plan) => Ok(plan.plan.id),
            Err(Error::Obstructed(_) | Error::NotFound { .. }) => Ok(row.plan_id.clone()),
            Err(error) => Err(error),
        }
    }

    fn refuse_closed(&self, job: &job::Model) -> Result<(), Error> {
        if job.state == JobState::Open {
            return Ok(());
        }
        Err(Error::obstacle(
            ObstacleKind::NotOpen,
            subject(&self.branch, &self.job),
            "it is done or was called off",
        ))
    }

    /// What a crew is told whose visit a plan ended before the time of its report.
    fn ended_by_plan(&self, visit: &visit::Model) -> Error {
        let when = visit.finish_time.map_or_else(String::new, |at| {
            format!("; if the work was over by then, {at}, say when it was")
        });
        Error::obstacle(
            ObstacleKind::GivenUp,
            subject(&self.branch, &self.job),
            format!("{}{when}", visit.not_done_reason),
        )
    }

    /// What a crew is told where another one has the job; `taken` is its own visit that a plan ended.
    fn of_another(&self, visit: &visit::Model, taken: Option<&visit::Model>) -> Error {
        let kind = if self.step == Step::Start {
            ObstacleKind::AlreadyStarted
        } else {
            ObstacleKind::OtherCrew
        };
        let subject = subject(&self.branch, &self.job);
        if let Some(taken) = taken {
            let at_it = if visit.start_time.is_some() {
                "has begun it"
            } else {
                "is on its way"
            };
            let words = format!("{}, and {} {at_it}", taken.not_done_reason, visit.crew_id);
            Error::obstacle(ObstacleKind::OtherCrew, subject, words)
        } else if visit.start_time.is_some() {
            Error::obstacle(kind, subject, format!("{} has begun it", visit.crew_id))
        } else {
            Error::obstacle(
                ObstacleKind::NotStarted,
                subject,
                format!("nobody has begun it; {} is on its way", visit.crew_id),
            )
        }
    }

    /// The end of a visit told once more without a time, soon after: the answer to the first telling was lost, and it is no
    /// second attempt.
    fn gives_up_again(&self, last: &visit::Model, at: DateTime<Utc>) -> bool {
        let soon = last
            .finish_time
            .is_some_and(|end| at - end < TOLD_AGAIN_MAX);
        self.at.is_none()
            && last.state == VisitState::NotDone
            && soon
            && matches!(&self.step, Step::GiveUp(again) if again.reason == last.not_done_reason)
    }

    /// A pause or resumption without a time, where it is so already: the same told again.
    fn is_so_already(&self, row: &visit::Model) -> bool {
        self.at.is_none()
            && match self.step {
                Step::Pause(_) => row.state == VisitState::Paused,
                Step::Resume => row.state == VisitState::Working,
                _ => false,
            }
    }

    /// What was worked before a plan took the job away: told once it counts, as units' hours do. The visit stays as the plan
    /// ended it.
    async fn worked_before(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        before: visit::Model,
        task_actuals: &[TaskActual],
    ) -> Result<Accepted<visit::Model>, Error> {
        if task_actuals.is_empty() || before.task_actuals.0 == task_actuals {
            return Ok(heard(before));
        }
        if !before.task_actuals.0.is_empty() {
            return Err(self.told_otherwise(ObstacleKind::GivenUp));
        }
        refuse_unknown(transaction, job, task_actuals).await?;
        let mut row = before.clone();
        row.task_actuals = TaskActuals(task_actuals.to_vec());
        self.keep(transaction, Some(&before), row).await
    }

    /// Stores the visit as it is now, with the hours of units that the report tells of.
    async fn keep(
        &self,
        transaction: &DatabaseTransaction,
        before: Option<&visit::Model>,
        row: visit::Model,
    ) -> Result<Accepted<visit::Model>, Error> {
        match before {
            Some(before) => row::update(transaction, before, &row).await?,
            None => row::insert(transaction, &row).await?,
        }
        if matches!(self.step, Step::Finish(_) | Step::GiveUp(_)) {
            add_late(transaction, before, &row).await?;
        }
        let subject = subject(&self.branch, &self.job);
        let change = Change::of(subject, self.step.kind(), before, Some(&row))?;
        Ok(Accepted {
            answer: row,
            changes: vec![change],
        })
    }

    fn told_otherwise(&self, kind: ObstacleKind) -> Error {
        Error::obstacle(
            kind,
            subject(&self.branch, &self.job),
            "its end is reported already, otherwise than now",
        )
    }

    /// The same report again is heard and changes nothing; an end with other figures is refused.
    fn heard_before(&self, row: visit::Model) -> Result<Accepted<visit::Model>, Error> {
        let same_time = self.at.is_none() || self.at == row.finish_time;
        let (same, kind) = match &self.step {
            Step::Finish(finish) => (
                same_time
                    && row.task_actuals.0 == finish.task_actuals
                    && row.bags == finish.bags
                    && row.note == finish.note,
                ObstacleKind::AlreadyFinished,
            ),
            Step::GiveUp(given_up) => (
                same_time
                    && row.not_done_reason == given_up.reason
                    && row.task_actuals.0 == given_up.task_actuals,
                ObstacleKind::GivenUp,
            ),
            _ => (true, ObstacleKind::AlreadyFinished),
        };
        if same {
            return Ok(heard(row));
        }
        Err(self.told_otherwise(kind))
    }

    fn refused(&self, refusal: Refusal<DateTime<Utc>>) -> Error {
        let obstacle =
            |kind, words: &str| Error::obstacle(kind, subject(&self.branch, &self.job), words);
        let out_of_order =
            |reason, words: String| Error::violation(self.step.time_field(), reason, words);
        match refusal {
            Refusal::NotStarted => obstacle(
                ObstacleKind::NotStarted,
                "nobody has begun it; start it first",
            ),
            Refusal::Ended(Ending::Done, _) => {
                obstacle(ObstacleKind::AlreadyFinished, "it is done already")
            }
            Refusal::Ended(Ending::NotDone, _) => obstacle(
                ObstacleKind::GivenUp,
                "it was reported as not done; start it again",
            ),
            Refusal::TooEarly(step, at) => {
                let reason = if matches!(self.step, Step::Finish(_)) {
                    Reason::EndBeforeStart
                } else {
                    Reason::OutOfRange
                };
                out_of_order(reason, format!("is before the {}, {at}", word(step)))
            }
            Refusal::TooLate(step, at) => out_of_order(
                Reason::OutOfRange,
                format!("is after the {}, {at}", word(step)),
            ),
            Refusal::TooManyPauses => {
                out_of_order(Reason::TooMany, "is one pause too many".to_owned())
            }
        }
    }

    fn write_down(&self, row: &mut visit::Model, visit: &Visit<DateTime<Utc>>) {
        let reason = match &self.step {
            Step::Pause(reason) => reason.as_str(),
            _ => "",
        };
        tell(row, visit, reason);
        match &self.step {
            Step::Finish(finish) => {
                row.task_actuals = TaskActuals(finish.task_actuals.clone());
                row.bags = finish.bags;
                row.note.clone_from(&finish.note);
                row.not_done_reason.clear();
                row.ended_by_plan_id = None;
            }
            Step::GiveUp(given_up) => {
                row.task_actuals = TaskActuals(given_up.task_actuals.clone());
                row.not_done_reason.clone_from(&given_up.reason);
            }
            _ => {}
        }
    }

    /// The job runs, is done, or is open again. A late report of an earlier step leaves it as it is.
    async fn move_job(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        row: &visit::Model,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let state = match &self.step {
            Step::Start if row.finish_time.is_none() => JobState::Running,
            Step::Finish(_) => JobState::Done,
            Step::GiveUp(_) if job.state == JobState::Running => JobState::Open,
            _ => return Ok(()),
        };
        let mut after = job.clone();
        after.state = state;
        after.stamp_changed(job, now);
        row::update(transaction, job, &after).await?;
        Ok(())
    }
}

fn heard(row: visit::Model) -> Accepted<visit::Model> {
    Accepted {
        answer: row,
        changes: vec![],
    }
}

fn word(step: Event) -> &'static str {
    match step {
        Event::Depart => "departure",
        Event::Arrive => "arrival",
        Event::Start => "start",
        Event::Pause | Event::Resume => "pauses",
        Event::Finish | Event::GiveUp => "end",
    }
}
