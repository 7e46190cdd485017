//! `DayService`, written by hand in the generated services' way: the words for an event are made once, and many streams
//! send the same bytes.

use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

use bytes::{BufMut, Bytes};
use chrono::NaiveDate;
use forenoon_proto::v1;
use futures::future::BoxFuture;
use futures::stream::{self, Stream, StreamExt};
use prost::Message;
use tonic::body::Body;
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::codegen::{Service, http};
use tonic::server::{Grpc, NamedService, ServerStreamingService};
use tonic::{Request, Response, Status};

use super::{convert, token};
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::day::{Place, Told, Watcher};
use crate::work::{Error, Reason};

/// The one method of the service.
const WATCH_DAY: &str = "/forenoon.v1.DayService/WatchDay";

/// `DayService` over the use cases.
#[derive(Clone)]
pub(crate) struct DayServer {
    state: State,
    message_bytes_max: usize,
}

impl DayServer {
    pub(crate) fn new(state: State) -> Self {
        Self {
            state,
            message_bytes_max: usize::MAX,
        }
    }

    /// Larger requests are refused.
    pub(crate) fn max_decoding_message_size(mut self, bytes: usize) -> Self {
        self.message_bytes_max = bytes;
        self
    }
}

impl NamedService for DayServer {
    const NAME: &'static str = "forenoon.v1.DayService";
}

impl Service<http::Request<Body>> for DayServer {
    type Response = http::Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<'static, Result<Self::Response, Infallible>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: http::Request<Body>) -> Self::Future {
        if request.uri().path() != WATCH_DAY {
            let answer = Status::unimplemented("the service has no such method").into_http();
            return Box::pin(async { Ok(answer) });
        }
        let method = WatchDay(self.state.clone());
        let message_bytes_max = self.message_bytes_max;
        Box::pin(async move {
            let mut grpc = Grpc::new(TellCodec).max_decoding_message_size(message_bytes_max);
            Ok(grpc.server_streaming(method, request).await)
        })
    }
}

/// A response in two pieces: what is one watcher's own, and what all share.
struct Piece {
    own: Bytes,
    shared: Bytes,
}

type Telling = Pin<Box<dyn Stream<Item = Result<Piece, Status>> + Send>>;

struct WatchDay(State);

impl ServerStreamingService<v1::WatchDayRequest> for WatchDay {
    type Response = Piece;
    type ResponseStream = Telling;
    type Future = BoxFuture<'static, Result<Response<Telling>, Status>>;

    fn call(&mut self, request: Request<v1::WatchDayRequest>) -> Self::Future {
        let state = self.0.clone();
        Box::pin(async move {
            watch(state, request.into_inner())
                .await
                .map(Response::new)
                .map_err(status)
        })
    }
}

async fn watch(state: State, request: v1::WatchDayRequest) -> Result<Telling, Error> {
    let v1::WatchDayRequest {
        parent,
        day,
        resume_token,
    } = request;
    let mut checks = Checks::new();
    let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
    let day = checks
        .required("day", day)
        .and_then(|day| checks.date("day", day));
    let place = match (&branch, day) {
        (Some(branch), Some(day)) if !resume_token.is_empty() => {
            place(&mut checks, branch, day, &resume_token).map(Some)
        }
        _ => Some(None),
    };
    let ((branch, day), place) = checks.finish(branch.zip(day).zip(place))?;
    let tell = Tell { branch, day };
    if let Some(place) = place {
        let watcher = state.watches.resume(&tell.branch, day, place).await?;
        return Ok(Box::pin(tell.changes(watcher)));
    }
    let (snapshot, watcher) = state.watches.begin(&tell.branch, day).await?;
    let first = tell.piece(snapshot.place, convert::snapshot(snapshot));
    Ok(Box::pin(
        stream::once(async { Ok(first) }).chain(tell.changes(watcher)),
    ))
}

fn place(checks: &mut Checks, branch: &str, day: NaiveDate, resume_token: &str) -> Option<Place> {
    token::read(branch, day, resume_token).or_else(|| {
        checks.fault(
            "resume_token",
            Reason::Malformed,
            "was given for no watch of this branch and day; begin again without one",
        )
    })
}

/// Tells one watcher.
struct Tell {
    branch: String,
    day: NaiveDate,
}

impl Tell {
    fn piece(&self, place: Place, shared: Bytes) -> Piece {
        Piece {
            own: convert::token(token::write(&self.branch, self.day, place)),
            shared,
        }
    }

    /// What is told after the beginning. The transport asks for it as fast as the caller takes it; nothing is made
    /// before that.
    fn changes(self, watcher: Watcher) -> impl Stream<Item = Result<Piece, Status>> + Send {
        stream::unfold(Some((self, watcher)), |open| async move {
            let (tell, mut watcher) = open?;
            match watcher.next().await {
                Ok(told) => {
                    let shared = match told {
                        Told::Change(words) => words,
                        Told::Heartbeat => convert::heartbeat(),
                    };
                    let piece = tell.piece(watcher.place(), shared);
                    Some((Ok(piece), Some((tell, watcher))))
                }
                Err(error) => Some((Err(status(error)), None)),
            }
        })
    }
}

/// Reads requests as usual and writes responses in two pieces.
#[derive(Clone, Copy, Debug, Default)]
struct TellCodec;

impl Codec for TellCodec {
    type Encode = Piece;
    type Decode = v1::WatchDayRequest;
    type Encoder = Self;
    type Decoder = Self;

    fn encoder(&mut self) -> Self {
        Self
    }

    fn decoder(&mut self) -> Self {
        Self
    }
}

impl Encoder for TellCodec {
    type Item = Piece;
    type Error = Status;

    fn encode(&mut self, piece: Piece, buffer: &mut EncodeBuf<'_>) -> Result<(), Status> {
        buffer.reserve(piece.own.len() + piece.shared.len());
        buffer.put(piece.own);
        buffer.put(piece.shared);
        Ok(())
    }
}

impl Decoder for TellCodec {
    type Item = v1::WatchDayRequest;
    type Error = Status;

    fn decode(
        &mut self,
        buffer: &mut DecodeBuf<'_>,
    ) -> Result<Option<v1::WatchDayRequest>, Status> {
        v1::WatchDayRequest::decode(buffer)
            .map(Some)
            .map_err(|error| Status::internal(error.to_string()))
    }
}
