//! `replan`: ways to go on with a day, side by side.

use std::collections::{BTreeMap, BTreeSet};

use forenoon_proto::v1;

use super::drives::DrivesArg;
use super::happened::Happened;
use super::heat::HeatArg;
use super::show_plan::{DayArg, published};
use crate::desk::{BranchDesk, Desk};
use crate::failure::{Failure, exit};
use crate::names::request_id;
use crate::output::proposals::{Ways, grid, page};
use crate::parse::day::wire;

/// How `replan` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "Changes nothing: `accept` does.\n\nExamples:\n  \
                        forenoon replan --cause \"m-36 shakes\"\n  \
                        forenoon replan tomorrow --cause \"Sedge is one short\"\n  \
                        forenoon replan --absent-worker bo\n  \
                        forenoon replan --overrun j-weld=30 --absent-crew sedge\n  \
                        forenoon replan --no-mowing-until 13:00 --cause \"storm\"\n  \
                        forenoon replan --moved m-36 --moved b-2=sedge")]
pub struct Args {
    #[command(flatten)]
    day: DayArg,
    /// What happened, in words, for the record [default: what the other words say]
    #[arg(long, value_name = "WORDS", required_unless_present = "happened")]
    cause: Option<String>,
    #[command(flatten)]
    happened: Happened,
    /// From when on things may change [default: now]
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// Seed of the search
    #[arg(long, default_value_t = 1, value_name = "NUMBER")]
    seed: i64,
    /// Iterations of the search for each kind of proposal [default: 80]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(i64).range(1..=100_000_000))]
    iterations: Option<i64>,
    #[command(flatten)]
    drives: DrivesArg,
    #[command(flatten)]
    heat: HeatArg,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let day = args.day.read(&desk)?;
    let from_time = match &args.from {
        Some(text) => Some(desk.time(text, day)?),
        None => None,
    };
    let busy = desk.screen.busy("looking for ways to go on");
    let present = published(&desk, day).await?;
    let request = v1::ProposeReplanRequest {
        parent: desk.parent(),
        day: Some(wire(day)),
        from_time,
        cause: args.cause.clone().unwrap_or_else(|| args.happened.words()),
        seed: args.seed,
        iterations: args.iterations.unwrap_or_default(),
        travel_matrix: args.drives.read(&desk.parent())?,
        heat: args.heat.read(),
        request_id: request_id(),
        disruptions: args.happened.read(&desk, day, from_time)?,
    };
    let answer = desk.link.propose_replan(request).await?;
    let sites = sites_to_phone(&desk, &answer.proposals).await?;
    drop(busy);
    let ways = Ways {
        proposals: &answer.proposals,
        present: present.as_ref(),
        sites: &sites,
        clock: desk.clock,
    };
    desk.screen.answer(
        &answer,
        || grid(&answer.proposals),
        |width| page(&ways, width),
    )
}

/// Whom to phone. A site deleted meanwhile is shown by its id.
async fn sites_to_phone(
    desk: &BranchDesk,
    proposals: &[v1::Proposal],
) -> Result<BTreeMap<String, v1::Site>, Failure> {
    let names: BTreeSet<&String> = proposals
        .iter()
        .flat_map(|proposal| &proposal.sites_to_phone)
        .collect();
    let mut sites = BTreeMap::new();
    for name in names {
        match desk
            .link
            .get_site(v1::GetSiteRequest { name: name.clone() })
            .await
        {
            Ok(answer) => {
                sites.insert(name.clone(), answer.site.unwrap_or_default());
            }
            Err(failure) if failure.exit_code() == exit::NOT_FOUND => {}
            Err(failure) => return Err(failure),
        }
    }
    Ok(sites)
}
