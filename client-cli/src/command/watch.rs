//! `watch`: a day as it happens, until it is broken off.

use std::io::Write;
use std::time::{Duration, Instant};

use forenoon_proto::v1;
use tonic::{Code, Status};

use super::show_plan::DayArg;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::output::json::json_line;
use crate::output::screen::{Format, Reader, reader_gone, write};
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
                  for as long as --timeout says. It ends with Ctrl-C, or when nobody reads it any more.\n\n\
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
    let watch = Watch {
        request: v1::WatchDayRequest {
            parent: desk.parent(),
            day: Some(wire(day)),
            resume_token: String::new(),
        },
        left: args.changes,
        heard: Instant::now(),
        out: anstream::stdout(),
        desk,
    };
    tokio::select! {
        ended = watch.run() => ended,
        // A quiet day has nothing to print, and would show it only with its next change.
        () = reader_gone() => Ok(()),
    }
}

/// Why a stream ended.
enum Broken {
    /// The server or the way to it.
    Cut(Status),
    /// Our own side.
    Own(Failure),
}

struct Watch<W> {
    desk: BranchDesk,
    request: v1::WatchDayRequest,
    /// Changes still to show; none for all there will be.
    left: Option<u64>,
    /// When the server was last heard.
    heard: Instant,
    /// Where changes are printed.
    out: W,
}

impl<W: Write> Watch<W> {
    /// Follows stream after stream until no more changes are wanted, or nobody reads them.
    async fn run(mut self) -> Result<(), Failure> {
        let mut wait = WAIT_FIRST;
        loop {
            let before = self.heard;
            let Err(broken) = self.follow().await else {
                return Ok(());
            };
            if self.heard > before {
                wait = WAIT_FIRST;
            }
            self.go_on_after(broken)?;
            tokio::time::sleep(wait).await;
            wait = (wait * 2).min(WAIT_MAX);
        }
    }

    /// Follows one stream to its end. Done where no more changes are wanted, or nobody reads them.
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
            if self.show(&message).map_err(Broken::Own)? == Reader::Gone {
                return Ok(());
            }
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

    fn show(&mut self, message: &v1::WatchDayResponse) -> Result<Reader, Failure> {
        match self.text(message)? {
            Some(text) => write(&mut self.out, &text),
            None => Ok(Reader::There),
        }
    }

    /// A message in the screen's form, where it says something in it.
    fn text(&self, message: &v1::WatchDayResponse) -> Result<Option<String>, Failure> {
        use v1::watch_day_response::Event;
        let (screen, clock) = (self.desk.screen, self.desk.clock);
        if screen.format == Format::Json {
            return json_line(message).map(Some).map_err(Failure::Other);
        }
        Ok(match &message.event {
            Some(Event::Snapshot(snapshot)) if screen.format == Format::Table => {
                Some(snapshot_text(snapshot, clock, screen.width))
            }
            Some(Event::Change(change)) if screen.format == Format::Plain => {
                Some(change_grid(change, clock).plain())
            }
            Some(Event::Change(change)) => Some(change_line(change, clock)),
            Some(Event::Snapshot(_) | Event::Heartbeat(_)) | None => None,
        })
    }
}

#[cfg(test)]
mod tests {
    use std::io::{PipeReader, PipeWriter, Read, pipe};
    use std::pin::Pin;

    use tokio_stream::wrappers::TcpListenerStream;
    use tokio_stream::{Stream, StreamExt};
    use tonic::transport::Server;
    use tonic::{Request, Response};
    use v1::day_service_server::{DayService, DayServiceServer};
    use v1::watch_day_response::Event;

    use super::*;
    use crate::command::tests::branch_desk;

    /// A day with two changes at once, and none after them.
    struct Morning;

    #[tonic::async_trait]
    impl DayService for Morning {
        type WatchDayStream =
            Pin<Box<dyn Stream<Item = Result<v1::WatchDayResponse, Status>> + Send>>;

        async fn watch_day(
            &self,
            _: Request<v1::WatchDayRequest>,
        ) -> Result<Response<Self::WatchDayStream>, Status> {
            let changes = ["visit.started", "visit.finished"].map(|kind| {
                Ok(v1::WatchDayResponse {
                    resume_token: kind.to_owned(),
                    event: Some(Event::Change(v1::DayChange {
                        kind: kind.to_owned(),
                        ..v1::DayChange::default()
                    })),
                })
            });
            let stream = tokio_stream::iter(changes).chain(tokio_stream::pending());
            Ok(Response::new(Box::pin(stream)))
        }
    }

    async fn watch(changes: Option<u64>) -> (PipeReader, Watch<PipeWriter>) {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let server = format!("http://{}", listener.local_addr().unwrap());
        tokio::spawn(
            Server::builder()
                .add_service(DayServiceServer::new(Morning))
                .serve_with_incoming(TcpListenerStream::new(listener)),
        );
        let (reader, out) = pipe().unwrap();
        let watch = Watch {
            desk: branch_desk(&server, chrono_tz::America::Chicago),
            request: v1::WatchDayRequest::default(),
            left: changes,
            heard: Instant::now(),
            out,
        };
        (reader, watch)
    }

    #[tokio::test]
    async fn a_watch_ends_after_so_many_changes() {
        let (mut reader, watch) = watch(Some(2)).await;
        watch.run().await.unwrap();
        let mut printed = String::new();
        reader.read_to_string(&mut printed).unwrap();
        let kinds: Vec<_> = printed
            .lines()
            .map(|line| line.split('\t').nth(1))
            .collect();
        assert_eq!(kinds, [Some("visit.started"), Some("visit.finished")]);
    }

    #[tokio::test]
    async fn a_watch_ends_where_nobody_reads_it() {
        /// Far longer than two changes take.
        const LIMIT: Duration = Duration::from_secs(20);
        let (reader, watch) = watch(None).await;
        drop(reader);
        let ended = tokio::time::timeout(LIMIT, watch.run()).await;
        ended.expect("an end").expect("success");
    }
}
