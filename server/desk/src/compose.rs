//! A job's tasks, composed by the trade's rules from the site's areas and the state they are in.

use forenoon_store::entity::{job, site};
use forenoon_store::value::{Capability, Clippings, Task, TaskKind, Tasks};
use forenoon_trade::compose::{
    Composition, Debris, Finish, Misdescribed, Step, Visit, breaches, compose,
};
use forenoon_trade::rates::Rates;
use forenoon_trade::site::Area;
use forenoon_trade::task::{Method, TaskKind as TradeTask};

use crate::service::MEETING;
use crate::trade_map::{condition, method, task_kind, trade_area};

/// The most tasks of a job.
pub const TASKS_MAX: usize = 100;

/// What the rules make of a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Composed {
    /// The tasks, in the order in which they are done.
    pub tasks: Vec<Task>,
    /// What a planner should know.
    pub notices: Vec<String>,
}

/// Why a job's tasks cannot be composed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotCompose {
    /// The site has no area, or none of those the job names.
    #[error("the site has no area to work on; describe its areas or give the tasks")]
    NoAreas,
    /// An area, by its place in the site's list, or the job as a whole is described wrongly.
    #[error("{what}")]
    Misdescribed {
        /// The area's place in the site's list; none for the job as a whole.
        area: Option<usize>,
        /// What is wrong.
        what: String,
    },
}

/// Composes the tasks of a job at a site.
///
/// # Errors
/// Every fault of the description.
pub fn composed(job: &job::Model, site: &site::Model) -> Result<Composed, Vec<CannotCompose>> {
    let (composition, chosen) = composition(job, site, &Rates::default())?;
    Ok(Composed {
        tasks: tasks(&composition, site, &chosen),
        notices: composition
            .notices
            .iter()
            .map(ToString::to_string)
            .collect(),
    })
}

/// Whether a change of a job touches what its tasks are composed from.
pub fn asks_for_other_work(before: &job::Model, after: &job::Model) -> bool {
    let of = |job: &job::Model| {
        let meets_before = job.promise.as_ref().map(|promise| promise.before_work);
        (job.deadline.is_some(), meets_before)
    };
    before.site_id != after.site_id
        || before.area_ids != after.area_ids
        || before.condition != after.condition
        || of(before) != of(after)
}

/// Whether a job's tasks are as the rules compose them: by what was kept with them or, of those stored before it was kept,
/// by what the rules compose at the site now.
pub fn is_composed(job: &job::Model, site: Option<&site::Model>) -> bool {
    if job.tasks.0.iter().any(|task| task.composed) {
        return job.tasks.are_composed();
    }
    let composed = site.and_then(|site| composed(job, site).ok());
    composed.is_some_and(|composed| {
        let mut tasks = Tasks(composed.tasks);
        keep_ids(&job.tasks, &mut tasks);
        tasks.is_same_work(&job.tasks)
    })
}

/// Gives tasks that are composed anew the ids of the like ones before, and ids of their own to others: crews report by the
/// ids on the sheets that they have.
pub fn keep_ids(before: &Tasks, tasks: &mut Tasks) {
    let mut left: Vec<&Task> = before.0.iter().collect();
    let ids: Vec<Option<String>> = tasks
        .0
        .iter()
        .map(|task| {
            let like = |old: &&Task| old.kind == task.kind && old.area_id == task.area_id;
            let at = left.iter().position(like)?;
            Some(left.remove(at).task_id.clone())
        })
        .collect();
    let known: Vec<&str> = before.0.iter().map(|task| task.task_id.as_str()).collect();
    let mut free = (1..).map(|number| format!("t{number}"));
    let mut fresh = || free.by_ref().find(|id| !known.contains(&id.as_str()));
    for (task, id) in tasks.0.iter_mut().zip(ids) {
        if let Some(id) = id.or_else(&mut fresh) {
            task.task_id = id;
        }
    }
}

/// What the trade's rules make of a job, and the places in the site's list of the areas it speaks of.
pub(crate) fn composition(
    job: &job::Model,
    site: &site::Model,
    rates: &Rates,
) -> Result<(Composition, Vec<usize>), Vec<CannotCompose>> {
    let described = Described::new(job, site);
    if described.areas.is_empty() {
        return Err(vec![CannotCompose::NoAreas]);
    }
    let composition = compose(&described.visit(job, site), rates).map_err(|faults| {
        faults
            .into_iter()
            .map(|Misdescribed { area, fault }| CannotCompose::Misdescribed {
                area: area.and_then(|ix| described.chosen.get(ix).copied()),
                what: fault.to_string(),
            })
            .collect::<Vec<_>>()
    })?;
    Ok((composition, described.chosen))
}

/// The rules of the trade that a job's tasks, as people wrote them, do not keep; in words.
pub(crate) fn rules_not_kept(job: &job::Model, site: &site::Model) -> Vec<String> {
    let described = Described::new(job, site);
    let area = |id: &Option<String>| {
        let id = id.as_ref()?;
        described.chosen.iter().position(|ix| {
            site.areas
                .0
                .get(*ix)
                .is_some_and(|area| area.area_id == *id)
        })
    };
    let steps: Vec<Step> = job
        .tasks
        .0
        .iter()
        .filter_map(|task| {
            Some(Step {
                kind: task_kind(task.kind),
                method: match task.capabilities.first() {
                    Some(capability) => method(*capability)?,
                    None => Method::OnFoot,
                },
                area: area(&task.area_id),
            })
        })
        .collect();
    breaches(&described.visit(job, site), &steps)
        .iter()
        .map(ToString::to_string)
        .collect()
}

/// The areas that a job speaks of in the trade's words, and their places in the site's list.
struct Described {
    areas: Vec<Area>,
    chosen: Vec<usize>,
}

impl Described {
    fn new(job: &job::Model, site: &site::Model) -> Self {
        let chosen: Vec<usize> = site
            .areas
            .0
            .iter()
            .enumerate()
            .filter(|(_, area)| job.area_ids.0.is_empty() || job.area_ids.0.contains(&area.area_id))
            .map(|(ix, _)| ix)
            .collect();
        let areas = chosen
            .iter()
            .filter_map(|ix| site.areas.0.get(*ix))
            .map(|area| trade_area(area, condition(&job.condition)))
            .collect();
        Self { areas, chosen }
    }

    fn visit(&self, job: &job::Model, site: &site::Model) -> Visit<'_> {
        let meet = |before: bool| {
            job.promise
                .as_ref()
                .filter(|promise| promise.before_work == before)
                .map(|_| MEETING)
        };
        Visit {
            areas: &self.areas,
            debris: debris(job, site),
            sensitive: site.sensitive,
            finish: if job.deadline.is_some() {
                Finish::ThisVisit
            } else {
                Finish::InStages
            },
            meet_before: meet(true),
            meet_after: meet(false),
        }
    }
}

fn debris(job: &job::Model, site: &site::Model) -> Debris {
    let taken = !matches!(site.clippings, Clippings::MayLie);
    if taken || job.condition.heavy_debris {
        Debris::MustCollect
    } else {
        Debris::Blowable
    }
}

fn tasks(composition: &Composition, site: &site::Model, chosen: &[usize]) -> Vec<Task> {
    composition
        .tasks
        .iter()
        .enumerate()
        .map(|(ix, planned)| Task {
            task_id: format!("t{}", ix + 1),
            kind: stored_kind(planned.work.kind),
            area_id: planned
                .area
                .and_then(|area| chosen.get(area))
                .and_then(|area| site.areas.0.get(*area))
                .map(|area| area.area_id.clone()),
            capabilities: capabilities(planned.work.method),
            passes: i32::from(planned.work.passes),
            agreed_minutes: None,
            composed: true,
        })
        .collect()
}

const fn stored_kind(kind: TradeTask) -> TaskKind {
    match kind {
        TradeTask::WalkBefore => TaskKind::WalkBefore,
        TradeTask::KnockDown => TaskKind::KnockDown,
        TradeTask::CutBrush => TaskKind::CutBrush,
        TradeTask::Edge => TaskKind::Edge,
        TradeTask::Trim => TaskKind::Trim,
        TradeTask::Mow => TaskKind::Mow,
        TradeTask::SecondPass => TaskKind::SecondPass,
        TradeTask::Collect => TaskKind::Collect,
        TradeTask::BlowOff => TaskKind::BlowOff,
        TradeTask::WalkAfter => TaskKind::WalkAfter,
    }
}

/// What may do the work: what the rules chose, and what does it as well. A collecting mower may always mow. A line head
/// never stands in for an edger; for a blade head it may, in as many passes as the stems want.
fn capabilities(method: Method) -> Vec<Capability> {
    match method {
        Method::OnFoot => Vec::new(),
        Method::Edger => vec![Capability::Edger],
        Method::FlatShovel => vec![Capability::FlatShovel],
        Method::LineHead => vec![Capability::LineHead],
        Method::BladeHead => vec![Capability::BladeHead, Capability::LineHead],
        Method::Mower => vec![Capability::Mower, Capability::CollectingMower],
        Method::CollectingMower => vec![Capability::CollectingMower],
        Method::Blower => vec![Capability::Blower],
        Method::RakeAndBag => vec![Capability::Rake],
    }
}
