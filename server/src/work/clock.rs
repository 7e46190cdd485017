//! Where the time comes from.

use chrono::{DateTime, SubsecRound, Utc};

/// Tells the time. Tests bring their own.
pub trait Clock: Send + Sync + 'static {
    /// The present instant, in whole microseconds: finer ones would not survive PostgreSQL.
    fn now(&self) -> DateTime<Utc>;
}

/// The machine's clock.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> DateTime<Utc> {
        Utc::now().trunc_subsecs(6)
    }
}

impl<F> Clock for F
where
    F: Fn() -> DateTime<Utc> + Send + Sync + 'static,
{
    fn now(&self) -> DateTime<Utc> {
        self().trunc_subsecs(6)
    }
}
