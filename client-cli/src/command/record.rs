//! `job`, `site`, `unit`, `crew` and `worker`: the same five verbs for each kind of record.

pub(super) mod kinds;

use clap::Subcommand;

use super::cells;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::import::Context;
use crate::import::row::Reader;
use crate::import::table::Table;
use crate::names::{Collection, id};
use crate::output::cells::Cells;
use crate::output::grid::Grid;
use crate::output::json::Described;
use crate::output::screen::Format;

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb<F: clap::Args> {
    /// List them
    List(F),
    /// Show one
    Show {
        /// Its id
        #[arg(value_name = "ID")]
        id: String,
    },
    /// Add one, from column=value words; --columns lists the columns
    Add(CellArgs),
    /// Change columns of one, from column=value words; an empty value clears
    Set(CellArgs),
    /// Remove one that nothing refers to
    Remove {
        /// Its id
        #[arg(value_name = "ID")]
        id: String,
    },
}

/// An id and cells.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  \
    forenoon unit add m-36 display_name=\"Walk mower 36\" serial_number=WM-1 kind=walk-mower \\\n      \
    capabilities=mower cutting_width=\"36 in\"\n  \
    forenoon unit set m-36 service_interval_hours=50\n  \
    forenoon worker set ada crew=bluestem phone=555-0101\n  \
    forenoon job add j-9 display_name=\"Storm limbs\" site=weld priority=5 window=2027-04-20\n  \
    forenoon job set j-9 deadline=\"2027-04-20 17:00\" deadline_source=\"county notice\"")]
pub struct CellArgs {
    /// Its id
    #[arg(value_name = "ID", required_unless_present = "columns")]
    id: Option<String>,
    /// Columns with their values
    #[arg(value_name = "COLUMN=VALUE", required_unless_present = "columns")]
    cells: Vec<String>,
    /// List the columns
    #[arg(long)]
    columns: bool,
}

/// A kind of record: how it is read, shown, and asked for.
pub(crate) trait Kind {
    /// The message.
    type Message: Described + Default;
    /// A page of them.
    type List: Described;
    /// What narrows a list.
    type Filter: clap::Args;
    /// Its table.
    const TABLE: &'static Table;
    /// The collection.
    const COLLECTION: Collection;
    /// The column with its id.
    const ID_COLUMN: &'static str;

    fn read(row: &mut Reader<'_>, context: &Context, message: &mut Self::Message);
    fn cells(message: &Self::Message, desk: &BranchDesk) -> Cells;
    fn rows(list: &Self::List) -> Grid;
    fn name(message: &Self::Message) -> &str;
    async fn list(desk: &BranchDesk, filter: Self::Filter) -> Result<Self::List, Failure>;
    async fn get(desk: &BranchDesk, name: String) -> Result<Self::Message, Failure>;
    async fn create(
        desk: &BranchDesk,
        id: String,
        message: Self::Message,
    ) -> Result<Self::Message, Failure>;
    async fn update(
        desk: &BranchDesk,
        message: Self::Message,
        fields: Vec<String>,
    ) -> Result<Self::Message, Failure>;
    async fn delete(desk: &BranchDesk, name: String) -> Result<(), Failure>;
    /// What a change of these fields has not done, though somebody may think so.
    fn remark(_stored: &Self::Message, _fields: &[String]) -> Option<&'static str> {
        None
    }
}

pub(super) async fn run<K: Kind>(desk: &Desk, verb: Verb<K::Filter>) -> Result<(), Failure> {
    if let Verb::Add(args) | Verb::Set(args) = &verb
        && args.columns
    {
        return super::import::print_columns(desk, &[K::TABLE]);
    }
    let desk = desk.at_branch().await?;
    match verb {
        Verb::List(filter) => {
            let list = K::list(&desk, filter).await?;
            desk.screen.grid(&list, &K::rows(&list))
        }
        Verb::Show { id } => {
            let message = K::get(&desk, desk.name(K::COLLECTION, &id)).await?;
            show::<K>(&desk, &message)
        }
        Verb::Add(args) => add::<K>(&desk, args).await,
        Verb::Set(args) => set::<K>(&desk, args).await,
        Verb::Remove { id } => {
            K::delete(&desk, desk.name(K::COLLECTION, &id)).await?;
            desk.screen.say(&format!("{id} removed"));
            Ok(())
        }
    }
}

async fn add<K: Kind>(desk: &BranchDesk, args: CellArgs) -> Result<(), Failure> {
    let new = args.id.unwrap_or_default();
    let mut words = args.cells;
    words.push(format!("{}={new}", K::ID_COLUMN));
    let row = cells::row(K::TABLE, &words)?;
    cells::refuse(&row.missing(K::TABLE))?;
    let mut message = K::Message::default();
    cells::apply(&row, &desk.context(), &mut message, K::read)?;
    let stored = K::create(desk, new, message).await?;
    tell::<K>(desk, &stored, "added")
}

async fn set<K: Kind>(desk: &BranchDesk, args: CellArgs) -> Result<(), Failure> {
    let name = desk.name(K::COLLECTION, &args.id.unwrap_or_default());
    let row = cells::row(K::TABLE, &args.cells)?;
    // Changed as it was read: its etag goes back with it, so that a change in between is seen.
    let mut message = K::get(desk, name).await?;
    let fields = cells::apply(&row, &desk.context(), &mut message, K::read)?;
    if fields.is_empty() {
        // To the server an empty list of fields means all of them.
        return Err(Failure::BadInput(format!(
            "{} says nothing that can be changed; `--columns` lists the columns",
            args.cells.join(" ")
        )));
    }
    let stored = K::update(desk, message, fields.clone()).await?;
    if let Some(remark) = K::remark(&stored, &fields) {
        desk.screen.say(remark);
    }
    tell::<K>(desk, &stored, "changed")
}

fn tell<K: Kind>(desk: &BranchDesk, message: &K::Message, what: &str) -> Result<(), Failure> {
    if desk.screen.format == Format::Table {
        return desk
            .screen
            .print(&format!("{} {what}\n", id(K::name(message))));
    }
    show::<K>(desk, message)
}

fn show<K: Kind>(desk: &BranchDesk, message: &K::Message) -> Result<(), Failure> {
    let cells = K::cells(message, desk);
    desk.screen
        .answer(message, || cells.grid(), |width| cells.page(width))
}
