//! The command, and its dry run.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, crew, job, site, unit, worker};
use forenoon_store::sea_orm::DatabaseTransaction;

use super::check::{self, Sink};
use super::kept::with_hazards_of_cases;
use super::stored::Stored;
use super::{Fault, Records, Removed, Unread, write};
use crate::work::{self, Accepted, Change, Command, Error, Put, Violation};

/// Brings records in.
pub struct Import {
    /// The branch they were read against.
    pub branch: branch::Model,
    /// The records that could be read.
    pub records: Records,
    /// The ids of those that could not.
    pub unread: Unread,
    /// What was wrong with these.
    pub faults: Vec<Fault>,
}

/// What an import does, or would do.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outlook {
    /// Records that are new.
    pub created: usize,
    /// Records that replace others and differ from them.
    pub updated: usize,
    /// What these others had and their successors have not.
    pub removed: Removed,
    /// What is wrong, in the order of the records.
    pub faults: Vec<Fault>,
}

/// What becomes of each record.
struct Plan {
    units: Vec<Put<unit::Model>>,
    crews: Vec<Put<crew::Model>>,
    workers: Vec<Put<worker::Model>>,
    sites: Vec<Put<site::Model>>,
    jobs: Vec<Put<job::Model>>,
    /// Units that give their serial number to another.
    serials_given_up: Vec<String>,
    outlook: Outlook,
}

impl Import {
    /// Checks every record and says what would become of them. Writes nothing.
    ///
    /// # Errors
    /// Those of the database, and of a branch that changed meanwhile.
    pub async fn dry_run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Outlook, Error> {
        self.plan(transaction, now).await.map(|plan| plan.outlook)
    }

    async fn plan(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Plan, Error> {
        work::branch::refuse_moved(transaction, &self.branch).await?;
        let stored = Stored::read(transaction, &self.branch.id, &self.records).await?;
        let mut sink = Sink::new(self.faults.clone());
        let cx = check::Context {
            transaction,
            records: &self.records,
            unread: &self.unread,
            stored: &stored,
            now,
        };
        check::units(&cx, &mut sink).await?;
        check::crews(&cx, &mut sink);
        check::workers(&cx, &mut sink);
        check::sites(&cx, &mut sink).await?;
        let jobs = check::jobs(&cx, &mut sink);
        let units = write::decided(&self.records.units, &stored.units, now, |row| &row.id);
        let crews = write::decided(&self.records.crews, &stored.crews, now, |row| &row.id);
        let workers = write::decided(&self.records.workers, &stored.workers, now, |row| &row.id);
        let sites = with_hazards_of_cases(
            transaction,
            &self.branch.id,
            &self.records.sites,
            &stored.sites,
        )
        .await?;
        check::hazards(&sites, &mut sink);
        let sites = write::decided(&sites, &stored.sites, now, |row| &row.id);
        let jobs = write::decided(&jobs, &stored.jobs, now, |row| &row.id);
        let tallies = [
            write::tally(&units),
            write::tally(&crews),
            write::tally(&workers),
            write::tally(&sites),
            write::tally(&jobs),
        ];
        let outlook = Outlook {
            created: tallies.iter().map(|(created, _)| created).sum(),
            updated: tallies.iter().map(|(_, updated)| updated).sum(),
            removed: Removed::count(&units, &crews, &sites),
            faults: sink.finish(),
        };
        Ok(Plan {
            serials_given_up: check::serials_given_up(&cx),
            units,
            crews,
            workers,
            sites,
            jobs,
            outlook,
        })
    }
}

impl Command for Import {
    type Answer = Outlook;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<Outlook>, Error> {
        let plan = self.plan(transaction, now).await?;
        if !plan.outlook.faults.is_empty() {
            return Err(Error::Invalid(
                plan.outlook.faults.into_iter().map(in_request).collect(),
            ));
        }
        write::give_up_serials(transaction, &self.branch.id, &plan.serials_given_up).await?;
        let mut changes: Vec<Change> = Vec::new();
        // In this order every row finds what it refers to.
        macro_rules! write {
            ($($list:ident: $module:ident),+) => {$(
                write::all::<$module::Entity>(transaction, &plan.$list).await?;
                for put in &plan.$list {
                    let row = put.row();
                    let name = work::$module::name(&row.branch_id, &row.id);
                    changes.extend(put.change(name, work::$module::KINDS)?);
                }
            )+};
        }
        write!(units: unit, crews: crew, workers: worker, sites: site, jobs: job);
        Ok(Accepted {
            answer: plan.outlook,
            changes,
        })
    }
}

/// The fault with its path from the request.
fn in_request(fault: Fault) -> Violation {
    let Fault { index, violation } = fault;
    Violation {
        field: format!("records[{index}].{}", violation.field),
        ..violation
    }
}
