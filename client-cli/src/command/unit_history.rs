//! `history` and `serviced`: a unit's life on the bench.

use forenoon_proto::v1;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{Collection, request_id};
use crate::output::clock::Times;
use crate::output::history::{cost_grid, grid, page, service_grid};
use crate::parse::money::money;

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

/// How `unit-cost` is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  forenoon unit-cost m-36\n  \
                        forenoon unit-cost m-36 --hours-a-year 550 --successor 6200")]
pub struct CostArgs {
    /// The unit, by id; its purchase price must be on record
    #[arg(value_name = "UNIT")]
    unit: String,
    /// Effective hours it works in a year [default: 400]
    #[arg(long, value_name = "HOURS")]
    hours_a_year: Option<f64>,
    /// What its successor costs [default: the unit's own price]
    #[arg(long, value_name = "AMOUNT")]
    successor: Option<String>,
}

pub(super) async fn cost(desk: &Desk, args: &CostArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let currency = &desk.branch.currency_code;
    let successor_price = match &args.successor {
        Some(text) => Some(money(text, currency)?),
        None => None,
    };
    let request = v1::GetUnitCostRequest {
        unit: desk.name(Collection::Units, &args.unit),
        hours_a_year: args.hours_a_year.unwrap_or_default(),
        successor_price,
    };
    let answer = desk.link.get_unit_cost(request).await?;
    desk.screen.grid(&answer, &cost_grid(&answer))
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::GetUnitHistoryRequest {
        unit: desk.name(Collection::Units, &args.unit),
    };
    let answer = desk.link.get_unit_history(request).await?;
    desk.screen.answer(
        &answer,
        || grid(&answer, desk.times(Times::Years)),
        |width| page(&args.unit, &answer, desk.times(Times::Years), width),
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
        .grid(&answer, &service_grid(&services, desk.times(Times::Days)))
}
