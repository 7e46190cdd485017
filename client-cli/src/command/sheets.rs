//! `sheets`: what crews take along.

use forenoon_proto::v1;

use super::show_plan::PlanArg;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::Collection;
use crate::output::sheet::{grid, sheet};

/// Starts a new page on a printer.
const FORM_FEED: &str = "\u{c}";

/// How `sheets` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Prints the published plan's sheets, or the latest draft's where nothing is published.\n\n\
                        Examples:\n  forenoon sheets tomorrow\n  forenoon sheets --crew bluestem\n  \
                        forenoon sheets --pages | lp"
)]
pub struct Args {
    #[command(flatten)]
    plan: PlanArg,
    /// Only this crew's, by id
    #[arg(
        long,
        value_name = "CREW",
        default_value = "",
        hide_default_value = true
    )]
    crew: String,
    /// Begin a new page for each crew, for a printer
    #[arg(long)]
    pages: bool,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let plan = args.plan.find(&desk).await?;
    let request = v1::ListCrewSheetsRequest {
        plan: plan.name.clone(),
        crew: desk.name(Collection::Crews, &args.crew),
    };
    let answer = desk.link.list_crew_sheets(request).await?;
    if plan.state() != v1::PlanState::Published {
        desk.screen
            .say("This plan is not published: crews go by the published one.");
    }
    let gap = if args.pages { FORM_FEED } else { "\n\n" };
    desk.screen.answer(
        &answer,
        || grid(&answer.crew_sheets, desk.clock),
        |width| {
            let sheets: Vec<String> = answer
                .crew_sheets
                .iter()
                .map(|words| sheet(words, &plan, desk.clock, width))
                .collect();
            if sheets.is_empty() {
                "No crew goes out.\n".to_owned()
            } else {
                sheets.join(gap)
            }
        },
    )
}
