//! Price: what a job costs the company, what it is sold for, and what an hour of it earns.

mod money;
mod quote;

pub use money::{Currency, Money};
pub use quote::{Comparison, JobCost, MachineUse, PriceBook, Quote};
