//! The commands: how each is written, and what it does.

mod accept;
mod bench;
mod branch;
mod case;
mod cells;
mod chances;
mod complete;
mod day;
mod drives;
mod estimate;
mod happened;
mod hazard;
mod heat;
mod import;
mod job;
mod photo;
mod plan;
mod record;
mod reopen;
mod replan;
mod report;
mod sheets;
mod show_plan;
mod tag_out;
mod transfer;
mod unit_history;
mod visit;
mod watch;
mod what_if;

use std::time::Duration;

use clap::{Parser, Subcommand};

use crate::connect::{Address, connect};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::output::screen::{Format, Screen};

/// Plans and dispatches grounds-care crews through a Forenoon server.
#[derive(Debug, Parser)]
#[command(
    name = "forenoon",
    version,
    max_term_width = 100,
    after_help = "A morning:\n  \
        forenoon import branch-data/ --check\n  \
        forenoon import branch-data/\n  \
        forenoon plan tomorrow\n  \
        forenoon publish --day tomorrow\n  \
        forenoon sheets tomorrow\n  \
        forenoon tag-out m-36 --symptom vibration --by ada\n  \
        forenoon replan --cause \"m-36 shakes\"\n  \
        forenoon accept 2027-04-20-2\n\n\
        Exit codes: 0 done, 2 command written wrongly, 3 data refused, 4 not found, 5 conflict or stale,\n\
        6 server unreachable, 7 no answer in time, 8 not allowed, 1 anything else."
)]
pub struct Cli {
    /// What holds for every command.
    #[command(flatten)]
    pub global: Global,
    /// The command.
    #[command(subcommand)]
    pub command: Command,
}

/// What holds for every command.
#[derive(Clone, Debug, clap::Args)]
pub struct Global {
    /// The server's address
    #[arg(
        long,
        global = true,
        env = "FORENOON_SERVER",
        default_value = "http://127.0.0.1:50470",
        value_name = "URL",
        help_heading = "Everywhere"
    )]
    pub server: String,
    /// The branch, by id; may be left out where there is only one
    #[arg(
        long,
        global = true,
        env = "FORENOON_BRANCH",
        value_name = "BRANCH",
        help_heading = "Everywhere"
    )]
    pub branch: Option<String>,
    /// The form of answers: table for people, plain (tab-separated) for scripts, json for programs
    #[arg(
        long,
        global = true,
        value_enum,
        hide_possible_values = true,
        default_value_t,
        value_name = "FORM",
        help_heading = "Everywhere"
    )]
    pub output: Format,
    /// Colours: auto, always or never
    #[arg(
        long,
        global = true,
        value_enum,
        hide_possible_values = true,
        default_value_t,
        value_name = "WHEN",
        help_heading = "Everywhere"
    )]
    pub color: Color,
    /// Longest time for one call to the server, in seconds
    #[arg(
        long,
        global = true,
        default_value_t = 60,
        value_name = "SECONDS",
        value_parser = clap::value_parser!(u64).range(1..=86_400),
        help_heading = "Everywhere"
    )]
    pub timeout: u64,
    /// The key to sign in with; better by its variable, as others on the machine can see what is typed
    #[arg(
        long,
        global = true,
        env = "FORENOON_KEY",
        hide_env_values = true,
        value_name = "KEY",
        help_heading = "Everywhere"
    )]
    pub key: Option<String>,
    /// Certificates to trust for https, a PEM file
    #[arg(
        long,
        global = true,
        env = "FORENOON_CA",
        value_name = "FILE",
        help_heading = "Everywhere"
    )]
    pub ca: Option<std::path::PathBuf>,
}

/// When answers are coloured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Color {
    /// On a terminal that shows colours.
    #[default]
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Every command.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Plan a day; makes a draft
    Plan(plan::Args),
    /// Show a day, the most urgent facts first
    Day(day::Args),
    /// Print the crews' sheets
    Sheets(sheets::Args),
    /// Tell how likely the day goes as planned: promises kept, overtime
    Chances(chances::Args),
    /// Tell what one more unit, a longer shift or one job less would bring
    #[command(name = "what-if")]
    WhatIf(what_if::Args),
    /// List plans and their revisions
    Plans(show_plan::ListArgs),
    /// Make a draft the day's plan
    Publish(accept::PublishArgs),
    /// Throw a draft or a proposal away
    Discard(accept::DiscardArgs),
    /// Ask for ways to go on with a published day after something happened
    Replan(replan::Args),
    /// Make a proposal the day's plan
    Accept(accept::AcceptArgs),
    /// Tag a unit out of service
    #[command(name = "tag-out")]
    TagOut(tag_out::Args),
    /// List units on the bench, or show one tag
    Bench(bench::Args),
    /// Record what is wrong with a tagged unit
    Diagnose(bench::DiagnoseArgs),
    /// Record the repair of a tagged unit
    Repair(bench::RepairArgs),
    /// Record the inspection of a repaired unit
    Inspect(bench::InspectArgs),
    /// End a tag-out after an inspection that was passed
    Release(bench::ReleaseArgs),
    /// Take a release back: the fault is still there
    Reopen(reopen::Args),
    /// Print a tag to hang on the unit, with a code to scan
    #[command(name = "print-tag")]
    PrintTag(tag_out::PrintArgs),
    /// Tell a unit's tags, services and how reliable it is
    History(unit_history::Args),
    /// Tell what a unit costs, and whether to keep it another year
    #[command(name = "unit-cost")]
    UnitCost(unit_history::CostArgs),
    /// Record that a unit was serviced
    Serviced(unit_history::ServicedArgs),
    /// Report that a crew has loaded
    Load(report::LoadArgs),
    /// Report that a crew leaves for a job
    Depart(report::StepArgs),
    /// Report that a crew is at a job
    Arrive(report::StepArgs),
    /// Report that a crew begins a job
    Start(visit::StartArgs),
    /// Report that work at a job stops for a while
    Pause(report::PauseArgs),
    /// Report that work at a job goes on
    Resume(report::StepArgs),
    /// Report that a crew has done a job
    Finish(visit::FinishArgs),
    /// Report that a crew could not do a job
    #[command(name = "not-done")]
    NotDone(report::NotDoneArgs),
    /// Record a walk of the site before or after the work
    Walk(photo::WalkArgs),
    /// Store a photograph, or read one back
    Photo(photo::PhotoArgs),
    /// Open a case: something was damaged
    Damage(case::OpenArgs),
    /// Open a case: work must be done again
    Callback(case::CallbackArgs),
    /// Open a case: a customer complains
    Complaint(case::OpenArgs),
    /// List open cases, show one, or close it
    Case(case::CaseArgs),
    /// Follow a day as it happens
    Watch(watch::Args),
    /// List what crews have reported
    Visits(visit::ListArgs),
    /// Work out time and price of a job, line by line
    Estimate(estimate::Args),
    /// Add a hazard to a site
    Hazard(hazard::Args),
    /// Call a job off
    Cancel(job::CancelArgs),
    /// Bring in data from CSV or JSON files, all or nothing
    Import(import::Args),
    /// Jobs: list, show, add, set, remove
    #[command(subcommand)]
    Job(record::Verb<record::kinds::JobFilter>),
    /// Sites: list, show, add, set, remove
    #[command(subcommand)]
    Site(record::Verb<record::kinds::NoFilter>),
    /// Units: list, show, add, set, remove
    #[command(subcommand)]
    Unit(record::Verb<record::kinds::UnitFilter>),
    /// Crews: list, show, add, set, remove
    #[command(subcommand)]
    Crew(record::Verb<record::kinds::NoFilter>),
    /// Workers: list, show, add, set, remove
    #[command(subcommand)]
    Worker(record::Verb<record::kinds::NoFilter>),
    /// Branches: list, show, create, set, remove
    #[command(subcommand)]
    Branch(branch::Verb),
    /// Tell a first morning on a server of its own, with an invented company
    Demo(crate::demo::Args),
    /// Try whether the server is there and serves
    Ping,
    /// Print completions for a shell
    Completions(complete::Args),
}

/// Runs one command.
///
/// # Errors
/// Whatever made it fail.
pub async fn run(cli: Cli, now: chrono::DateTime<chrono::Utc>) -> Result<(), Failure> {
    let screen = Screen::here(cli.global.output);
    if let Command::Completions(args) = &cli.command {
        return complete::run(args, &screen);
    }
    if let Command::Demo(args) = &cli.command {
        return crate::demo::run(args, now).await;
    }
    let desk = desk(&cli.global, screen, now)?;
    match cli.command {
        Command::Plan(args) => plan::run(&desk, &args).await,
        Command::Day(args) => day::run(&desk, &args).await,
        Command::Sheets(args) => sheets::run(&desk, &args).await,
        Command::Chances(args) => chances::run(&desk, &args).await,
        Command::WhatIf(args) => what_if::run(&desk, &args).await,
        Command::Plans(args) => show_plan::list(&desk, &args).await,
        Command::Publish(args) => accept::publish(&desk, &args).await,
        Command::Discard(args) => accept::discard(&desk, &args).await,
        Command::Replan(args) => replan::run(&desk, &args).await,
        Command::Accept(args) => accept::accept(&desk, &args).await,
        Command::TagOut(args) => tag_out::run(&desk, args).await,
        Command::Bench(args) => bench::run(&desk, &args).await,
        Command::Diagnose(args) => bench::diagnose(&desk, args).await,
        Command::Repair(args) => bench::repair(&desk, args).await,
        Command::Inspect(args) => bench::inspect(&desk, args).await,
        Command::Release(args) => bench::release(&desk, &args).await,
        Command::Reopen(args) => reopen::run(&desk, args).await,
        Command::PrintTag(args) => tag_out::print(&desk, &args).await,
        Command::History(args) => unit_history::run(&desk, &args).await,
        Command::UnitCost(args) => unit_history::cost(&desk, &args).await,
        Command::Serviced(args) => unit_history::serviced(&desk, args).await,
        Command::Load(args) => report::load(&desk, &args).await,
        Command::Depart(args) => report::depart(&desk, &args).await,
        Command::Arrive(args) => report::arrive(&desk, &args).await,
        Command::Start(args) => visit::start(&desk, &args).await,
        Command::Pause(args) => report::pause(&desk, args).await,
        Command::Resume(args) => report::resume(&desk, &args).await,
        Command::NotDone(args) => report::not_done(&desk, args).await,
        Command::Walk(args) => photo::walk(&desk, args).await,
        Command::Photo(args) => photo::photo(&desk, &args).await,
        Command::Damage(args) => case::damage(&desk, args).await,
        Command::Callback(args) => case::callback(&desk, args).await,
        Command::Complaint(args) => case::complaint(&desk, args).await,
        Command::Case(args) => case::case(&desk, args).await,
        Command::Watch(args) => watch::run(&desk, &args).await,
        Command::Finish(args) => visit::finish(&desk, args).await,
        Command::Visits(args) => visit::list(&desk, &args).await,
        Command::Estimate(args) => estimate::run(&desk, &args).await,
        Command::Hazard(args) => hazard::run(&desk, args).await,
        Command::Cancel(args) => job::cancel(&desk, args).await,
        Command::Import(args) => import::run(&desk, &args).await,
        Command::Job(verb) => record::run::<record::kinds::Jobs>(&desk, verb).await,
        Command::Site(verb) => record::run::<record::kinds::Sites>(&desk, verb).await,
        Command::Unit(verb) => record::run::<record::kinds::Units>(&desk, verb).await,
        Command::Crew(verb) => record::run::<record::kinds::Crews>(&desk, verb).await,
        Command::Worker(verb) => record::run::<record::kinds::Workers>(&desk, verb).await,
        Command::Branch(verb) => branch::run(&desk, verb).await,
        Command::Ping => ping(&desk).await,
        Command::Completions(_) | Command::Demo(_) => Ok(()),
    }
}

/// The desk that the global arguments ask for.
fn desk(
    global: &Global,
    screen: Screen,
    now: chrono::DateTime<chrono::Utc>,
) -> Result<Desk, Failure> {
    let certificate_authority_pem = match &global.ca {
        None => None,
        Some(path) => Some(
            std::fs::read_to_string(path).map_err(|error| Failure::File {
                path: path.display().to_string(),
                cause: error.to_string(),
            })?,
        ),
    };
    let link = connect(&Address {
        server: global.server.clone(),
        key: global.key.clone(),
        certificate_authority_pem,
        timeout: Duration::from_secs(global.timeout),
    })?;
    Ok(Desk {
        link,
        screen,
        now,
        branch: global.branch.clone(),
    })
}

async fn ping(desk: &Desk) -> Result<(), Failure> {
    let up = desk.link.serves().await?;
    let server = desk.link.server();
    if !up {
        return Err(Failure::Unreachable {
            address: server.to_owned(),
            cause: "it answers, but says that it does not serve".to_owned(),
        });
    }
    let text = match desk.screen.format {
        Format::Table => format!("The server at {server} serves.\n"),
        Format::Plain => format!("{server}\tserves\n"),
        Format::Json => format!("{}\n", serde_json::json!({"server": server, "serves": up})),
    };
    desk.screen.print(&text)
}

#[cfg(test)]
mod tests;
