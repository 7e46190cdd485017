//! Services kept from one look to the next: what a job takes depends on the team and on the tools aboard that it could
//! use, and the same combinations come again and again.

use super::class_set::ClassSet;
use super::model::Model;
use crate::index::JobIx;
use crate::rules::capability::{self, Served};

/// Most entries; each is overwritten by the next that falls on it.
const ENTRIES_MAX: usize = 1 << 12;

#[derive(Clone, Copy)]
struct Entry {
    job: u32,
    team: u32,
    /// Classes aboard that the job could use.
    aboard: ClassSet,
    served: Option<Served>,
}

/// The kept services.
#[derive(Default)]
pub(crate) struct Services {
    entries: Vec<Entry>,
}

impl Services {
    /// The same as [`capability::serve`].
    pub(crate) fn serve(
        &mut self,
        model: &Model,
        job: JobIx,
        crew: usize,
        aboard: &ClassSet,
    ) -> Option<&Served> {
        if self.entries.is_empty() {
            let nothing = Entry {
                job: u32::MAX,
                team: 0,
                aboard: ClassSet::EMPTY,
                served: None,
            };
            // Room for a few sets of tools for each job and team; more would only be memory to walk through.
            let entries = 32 * model.problem.jobs().len();
            self.entries
                .resize(entries.next_power_of_two().min(ENTRIES_MAX), nothing);
        }
        let aboard = aboard.common(&model.relevant[job.ix()]);
        let team = model.crews[crew].team;
        let at = slot(job, team, &aboard) & (self.entries.len() - 1);
        let entry = &mut self.entries[at];
        if entry.job != job.0 || entry.team != team || entry.aboard != aboard {
            *entry = Entry {
                job: job.0,
                team,
                aboard,
                served: capability::serve(model, job, crew, &aboard),
            };
        }
        entry.served.as_ref()
    }
}

fn slot(job: JobIx, team: u32, aboard: &ClassSet) -> usize {
    let mixed = aboard.mixed() ^ (u64::from(job.0) << 32 | u64::from(team));
    let mixed = mixed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    (mixed >> 52) as usize
}
