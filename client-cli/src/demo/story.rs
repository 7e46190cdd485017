//! A first morning, step by step, each step a command that a reader can type.

use std::path::Path;

use chrono::NaiveDate;
use forenoon_proto::v1::{self, NoiseCriterion, PlanState};

use super::choose::{Choice, unit_to_tag};
use super::shell::Shell;
use super::{BRANCH_ID, DemoBranch, files, measure};
use crate::connect::Link;
use crate::failure::Failure;
use crate::names::{id, ids};
use crate::parse::word::word_of;

/// The mechanic who finds the fault.
const FINDER: &str = "bench-1";

/// What the story is told with.
pub(super) struct Story<'a> {
    /// Runs and shows commands.
    pub(super) shell: &'a Shell,
    /// Looks up what the next command needs.
    pub(super) link: &'a Link,
    /// The branch that is brought in.
    pub(super) demo: &'a DemoBranch,
    /// The day that is planned.
    pub(super) day: NaiveDate,
    /// Where the branch's files go.
    pub(super) files: &'a Path,
    /// Whether every crew's sheet is shown.
    pub(super) all_sheets: bool,
}

macro_rules! words {
    ($($word:expr),* $(,)?) => { vec![$(String::from($word)),*] };
}

impl Story<'_> {
    /// Tells it all.
    ///
    /// # Errors
    /// Whatever stops it: a command that fails, a plan that lacks what the story is about.
    pub(super) async fn tell(&self) -> Result<(), Failure> {
        self.branch_and_data().await?;
        let draft = self.plan().await?;
        let units = self.units().await?;
        let choice = unit_to_tag(&draft, &units).ok_or_else(|| {
            Failure::NotFound(
                "the plan uses no mower and no brush blade head, so there is none to tag out"
                    .to_owned(),
            )
        })?;
        self.sheets_and_publish(&choice).await?;
        self.tag_out(&choice).await?;
        self.replan(&choice, &draft).await
    }

    async fn branch_and_data(&self) -> Result<(), Failure> {
        self.shell.step(
            1,
            "Make a branch",
            "A branch is a yard with its clock, its currency, its units of measure and its rates. Everything else \
             belongs to one.",
        )?;
        let words = create_branch(&self.demo.branch);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        self.shell.run(&words).await?;
        let written = files::write(self.demo, self.files)?;
        self.shell.step(
            2,
            "Bring in machines, crews, sites and jobs",
            &format!(
                "The company keeps them in {} CSV files, now in {}. The import takes all rows or none; `forenoon import \
                 --columns` lists what each file may hold.",
                written.len(),
                self.files.display()
            ),
        )?;
        self.shell
            .run(&["import", &self.files.display().to_string()])
            .await
    }

    async fn plan(&self) -> Result<v1::Plan, Failure> {
        let day = self.day.to_string();
        self.shell.step(
            3,
            &format!("Plan {}", self.day.format("%A, %B %-d")),
            "Crews, routes and load-outs are searched together: who goes where, when, and with which machines aboard. \
             What does not fit is listed with its reasons.",
        )?;
        self.shell.run(&["plan", &day]).await?;
        let latest = self
            .plans(PlanState::Draft)
            .await?
            .into_iter()
            .max_by_key(|plan| plan.revision);
        let name = latest.map(|plan| plan.name).unwrap_or_default();
        let plan = self.link.get_plan(v1::GetPlanRequest { name }).await?.plan;
        Ok(plan.unwrap_or_default())
    }

    async fn sheets_and_publish(&self, choice: &Choice<'_>) -> Result<(), Failure> {
        let day = self.day.to_string();
        let crew = id(choice.crew);
        self.shell.step(
            4,
            "Print the sheets",
            "A sheet is what a crew takes along: what to load, the stops with their times, the order of work, hazards, \
             whom to meet, where clippings may go. Without --crew it prints them all.",
        )?;
        if self.all_sheets {
            self.shell.run(&["sheets", &day]).await?;
        } else {
            self.shell.run(&["sheets", &day, "--crew", crew]).await?;
        }
        self.shell.step(
            5,
            "Publish",
            "Crews go by the published plan. It never changes: the next revision replaces it.",
        )?;
        self.shell.run(&["publish", "--day", &day]).await
    }

    async fn tag_out(&self, choice: &Choice<'_>) -> Result<(), Failure> {
        self.shell.step(
            6,
            &format!("Tag a unit out: {}", choice.unit.display_name),
            &format!(
                "The mechanic finds a crack in it on the evening round. Crew {} has it on its load-out, for {}. From \
                 the moment the tag is accepted it is in no plan, until a mechanic releases it after an inspection.",
                id(choice.crew),
                listed(&choice.jobs)
            ),
        )?;
        let unit = id(&choice.unit.name);
        let note = "hairline crack, found on the evening round";
        self.shell
            .run(&[
                "tag-out",
                unit,
                "--symptom",
                "cutting-part",
                "--note",
                note,
                "--by",
                FINDER,
            ])
            .await
    }

    async fn replan(&self, choice: &Choice<'_>, draft: &v1::Plan) -> Result<(), Failure> {
        let day = self.day.to_string();
        self.shell.step(
            7,
            "See what changes",
            "A re-plan keeps as much of the published day as it can, and shows each change with what it costs and \
             whom to phone. Nothing is changed yet.",
        )?;
        let cause = format!("{} is tagged out", id(&choice.unit.name));
        self.shell.run(&["replan", &day, "--cause", &cause]).await?;
        let proposals = self.plans(PlanState::Draft).await?;
        let best = proposals
            .iter()
            .filter(|plan| plan.base_plan == draft.name)
            .min_by_key(|plan| {
                (
                    plan.totals.map_or(i64::MAX, |totals| totals.cost_points),
                    plan.revision,
                )
            })
            .ok_or_else(|| {
                Failure::NotFound("the re-plan left no proposal to accept".to_owned())
            })?;
        self.shell.step(
            8,
            "Accept",
            "The proposal becomes the day's plan. It would be refused had the day changed since it was made.",
        )?;
        self.shell.run(&["accept", id(&best.name)]).await?;
        self.shell.step(
            9,
            "The crew's new sheet",
            "Hand this one out; the old one is void.",
        )?;
        self.shell
            .run(&["sheets", &day, "--crew", id(choice.crew)])
            .await?;
        self.shell.step(
            10,
            "The bench",
            "What the mechanics have before them, the soonest needed first. `forenoon diagnose`, `repair`, `inspect` \
             and `release` bring a unit back.",
        )?;
        self.shell.run(&["bench"]).await
    }

    async fn plans(&self, state: PlanState) -> Result<Vec<v1::Plan>, Failure> {
        let request = v1::ListPlansRequest {
            parent: self.demo.branch.name.clone(),
            day: Some(measure::date(self.day)),
            state: state.into(),
            ..v1::ListPlansRequest::default()
        };
        self.link.all_plans(request).await
    }

    async fn units(&self) -> Result<Vec<v1::Unit>, Failure> {
        let request = v1::ListUnitsRequest {
            parent: self.demo.branch.name.clone(),
            ..v1::ListUnitsRequest::default()
        };
        self.link.all_units(request).await
    }
}

/// Jobs in words, the first three by name.
fn listed(jobs: &[&str]) -> String {
    const NAMED: usize = 3;
    let named: Vec<String> = jobs.iter().take(NAMED).map(|&job| job.to_owned()).collect();
    let more = jobs.len().saturating_sub(NAMED);
    let tail = if more == 0 {
        String::new()
    } else {
        format!(" and {more} more")
    };
    format!("{}{tail}", ids(&named, ", "))
}

/// The command that makes the demo's branch.
fn create_branch(branch: &v1::Branch) -> Vec<String> {
    let mut words = words![
        "branch",
        "create",
        BRANCH_ID,
        "--name",
        &branch.display_name,
        "--time-zone",
        &branch.time_zone,
        "--currency",
        &branch.currency_code,
        "--units",
        "us-customary",
    ];
    if let Some(yard) = branch.yard {
        words.extend(words![
            "--yard",
            format!("{},{}", yard.latitude, yard.longitude)
        ]);
    }
    if let Some(travel) = branch.travel {
        words.extend(words![
            "--road-factor",
            travel.road_factor.to_string(),
            "--kilometres-per-hour",
            travel.kilometres_per_hour.to_string(),
            "--seconds-per-stop",
            travel.seconds_per_stop.to_string(),
        ]);
    }
    if let Some(price) = &branch.price {
        let percent = |basis_points: i32| (f64::from(basis_points) / 100.0).to_string();
        words.extend(words![
            "--labour-per-hour",
            files::amount(price.labour_per_hour.as_ref()),
            "--overhead-percent",
            percent(price.overhead_basis_points),
            "--margin-percent",
            percent(price.margin_basis_points),
            "--minimum-charge",
            files::amount(price.minimum_charge.as_ref()),
            "--disposal-per-bag",
            files::amount(price.disposal_per_bag.as_ref()),
        ]);
    }
    if let Some(rule) = &branch.exposure {
        words.extend(words![
            "--noise-criterion",
            word_of::<NoiseCriterion>(rule.noise_criterion),
            "--hearing-protection",
            rule.hearing_protection_decibels.to_string(),
            "--plan-within-limits",
            rule.plan_within_limits.to_string(),
        ]);
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::Cli;
    use clap::Parser;

    #[test]
    fn every_command_of_the_story_is_one() {
        let branch = create_branch(&super::super::yard());
        let lines = [
            branch,
            words!["import", "files"],
            words!["plan", "2027-04-20"],
            words!["sheets", "2027-04-20", "--crew", "fir"],
            words!["publish", "--day", "2027-04-20"],
            words![
                "tag-out",
                "u",
                "--symptom",
                "cutting-part",
                "--note",
                "a crack",
                "--by",
                FINDER
            ],
            words!["replan", "2027-04-20", "--cause", "a crack"],
            words!["accept", "2027-04-20-2"],
            words!["bench"],
        ];
        for line in lines {
            let words = std::iter::once("forenoon".to_owned()).chain(line.clone());
            assert!(Cli::try_parse_from(words).is_ok(), "{line:?}");
        }
    }

    #[test]
    fn many_jobs_are_told_in_few_words() {
        assert_eq!(listed(&["b/jobs/a", "b/jobs/c"]), "a, c");
        assert_eq!(
            listed(&["b/jobs/a", "b/jobs/c", "b/jobs/d", "b/jobs/e", "b/jobs/f"]),
            "a, c, d and 2 more"
        );
    }
}
