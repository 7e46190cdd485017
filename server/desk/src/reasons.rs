//! Why jobs do not fit, in a dispatcher's words.

use std::borrow::Borrow;
use std::fmt::Display;

use forenoon_planner::explain::{Cause, Reasons as PlannerReasons, Unplanned, explain_until};
use forenoon_planner::problem::limits::SERVICE_SECONDS_MAX;
use forenoon_planner::{Cancel, CrewIx, JobIx, Plan, Seconds, SkillIx, UnitIx};
use forenoon_store::entity::{job, tag_out, unit};
use forenoon_store::value::{Capability, Reason, ReasonKind, Reasons, Remedy, Task, TaskKind};
use forenoon_trade::equipment::ToolKind;
use forenoon_trade::exposure::heat::{Effort, WorkRest};

use crate::exposure::tool_kind;
use crate::heat::advice;
use crate::inputs::{DayInputs, keeps_in};
use crate::problem::DayProblem;
use crate::trade_map::{Hindrance, task_kind};

/// Causes told of one job where any one is enough, or nothing helps: more would not be read.
const CAUSES_TOLD_MAX: usize = 4;
/// Ground less steep than this asks nothing special of a machine.
const SLOPE_TOLD_PERCENT: f64 = 10.0;
const MILLIMETRES_PER_INCH: f64 = 25.4;

/// The reasons of the unplanned jobs, in the plan's order; when cancelled, of those that were looked into by then.
pub fn reasons(inputs: &DayInputs, day: &DayProblem, plan: &Plan, cancel: &Cancel) -> Vec<Reasons> {
    let words = Words { inputs, day };
    explain_until(&day.problem, plan, cancel)
        .iter()
        .map(|left_out| words.reasons(left_out))
        .collect()
}

struct Words<'a> {
    inputs: &'a DayInputs,
    day: &'a DayProblem,
}

impl Words<'_> {
    fn reasons(&self, left_out: &Unplanned) -> Reasons {
        let Some(job) = self.job(left_out.job) else {
            return Reasons::default();
        };
        let (causes, remedy) = match &left_out.reasons {
            PlannerReasons::NotWorthIt {
                crew,
                for_exposure: true,
                ..
            } => return self.over_exposure(*crew),
            PlannerReasons::NotWorthIt { crew, .. } => return self.outranked(*crew),
            PlannerReasons::LeftAnyway { crew, .. } => return self.left_anyway(*crew),
            PlannerReasons::AnyOne(causes) => (causes, Some(Remedy::AnyOne)),
            PlannerReasons::AllOf(causes) => (causes, Some(Remedy::AllTogether)),
            PlannerReasons::Never(causes) => (causes, None),
        };
        if causes.is_empty() {
            return Reasons(vec![Reason {
                kind: ReasonKind::Outranked,
                later_kind: None,
                remedy: None,
                text: "fits nowhere beside the jobs that come first".to_owned(),
                subjects: Vec::new(),
            }]);
        }
        let mut told: Vec<Reason> = Vec::new();
        for cause in causes {
            let reason = Reason {
                remedy,
                ..self.reason(job, *cause, causes)
            };
            if !told.contains(&reason) {
                told.push(reason);
            }
        }
        // Of those that all must go none can be left unsaid.
        if remedy != Some(Remedy::AllTogether) {
            told.truncate(CAUSES_TOLD_MAX);
        }
        Reasons(told)
    }

    /// A skill that crews lack, all of them in one sentence.
    fn skill_missing(&self, causes: &[Cause], missing: SkillIx) -> Reason {
        let crews: Vec<CrewIx> = causes
            .iter()
            .filter_map(|cause| match cause {
                Cause::SkillMissing { crew, skill } if *skill == missing => Some(*crew),
                _ => None,
            })
            .collect();
        let word = self.day.skill(missing);
        let known = self
            .inputs
            .workers
            .iter()
            .any(|worker| worker.skills.0.iter().any(|skill| skill == word));
        let text = if known {
            let names: Vec<String> = crews.iter().map(|crew| self.crew(*crew)).collect();
            format!("nobody in {} has the skill {word}", either(&names))
        } else {
            format!("nobody in the branch has the skill {word}")
        };
        Reason {
            kind: ReasonKind::SkillMissing,
            later_kind: None,
            remedy: None,
            text,
            subjects: crews.iter().map(|crew| self.crew_name(*crew)).collect(),
        }
    }

    fn outranked(&self, crew: CrewIx) -> Reasons {
        Reasons(vec![Reason {
            kind: ReasonKind::Outranked,
            later_kind: None,
            remedy: None,
            text: format!(
                "would fit with {}, but at more than it is worth beside the jobs that come first; raise its priority to force it",
                self.crew(crew)
            ),
            subjects: vec![self.crew_name(crew)],
        }])
    }

    /// Other ways to go on may do it. Of a kind that servers of the version before know.
    fn left_anyway(&self, crew: CrewIx) -> Reasons {
        Reasons(vec![Reason {
            kind: ReasonKind::Outranked,
            later_kind: None,
            remedy: None,
            text: format!(
                "could go to {}; this plan leaves it for another day",
                self.crew(crew)
            ),
            subjects: vec![self.crew_name(crew)],
        }])
    }

    fn over_exposure(&self, crew: CrewIx) -> Reasons {
        Reasons(vec![Reason {
            kind: ReasonKind::ExposureLimit,
            later_kind: None,
            remedy: None,
            text: format!(
                "would fit with {}, but its people would pass the branch's limit for noise or vibration; give it another day or \
                 quieter tools, or raise its priority to force it",
                self.crew(crew)
            ),
            subjects: vec![self.crew_name(crew)],
        }])
    }

    /// Whether the branch has units for a task, and it is too hot to work with any of them.
    fn is_too_hot(&self, job: &job::Model, task: usize) -> bool {
        let advice = self.inputs.heat.as_ref().and_then(advice);
        let Some((advice, task)) = advice.zip(job.tasks.0.get(task)) else {
            return false;
        };
        let too_hot = |tool| {
            let effort = Effort::of(task_kind(task.kind), tool);
            advice.rests(effort) == WorkRest::Caution
        };
        if task.capabilities.is_empty() {
            return too_hot(ToolKind::None);
        }
        let mut kinds = self
            .inputs
            .units
            .iter()
            .filter(|unit| {
                task.capabilities
                    .iter()
                    .any(|one| unit.capabilities.0.contains(one))
            })
            .filter_map(tool_kind)
            .peekable();
        kinds.peek().is_some() && kinds.all(too_hot)
    }

    /// Whether the branch has tools for a task, and it takes longer with them than any task may.
    fn is_too_long(&self, job: &job::Model, task: usize) -> bool {
        let ix = self.day.job_ids.iter().position(|id| *id == job.id);
        ix.is_some_and(|ix| self.day.is_too_long(self.inputs, JobIx::from_ix(ix), task))
    }

    /// Where units of the branch could do a task, and tags forbid it to them all: the first of these.
    fn limited(&self, job: &job::Model, task: usize) -> Option<Reason> {
        let wanted = job.tasks.0.get(task)?;
        let mut able = self.inputs.units.iter().filter(|unit| {
            let mut capabilities = wanted.capabilities.iter();
            capabilities.any(|one| unit.capabilities.0.contains(one))
        });
        let forbids = |unit: &&unit::Model| self.inputs.forbidden(&unit.id).contains(&wanted.kind);
        let unit = able.next().filter(forbids)?;
        if !able.all(|unit| forbids(&unit)) {
            return None;
        }
        let tag = self.inputs.tags.get(&unit.id)?;
        let what = format!("is kept from {}", work(job, task));
        Some(self.tagged(&unit.id, tag, &what))
    }

    #[expect(clippy::too_many_lines, reason = "one arm for each cause")]
    fn reason(&self, job: &job::Model, cause: Cause, all: &[Cause]) -> Reason {
        if let Cause::NoCapability { task } = cause
            && !self.is_too_hot(job, task)
            && let Some(limited) = self.limited(job, task)
        {
            return limited;
        }
        let (kind, text, subjects) = match cause {
            Cause::NoCapability { task } if self.is_too_hot(job, task) => (
                ReasonKind::TooHot,
                format!(
                    "{}: too hot for such work by the weather given; plan it for a cooler hour or day",
                    work(job, task)
                ),
                vec![],
            ),
            Cause::NoCapability { task } if self.is_too_long(job, task) => (
                ReasonKind::ShiftFull,
                format!(
                    "{} takes longer than {} h with every machine that could do it; split it into jobs of a day",
                    work(job, task),
                    SERVICE_SECONDS_MAX / 3_600
                ),
                vec![],
            ),
            Cause::NoCapability { task } => (
                ReasonKind::NoCapability,
                format!(
                    "{} needs {}{}; the branch has none",
                    work(job, task),
                    needs(job, task),
                    self.on_ground(job, task)
                ),
                vec![],
            ),
            Cause::GateTooNarrow { task, narrowest_mm } => (
                ReasonKind::GateTooNarrow,
                format!(
                    "{}: no machine passes the gate; the narrowest that could do it is {} wide",
                    work(job, task),
                    self.width(f64::from(narrowest_mm))
                ),
                vec![],
            ),
            Cause::SlopeTooSteep {
                task,
                steepest_permille,
            } => (
                ReasonKind::SlopeTooSteep,
                format!(
                    "{}: too steep for every machine that could do it; the best may work on {} %",
                    work(job, task),
                    steepest_permille / 10
                ),
                vec![],
            ),
            Cause::UnitOut { unit, until } => return self.unit_out(unit, until),
            Cause::UnitElsewhere { unit, crew, until } => (
                ReasonKind::UnitElsewhere,
                format!(
                    "{} is with {} until {}",
                    self.unit(unit),
                    self.crew(crew),
                    self.clock(until)
                ),
                vec![self.unit_name(unit), self.crew_name(crew)],
            ),
            Cause::NotAboard { class, crew } => (
                ReasonKind::UnitElsewhere,
                format!(
                    "{} is out without {}",
                    self.crew(crew),
                    self.day
                        .class_samples
                        .get(class.ix())
                        .map_or("the tool", |unit| unit.display_name.as_str())
                ),
                vec![self.crew_name(crew)],
            ),
            Cause::UnitAtOtherYard { unit, crew, .. } => (
                ReasonKind::UnitElsewhere,
                format!(
                    "{} stands where {} does not load",
                    self.unit(unit),
                    self.crew(crew)
                ),
                vec![self.unit_name(unit), self.crew_name(crew)],
            ),
            Cause::SkillMissing { skill, .. } => return self.skill_missing(all, skill),
            Cause::CrewTooSmall { crew, people } => (
                ReasonKind::SkillMissing,
                format!("{} has {people} people only", self.crew(crew)),
                vec![self.crew_name(crew)],
            ),
            Cause::CrewNotListed { crew } => (
                ReasonKind::SkillMissing,
                format!("it is kept for other crews than {}", self.crew(crew)),
                vec![self.crew_name(crew)],
            ),
            Cause::ShiftFull {
                crew,
                seconds_short,
            } => (
                ReasonKind::ShiftFull,
                format!(
                    "{} lacks {} min in its shift",
                    self.crew(crew),
                    minutes_up(seconds_short)
                ),
                vec![self.crew_name(crew)],
            ),
            Cause::WindowMissed => (
                ReasonKind::WindowMissed,
                "no crew can be there within its window".to_owned(),
                vec![],
            ),
            Cause::PromiseConflict => (
                ReasonKind::PromiseConflict,
                "no crew is free at the time promised to the customer".to_owned(),
                vec![],
            ),
            Cause::QuietHours => (
                ReasonKind::WindowMissed,
                "no crew has time after the site's quiet hours".to_owned(),
                vec![],
            ),
            Cause::OtherStopLate { crew, job } => (
                ReasonKind::PromiseConflict,
                format!(
                    "would make {} late for {}",
                    self.crew(crew),
                    self.job_words(job)
                ),
                vec![self.crew_name(crew), self.job_name(job)],
            ),
            Cause::BreakMissed { crew } => (
                ReasonKind::ShiftFull,
                format!("{} would miss its break", self.crew(crew)),
                vec![self.crew_name(crew)],
            ),
            Cause::LoadSpaceFull { crew } => (
                ReasonKind::LoadSpaceFull,
                format!("{} has no load space left for the tools", self.crew(crew)),
                vec![self.crew_name(crew)],
            ),
        };
        Reason {
            kind,
            later_kind: None,
            remedy: None,
            text,
            subjects,
        }
    }

    /// What the ground of a task asks of a machine, as ` that passes a gate of 30 in and may work on 40 %`.
    fn on_ground(&self, job: &job::Model, task: usize) -> String {
        let hindrance = job
            .tasks
            .0
            .get(task)
            .zip(self.inputs.sites.get(&job.site_id))
            .map(|(task, site)| Hindrance::of(job, site, task.area_id.as_deref()));
        let gate = hindrance
            .and_then(|hindrance| hindrance.gate_millimetres)
            .map(|gate| format!("passes a gate of {}", self.width(gate)));
        let slope = hindrance
            .map(|hindrance| hindrance.slope_percent)
            .filter(|slope| *slope >= SLOPE_TOLD_PERCENT)
            .map(|slope| format!("may work on {slope:.0} %"));
        match (gate, slope) {
            (Some(gate), Some(slope)) => format!(" that {gate} and {slope}"),
            (Some(one), None) | (None, Some(one)) => format!(" that {one}"),
            (None, None) => String::new(),
        }
    }

    /// A unit that does not go out: by its tag, with whom to ask, for a service, with a crew that is stuck, or away.
    fn unit_out(&self, unit: UnitIx, until: Option<Seconds>) -> Reason {
        let id = self.day.unit_id(unit);
        if let Some(tag) = self.inputs.tags.get(id).filter(|tag| keeps_in(tag)) {
            return self.tagged(id, tag, "is tagged out");
        }
        let text = if self.inputs.service_first.contains(id) {
            "is due for a service and stays in until then".to_owned()
        } else if let Some(crew) = self.inputs.left_with_trailer_of(id) {
            let crew = self.inputs.crews.iter().find(|known| known.id == crew);
            let crew = crew.map_or("a crew", |crew| crew.display_name.as_str());
            format!(
                "was left with the trailer of {crew} and stays out until it is told to have been moved"
            )
        } else if self.inputs.stranded.contains(id) {
            "is with a crew that cannot go on".to_owned()
        } else if let Some(until) = until {
            let back = self.inputs.clock.instant(until);
            format!("is away until {}", self.inputs.clock.words_with_day(back))
        } else {
            "is away".to_owned()
        };
        Reason {
            kind: ReasonKind::UnitAbsent,
            later_kind: None,
            remedy: None,
            text: format!("{} {text}", self.unit(unit)),
            subjects: vec![self.unit_name(unit)],
        }
    }

    /// What a unit does not do by its tag, with whom to ask.
    fn tagged(&self, unit: &str, tag: &tag_out::Model, what: &str) -> Reason {
        let since = self.inputs.clock.words_with_day(tag.since());
        let ask = tag.contact.as_ref().map_or_else(String::new, |contact| {
            format!("; ask {} {}", contact.display_name, contact.phone)
                .trim_end()
                .to_owned()
        });
        let known = self.inputs.units.iter().find(|known| known.id == unit);
        let name = known.map_or(unit, |unit| unit.display_name.as_str());
        Reason {
            kind: ReasonKind::UnitTaggedOut,
            later_kind: None,
            remedy: None,
            text: format!("{name} {what} by {} since {since}{ask}", tag.id),
            subjects: vec![self.name("units", unit), self.name("tagOuts", &tag.id)],
        }
    }

    fn job(&self, job: JobIx) -> Option<&job::Model> {
        let id = self.day.job_id(job);
        self.inputs.jobs.iter().find(|known| known.id == id)
    }

    fn job_words(&self, job: JobIx) -> String {
        self.job(job)
            .map_or_else(String::new, |job| job.display_name.clone())
    }

    fn crew(&self, crew: CrewIx) -> String {
        let id = self.day.crew_id(crew);
        let known = self.inputs.crews.iter().find(|known| known.id == id);
        known.map_or_else(|| id.to_owned(), |crew| crew.display_name.clone())
    }

    fn unit(&self, unit: UnitIx) -> String {
        let id = self.day.unit_id(unit);
        let known = self.inputs.units.iter().find(|known| known.id == id);
        known.map_or_else(|| id.to_owned(), |unit| unit.display_name.clone())
    }

    fn clock(&self, seconds: Seconds) -> String {
        self.inputs.clock.words(self.inputs.clock.instant(seconds))
    }

    fn width(&self, millimetres: f64) -> String {
        use forenoon_store::value::UnitSystem;
        match self.inputs.branch.unit_system {
            UnitSystem::Si => format!("{millimetres:.0} mm"),
            UnitSystem::UsCustomary => {
                format!("{:.0} in", millimetres / MILLIMETRES_PER_INCH)
            }
        }
    }

    fn name(&self, collection: &str, id: &str) -> String {
        format!("branches/{}/{collection}/{id}", self.inputs.branch.id)
    }

    fn crew_name(&self, crew: CrewIx) -> String {
        self.name("crews", self.day.crew_id(crew))
    }

    fn unit_name(&self, unit: UnitIx) -> String {
        self.name("units", self.day.unit_id(unit))
    }

    fn job_name(&self, job: JobIx) -> String {
        self.name("jobs", self.day.job_id(job))
    }
}

/// Names in a row, as `Alder, Elm or Fir`.
fn either<S: Borrow<str> + Display>(names: &[S]) -> String {
    match names {
        [first @ .., before, last] if !first.is_empty() => {
            format!("{}, {before} or {last}", first.join(", "))
        }
        names => names.join(" or "),
    }
}

/// A task in words, as `cutting brush`.
fn work(job: &job::Model, task: usize) -> &'static str {
    match job.tasks.0.get(task).map(|task| task.kind) {
        Some(TaskKind::WalkBefore | TaskKind::WalkAfter) => "walking the site",
        Some(TaskKind::KnockDown) => "knocking down",
        Some(TaskKind::CutBrush) => "cutting brush",
        Some(TaskKind::Edge) => "edging",
        Some(TaskKind::Trim) => "trimming",
        Some(TaskKind::Mow | TaskKind::SecondPass) => "mowing",
        Some(TaskKind::Collect) => "picking up",
        Some(TaskKind::BlowOff) => "blowing off",
        None => "the work",
    }
}

/// What a task needs, as `a blade head or a line head`.
fn needs(job: &job::Model, task: usize) -> String {
    let capabilities = job
        .tasks
        .0
        .get(task)
        .map_or(&[][..], |task: &Task| &task.capabilities);
    let words: Vec<&str> = capabilities
        .iter()
        .map(|capability| tool(*capability))
        .collect();
    either(&words)
}

const fn tool(capability: Capability) -> &'static str {
    match capability {
        Capability::Edger => "an edger",
        Capability::LineHead => "a line head",
        Capability::BladeHead => "a blade head",
        Capability::Mower => "a mower",
        Capability::CollectingMower => "a collecting mower",
        Capability::Blower => "a blower",
        Capability::Rake => "a rake",
        Capability::FlatShovel => "a flat shovel",
        Capability::Carrier => "a vehicle",
    }
}

fn minutes_up(seconds: Seconds) -> Seconds {
    (seconds + 59) / 60
}
