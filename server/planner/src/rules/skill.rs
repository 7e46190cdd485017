//! Skills: every skill a job needs is among its crew's people.

use crate::index::SkillIx;
use crate::problem::{Crew, Job};

/// The first skill the crew lacks.
pub(crate) fn missing(crew: &Crew, job: &Job) -> Option<SkillIx> {
    job.skills
        .iter()
        .copied()
        .find(|skill| !crew.skills.contains(skill))
}
