//! `watch`: a day as it happens, until it is broken off.

use std::time::{Duration, Instant};

use forenoon_proto::v1;
use tonic::{Code, Status};

use super::show_plan::DayArg;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::output::json::json_line;
use crate::output::screen::Format;
use crate::output::watch::{change_grid, change_line, snapshot_text};
use crate::parse::day::wire;

/// The server says something at least every 15 seconds; after so long without a word it is gone.
const SILENCE_MAX: Duration = Duration::from_secs(45);
/// The wait before the first attempt to go on; it doubles up to the longest.
const WAIT_FIRST: Duration = Duration::from_millis(200);
const WAIT_MAX: Duration = Duration::from_secs(5);

/// How `watch` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Shows how the day stands, then a line for every change. After a cut it goes on where it broke,\n\
                  for as long as --timeout says. Ctrl-C ends it.\n\n\
                  Examples:\n  forenoon watch\n  forenoon watch tomorrow --output plain\n  \
                  forenoon watch --changes 1 --output json"
)]
pub struct Args {
    #[command(flatten)]
    day: DayArg,
    /// End after so many changes
    #[arg(long, value_name = "NUMBER")]
    changes: Option<u64>,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let day = args.day.read(&desk)?;
    let mut watch = Watch {
        request: v1::WatchDayRequest {
            parent: desk.parent(),
            day: Some(wire(day)),
            resume_token: String::new(),
        },
        left: args.changes,
        heard: Instant::now(),
        desk,
    };
    let mut wait = WAIT_FIRST;
    loop {
        let before = watch.heard;
        let Err(broken) = watch.follow().await else {
            return Ok(());
        };
        if watch.heard > before {
            wait = WAIT_FIRST;
        }
        watch.go_on_after(broken)?;
        tokio::time::sleep(wait).await;
        wait = (wait * 2).min(WAIT_MAX);
    }
}

/// Why a stream ended.
enum Broken {
    /// The server or the way to it.
    Cut(Status),
    /// Our own side.
    Own(Failure),
}

struct Watch {
    desk: BranchDesk,
    request: v1::WatchDayRequest,
    /// Changes still to show; none for all there will be.
    left: Option<u64>,
    /// When the server was last heard.
    heard: Instant,
}

impl Watch {
    /// Follows one stream to its end. Done where no more changes are wanted.
    async fn follow(&mut self) -> Result<(), Broken> {
        let mut stream = self
            .desk
            .link
            .watch_day(self.request.clone())
            .await
            .map_err(Broken::Cut)?;
        while self.left != Some(0) {
            let message = tokio::time::timeout(SILENCE_MAX, stream.message())
                .await
                .map_err(|_| Broken::Cut(Status::unavailable("the server is silent")))?
                .map_err(Broken::Cut)?
                .ok_or_else(|| Broken::Cut(Status::unavailable("the stream ended")))?;
            self.heard = Instant::now();
            self.request.resume_token.clone_from(&message.resume_token);
            self.show(&message).map_err(Broken::Own)?;
            if matches!(
                message.event,
                Some(v1::watch_day_response::Event::Change(_))
            ) {
                self.left = self.left.map(|left| left.saturating_sub(1));
            }
        }
        Ok(())
    }

    /// Whether to go on after a cut.
    fn go_on_after(&mut self, broken: Broken) -> Result<(), Failure> {
        let status = match broken {
            Broken::Own(failure) => return Err(failure),
            Broken::Cut(status) => status,
        };
        match status.code() {
            Code::OutOfRange if !self.request.resume_token.is_empty() => {
                self.desk.screen.say("too much has passed; beginning again");
                self.request.resume_token.clear();
                Ok(())
            }
            Code::Unavailable | Code::Unknown | Code::Internal | Code::Cancelled
                if self.heard.elapsed() < self.desk.link.timeout() =>
            {
                self.desk.screen.say("the server is away; trying again");
                Ok(())
            }
            _ => Err(self.desk.link.away(status)),
        }
    }

    fn show(&self, message: &v1::WatchDayResponse) -> Result<(), Failure> {
        use v1::watch_day_response::Event;
        let screen = self.desk.screen;
        if screen.format == Format::Json {
            return screen.print(&json_line(message).map_err(Failure::Other)?);
        }
        match &message.event {
            Some(Event::Snapshot(snapshot)) if screen.format == Format::Table => {
                screen.print(&snapshot_text(snapshot, self.desk.clock, screen.width))
            }
            Some(Event::Change(change)) if screen.format == Format::Plain => {
                screen.print(&change_grid(change, self.desk.clock).plain())
            }
            Some(Event::Change(change)) => screen.print(&change_line(change, self.desk.clock)),
            Some(Event::Snapshot(_) | Event::Heartbeat(_)) | None => Ok(()),
        }
    }
}
