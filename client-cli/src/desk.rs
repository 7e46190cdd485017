//! What every command works with: the connection, the screen, the time, and the branch at hand.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use forenoon_proto::v1;

use crate::connect::Link;
use crate::failure::Failure;
use crate::import::Context;
use crate::names::{self, Collection};
use crate::output::clock::{Clock, Times};
use crate::output::screen::Screen;
use crate::parse::{day, instant};

/// The connection, the screen and the time.
#[derive(Clone, Debug)]
pub struct Desk {
    /// The connection.
    pub link: Link,
    /// The screen.
    pub screen: Screen,
    /// The time at which the command began.
    pub now: DateTime<Utc>,
    /// The branch that was named, by id or name.
    pub branch: Option<String>,
}

/// A desk at one branch.
#[derive(Clone, Debug)]
pub struct BranchDesk {
    /// The connection.
    pub link: Link,
    /// The screen.
    pub screen: Screen,
    /// The branch.
    pub branch: v1::Branch,
    /// Its clock.
    pub clock: Clock,
    /// Its local date when the command began.
    pub today: NaiveDate,
    /// The time at which the command began.
    pub now: DateTime<Utc>,
}

impl Desk {
    /// Sits down at the branch that was named, or at the only one there is.
    ///
    /// # Errors
    /// No such branch, no branch at all, or several and none named.
    pub async fn at_branch(&self) -> Result<BranchDesk, Failure> {
        let branch = match &self.branch {
            Some(id) => {
                let request = v1::GetBranchRequest {
                    name: names::branch(id),
                };
                self.link
                    .get_branch(request)
                    .await?
                    .branch
                    .unwrap_or_default()
            }
            None => self.only_branch().await?,
        };
        let zone: Tz = branch.time_zone.parse().map_err(|_| {
            Failure::Other(format!(
                "the branch's time zone \"{}\" is not known here; update this command",
                branch.time_zone
            ))
        })?;
        let clock = Clock { zone };
        Ok(BranchDesk {
            link: self.link.clone(),
            screen: self.screen,
            today: clock.date(self.now),
            clock,
            branch,
            now: self.now,
        })
    }

    async fn only_branch(&self) -> Result<v1::Branch, Failure> {
        let mut branches = self
            .link
            .all_branches(v1::ListBranchesRequest::default())
            .await?;
        match (branches.pop(), branches.is_empty()) {
            (Some(branch), true) => Ok(branch),
            (None, _) => Err(Failure::NotFound(
                "the server has no branch yet; make one with `forenoon branch create`".to_owned(),
            )),
            (Some(_), false) => Err(Failure::Usage(
                "the server has several branches; name one with --branch or FORENOON_BRANCH \
                 (`forenoon branch list` shows them)"
                    .to_owned(),
            )),
        }
    }
}

impl BranchDesk {
    /// The branch's resource name.
    pub fn parent(&self) -> String {
        self.branch.name.clone()
    }

    /// The resource name of something in the branch. Empty stays empty.
    pub fn name(&self, collection: Collection, id: &str) -> String {
        names::resource(&self.branch.name, collection, id)
    }

    /// Times of a grid: as people are shown them here, or as the screen's form has them.
    pub fn times(&self, for_people: fn(Clock) -> Times) -> Times {
        for_people(self.clock).in_form(self.screen.format)
    }

    /// What imports need to know about the branch.
    pub fn context(&self) -> Context {
        Context {
            branch: self.branch.name.clone(),
            currency: self.branch.currency_code.clone(),
            zone: self.clock.zone,
        }
    }

    /// Reads a day as people name it.
    ///
    /// # Errors
    /// Text that names no day.
    pub fn day(&self, text: &str) -> Result<NaiveDate, Failure> {
        day::day(text, self.today).map_err(Failure::Usage)
    }

    /// Reads a time on a day of the branch's clock.
    ///
    /// # Errors
    /// Text that is no time, or one that the clock does not show once.
    pub fn time(&self, text: &str, day: NaiveDate) -> Result<prost_types::Timestamp, Failure> {
        instant::instant(text, day, self.clock.zone)
            .map(instant::wire)
            .map_err(Failure::Usage)
    }
}
