//! Where the demo's records come together.

use chrono::NaiveDate;
use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::{Contact, Crew, ImportRecord, Job, Site, Unit, Worker};

use super::BRANCH_ID;

/// The records written so far, and what they all share.
pub(super) struct Book {
    pub(super) first_day: NaiveDate,
    records: Vec<ImportRecord>,
    phones: u32,
}

impl Book {
    pub(super) fn new(first_day: NaiveDate) -> Self {
        Self {
            first_day,
            records: Vec::new(),
            phones: 0,
        }
    }

    pub(super) fn into_records(self) -> Vec<ImportRecord> {
        self.records
    }

    pub(super) fn unit(&mut self, id: &str, unit: Unit) {
        self.push(Record::Unit(Unit {
            name: name("units", id),
            ..unit
        }));
    }

    pub(super) fn crew(&mut self, id: &str, crew: Crew) {
        self.push(Record::Crew(Crew {
            name: name("crews", id),
            ..crew
        }));
    }

    pub(super) fn worker(&mut self, id: &str, worker: Worker) {
        self.push(Record::Worker(Worker {
            name: name("workers", id),
            ..worker
        }));
    }

    pub(super) fn site(&mut self, id: &str, site: Site) {
        self.push(Record::Site(Site {
            name: name("sites", id),
            ..site
        }));
    }

    /// A job at a site that is told by its id.
    pub(super) fn job(&mut self, id: &str, site_id: &str, job: Job) {
        self.push(Record::Job(Job {
            name: name("jobs", id),
            site: name("sites", site_id),
            ..job
        }));
    }

    #[expect(
        clippy::unnecessary_wraps,
        reason = "the field that takes it is optional"
    )]
    /// Somebody with a number of their own, of those set aside for fiction: 555-0100 to 555-0199 of any area.
    pub(super) fn contact(&mut self, display_name: &str) -> Option<Contact> {
        Some(Contact {
            display_name: display_name.to_owned(),
            phone: self.phone(),
            email: String::new(),
        })
    }

    /// The next number set aside for fiction.
    pub(super) fn phone(&mut self) -> String {
        let area = if self.phones < 100 { 308 } else { 402 };
        let line = self.phones % 100;
        self.phones += 1;
        format!("{area}-555-01{line:02}")
    }

    fn push(&mut self, record: Record) {
        self.records.push(ImportRecord {
            record: Some(record),
        });
    }
}

/// The resource name of one of the branch's records.
pub(super) fn name(collection: &str, id: &str) -> String {
    format!("branches/{BRANCH_ID}/{collection}/{id}")
}
