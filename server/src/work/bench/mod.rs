//! The repair bench: in what order it is wanted, services, and how reliable units are.

mod history;
mod hours;
mod queue;
mod service;

pub use history::{History, history};
pub(crate) use hours::serviced_first;
pub use queue::{Due, Queue, queue};
pub use service::RecordService;

/// The company's own rules of the bench.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct BenchRules {
    /// Whoever repaired a unit must not inspect it.
    pub inspector_differs: bool,
    /// A unit whose service is due stays in until it is serviced.
    pub service_due_keeps_in: bool,
}
