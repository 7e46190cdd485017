//! What every resource row carries: a revision that counts its changes, and two times.

use chrono::{DateTime, Utc};

use crate::entity::{branch, crew, job, plan, site, site_case, tag_out, unit, worker};

/// A row with a revision and its times.
pub trait Revisioned {
    /// Counts changes, from 1.
    fn revision(&self) -> i64;
    /// When it was created.
    fn create_time(&self) -> DateTime<Utc>;
    /// Marks the row as new at `now`.
    fn stamp_created(&mut self, now: DateTime<Utc>);
    /// Takes over the revision and times of `before`, so that rows differ by what they say alone.
    fn carry_stamp(&mut self, before: &Self);
    /// Marks the row as `before`'s next revision, changed at `now`.
    fn stamp_changed(&mut self, before: &Self, now: DateTime<Utc>);
}

macro_rules! revisioned {
    ($($module:ident),+) => {$(
        impl Revisioned for $module::Model {
            fn revision(&self) -> i64 {
                self.revision
            }

            fn create_time(&self) -> DateTime<Utc> {
                self.create_time
            }

            fn stamp_created(&mut self, now: DateTime<Utc>) {
                self.revision = 1;
                self.create_time = now;
                self.update_time = now;
            }

            fn carry_stamp(&mut self, before: &Self) {
                self.revision = before.revision;
                self.create_time = before.create_time;
                self.update_time = before.update_time;
            }

            fn stamp_changed(&mut self, before: &Self, now: DateTime<Utc>) {
                self.revision = before.revision + 1;
                self.create_time = before.create_time;
                // A clock set back must not make a change look older than what it changed.
                self.update_time = Ord::max(now, before.update_time);
            }
        }
    )+};
}

revisioned!(
    branch, crew, job, plan, site, site_case, tag_out, unit, worker
);
