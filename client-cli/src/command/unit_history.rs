//! `history` and `serviced`: a unit's life on the bench.

use forenoon_proto::v1;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::history::{grid, page, service_grid};

/// How `history` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  forenoon history m-36")]
pub struct Args {
    /// The unit, by id
    #[arg(value_name = "UNIT")]
    unit: String,
}

/// How `serviced` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "Hours to the next service count from here.\n\n\
                        Example:\n  forenoon serviced m-36 --by moss \"oil, filter, blades ground\"")]
pub struct ServicedArgs {
    /// The unit, by id
    #[arg(value_name = "UNIT")]
    unit: String,
    /// The mechanic, by id
    #[arg(long, value_name = "WORKER")]
    by: String,
    /// What was done
    #[arg(value_name = "WORDS")]
    words: String,
    /// When [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::GetUnitHistoryRequest {
        unit: desk.name(Collection::Units, &args.unit),
    };
    let answer = desk.link.get_unit_history(request).await?;
    desk.screen.answer(
        &answer,
        || grid(&answer, desk.clock),
        |width| page(&args.unit, &answer, desk.clock, width),
    )
}

pub(super) async fn serviced(desk: &Desk, args: ServicedArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let service_time = match &args.at {
        Some(text) => Some(desk.time(text, desk.today)?),
        None => None,
    };
    let request = v1::RecordServiceRequest {
        unit: desk.name(Collection::Units, &args.unit),
        mechanic: desk.name(Collection::Workers, &args.by),
        work: args.words,
        service_time,
        request_id: request_id(),
    };
    let answer = desk.link.record_service(request).await?;
    let services: Vec<v1::ServiceRecord> = answer.service.iter().cloned().collect();
    desk.screen
        .grid(&answer, &service_grid(&services, desk.clock))
}
