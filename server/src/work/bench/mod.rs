//! The repair bench: in what order it is wanted, services, and how reliable units are.

mod cost;
mod history;
mod hours;
mod queue;
mod service;
mod settle;

pub use cost::{Costs, UnitCost, cost};
pub use history::{History, history};
pub(crate) use hours::{serviced_first, settled_until};
pub use queue::{Due, Queue, queue};
pub use service::RecordService;
pub(crate) use settle::add_late;
pub use settle::{settle, settle_hours};

/// The company's own rules of the bench.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct BenchRules {
    /// Whoever repaired a unit must not pass it.
    pub inspector_differs: bool,
    /// A unit whose service is due stays in until it is serviced.
    pub service_due_keeps_in: bool,
}
