//! Estimates a job, stored or not. Stores nothing.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_desk::estimate::{Answer, CannotEstimate, Question, answered};
use forenoon_desk::inputs::keeps_in;
use forenoon_store::entity::{branch, job, site, tag_out, unit, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::TaskKind;
use forenoon_trade::estimate::LARGEST_CREW;
use forenoon_trade::price::Currency;

use super::{Changed, find, fit_changed, fit_to_site, get};
use crate::work::plan::Learning;
use crate::work::tag_out::open_tags;
use crate::work::{self, Error, Reason, Violation};

/// Workers on site where no crew is named.
const CREW_SIZE_USUAL: u8 = 2;
/// Said where a change leaves work alone that people wrote.
const KEPT_WORK: &str = "the tasks are as they were before the change, and not composed for it; leave them empty to have that";

/// What to estimate, and with whom and what.
#[derive(Clone, Debug, PartialEq)]
pub struct EstimateJob {
    /// The branch, as the request was read against it.
    pub branch: branch::Model,
    /// The job.
    pub job: Estimated,
    /// The crew that would do it; none for a usual one.
    pub crew: Option<String>,
    /// The units that would be used, in the order given; the branch's best fit for what they do not do.
    pub units: Vec<String>,
}

/// The job to estimate.
#[derive(Clone, Debug, PartialEq)]
pub enum Estimated {
    /// A stored one, by its id.
    Stored(String),
    /// A stored one as a change would make it; one as it would be created where there is none of its id.
    Changed(Box<job::Model>),
    /// One as it would be created.
    Draft(Box<job::Model>),
}

/// Estimates a job from what is stored as `transaction` sees it.
///
/// # Errors
/// [`Error::NotFound`] for a stored job that is not there; [`Error::Invalid`] for a draft, crew or unit that cannot be,
/// and for work that is beyond every tool.
pub async fn estimate(
    transaction: &DatabaseTransaction,
    learning: &Learning,
    asked: &EstimateJob,
    now: DateTime<Utc>,
) -> Result<Answer, Error> {
    let branch = &asked.branch;
    let mut found = Vec::new();
    let (job, site, kept_work) = job_and_site(transaction, asked).await?;
    let crew_size = crew_size(transaction, asked, &mut found).await?;
    let units = units(transaction, asked, &mut found).await?;
    work::refuse_violations(found)?;
    let today = work::plan::clock(branch, work::branch::local_day(branch, now)?)?;
    let lessons = learning.lessons(transaction, &branch.id, &today).await?;
    let answer = answered(&Question {
        branch,
        currency: currency(branch)?,
        job: &job,
        site: &site,
        crew: asked.crew.as_deref(),
        crew_size,
        chosen: &units.chosen.iter().collect::<Vec<_>>(),
        fleet: &units.fleet.iter().collect::<Vec<_>>(),
        forbidden: &units.forbidden,
        lessons: &lessons,
    });
    let mut answer = answer.map_err(|faults| {
        Error::Invalid(
            faults
                .into_iter()
                .map(|fault| violation(fault, asked))
                .collect(),
        )
    })?;
    if kept_work {
        answer.notices.push(KEPT_WORK.to_owned());
    }
    for unit in &units.chosen {
        if units.tagged.contains(&unit.id) {
            let words = format!(
                "{} is tagged out and must not go out now",
                unit.display_name
            );
            answer.notices.push(words);
        }
    }
    Ok(answer)
}

/// The job, its site, and whether a change left work alone that people wrote.
async fn job_and_site(
    transaction: &DatabaseTransaction,
    asked: &EstimateJob,
) -> Result<(job::Model, site::Model, bool), Error> {
    let branch = &asked.branch.id;
    let (job, before) = match &asked.job {
        Estimated::Stored(id) => (get(transaction, branch, id).await?, None),
        Estimated::Changed(job) => (
            job.as_ref().clone(),
            find(transaction, branch, &job.id).await?,
        ),
        Estimated::Draft(job) => (job.as_ref().clone(), None),
    };
    let fitted = if let Some(before) = before {
        fit_changed(transaction, &before, job).await?
    } else {
        let site = work::site::find(transaction, branch, &job.site_id).await?;
        Changed {
            job: fit_to_site(job, site.as_ref()).map_err(Error::Invalid)?,
            site,
            kept_work: false,
        }
    };
    let Changed {
        job,
        site,
        kept_work,
    } = fitted;
    let site = site.ok_or_else(|| Error::Internal("a job fits a site that is not".to_owned()))?;
    Ok((job, site, kept_work))
}

async fn crew_size(
    transaction: &DatabaseTransaction,
    asked: &EstimateJob,
    found: &mut Vec<Violation>,
) -> Result<u8, Error> {
    let Some(id) = &asked.crew else {
        return Ok(CREW_SIZE_USUAL);
    };
    let branch = &asked.branch.id;
    let mut refuse = |reason, words: &str| {
        found.push(Violation {
            field: "crew".to_owned(),
            reason,
            description: format!("{} {words}", work::crew::name(branch, id)),
        });
    };
    if work::crew::find(transaction, branch, id).await?.is_none() {
        refuse(
            Reason::UnknownReference,
            "is not there; name a crew of the branch",
        );
        return Ok(CREW_SIZE_USUAL);
    }
    let size = worker::Entity::find()
        .filter(worker::Column::BranchId.eq(branch.as_str()))
        .filter(worker::Column::CrewId.eq(id.as_str()))
        .count(transaction)
        .await?;
    if size == 0 {
        refuse(
            Reason::Conflict,
            "has no workers; put some in it, or name another",
        );
    }
    Ok(u8::try_from(size).unwrap_or(LARGEST_CREW))
}

struct Units {
    /// Those named, in their order.
    chosen: Vec<unit::Model>,
    /// Those that may go out, in order of id.
    fleet: Vec<unit::Model>,
    /// Ids of those that must not.
    tagged: Vec<String>,
    /// What some that may go out must not do, by id.
    forbidden: BTreeMap<String, Vec<TaskKind>>,
}

async fn units(
    transaction: &DatabaseTransaction,
    asked: &EstimateJob,
    found: &mut Vec<Violation>,
) -> Result<Units, Error> {
    let branch = asked.branch.id.as_str();
    let (kept_in, limited): (Vec<_>, Vec<_>) = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(open_tags())
        .all(transaction)
        .await?
        .into_iter()
        .partition(keeps_in);
    let tagged: Vec<String> = kept_in.into_iter().map(|tag| tag.unit_id).collect();
    let forbidden = limited
        .into_iter()
        .map(|tag| (tag.unit_id, tag.forbidden_tasks.0))
        .collect();
    let all = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(branch))
        .order_by_asc(unit::Column::Id)
        .all(transaction)
        .await?;
    let mut chosen = Vec::new();
    for (index, id) in asked.units.iter().enumerate() {
        let unit = all.iter().find(|unit| unit.id == *id);
        let name = work::unit::name(branch, id);
        let amiss = match unit {
            None => Some((
                Reason::UnknownReference,
                format!("{name} is not there; name a unit of the branch"),
            )),
            Some(unit) if unit.retired => Some((
                Reason::Conflict,
                format!("{name} is retired; name a unit of the fleet"),
            )),
            Some(unit) => {
                chosen.push(unit.clone());
                None
            }
        };
        found.extend(amiss.map(|(reason, description)| Violation {
            field: format!("units[{index}]"),
            reason,
            description,
        }));
    }
    Ok(Units {
        chosen,
        fleet: all
            .into_iter()
            .filter(|unit| !unit.retired && !tagged.contains(&unit.id))
            .collect(),
        tagged,
        forbidden,
    })
}

/// The branch's currency.
///
/// # Errors
/// Where the store holds what is none.
pub(crate) fn currency(branch: &branch::Model) -> Result<Currency, Error> {
    let code = branch.currency_code.as_str();
    let digits = iso_currency::Currency::from_code(code)
        .and_then(iso_currency::Currency::exponent)
        .and_then(|digits| u8::try_from(digits).ok());
    digits
        .and_then(|digits| Currency::new(code, digits).ok())
        .ok_or_else(|| Error::Internal(format!("stored currency {code:?}")))
}

fn violation(fault: CannotEstimate, asked: &EstimateJob) -> Violation {
    let description = fault.to_string();
    let field = match fault {
        CannotEstimate::Task { index, .. } => format!("job.tasks[{index}]"),
        CannotEstimate::Unit { id, .. } => {
            let place = asked.units.iter().position(|unit| *unit == id);
            place.map_or_else(|| "units".to_owned(), |index| format!("units[{index}]"))
        }
        CannotEstimate::Price(_) => "parent".to_owned(),
    };
    Violation {
        field,
        reason: Reason::Conflict,
        description,
    }
}
