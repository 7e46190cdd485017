//! `DayService`, written by hand: the words for an event are made once, and many streams send the same bytes. The services
//! that are generated write each message anew, into memory of its own for each watcher.

use std::convert::Infallible;
use std::pin::pin;
use std::task::{Context, Poll};

use bytes::{BufMut, Bytes, BytesMut};
use chrono::NaiveDate;
use forenoon_proto::v1;
use futures::future::{BoxFuture, FutureExt};
use futures::stream::{self, Stream, StreamExt};
use http::header::CONTENT_TYPE;
use http::{HeaderMap, HeaderValue};
use http_body::Frame;
use http_body_util::StreamBody;
use tonic::body::Body;
use tonic::codec::Streaming;
use tonic::codegen::Service;
use tonic::metadata::GRPC_CONTENT_TYPE;
use tonic::server::NamedService;
use tonic::{Code, Status};
use tonic_prost::ProstDecoder;

use super::{convert, token};
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::sign_in::gone;
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
        let (state, message_bytes_max) = (self.state.clone(), self.message_bytes_max);
        Box::pin(async move {
            Ok(match answer(state, request, message_bytes_max).await {
                Ok(body) => {
                    let mut response = http::Response::new(body);
                    let headers = response.headers_mut();
                    headers.insert(CONTENT_TYPE, GRPC_CONTENT_TYPE);
                    response
                }
                Err(refused) => refused.into_http(),
            })
        })
    }
}

async fn answer(
    state: State,
    request: http::Request<Body>,
    message_bytes_max: usize,
) -> Result<Body, Status> {
    let body = request.into_body();
    let mut messages = pin!(Streaming::new_request(
        ProstDecoder::<v1::WatchDayRequest>::default(),
        body,
        None,
        Some(message_bytes_max)
    ));
    let message = messages.message().await?;
    let message = message.ok_or_else(|| Status::internal("the request has no message"))?;
    let pieces = watch(state, message).await.map_err(status)?;
    Ok(Body::new(StreamBody::new(pieces.flat_map(frames))))
}

/// A response in two pieces: what is one watcher's own, and what all share.
struct Piece {
    own: Bytes,
    shared: Bytes,
}

/// What goes over the wire for a response, or at the end. What is shared is not copied for it.
fn frames(
    piece: Result<Piece, Status>,
) -> impl Stream<Item = Result<Frame<Bytes>, Infallible>> + Send {
    let frames = match piece.and_then(|piece| Ok((beginning(&piece)?, piece.shared))) {
        Ok((beginning, shared)) => vec![Frame::data(beginning), Frame::data(shared)],
        Err(end) => vec![Frame::trailers(trailers(&end))],
    };
    stream::iter(frames).map(Ok)
}

/// A message's length, as gRPC has it before each, and the watcher's own piece.
fn beginning(piece: &Piece) -> Result<Bytes, Status> {
    let length = u32::try_from(piece.own.len() + piece.shared.len())
        .map_err(|_| Status::resource_exhausted("a message has more than 4 GiB"))?;
    let mut beginning = BytesMut::with_capacity(5 + piece.own.len());
    // Not compressed.
    beginning.put_u8(0);
    beginning.put_u32(length);
    beginning.put_slice(&piece.own);
    Ok(beginning.freeze())
}

fn trailers(end: &Status) -> HeaderMap {
    let mut trailers = HeaderMap::new();
    if end.add_header(&mut trailers).is_err() {
        // Its words are fit for no header; its code always is.
        let code = HeaderValue::from(Code::Internal as i32);
        trailers.insert(Status::GRPC_STATUS, code);
    }
    trailers
}

async fn watch(
    state: State,
    request: v1::WatchDayRequest,
) -> Result<impl Stream<Item = Result<Piece, Status>> + Send, Error> {
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
    let (first, watcher) = if let Some(place) = place {
        let watcher = state.watches.resume(&tell.branch, day, place).await?;
        (None, watcher)
    } else {
        let (snapshot, watcher) = state.watches.begin(&tell.branch, day).await?;
        let first = tell.piece(snapshot.place, convert::snapshot(snapshot));
        (Some(Ok(first)), watcher)
    };
    let gone = gone().boxed();
    Ok(stream::iter(first).chain(tell.changes(watcher, gone)))
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
    /// before that. It ends with the caller's key.
    fn changes(
        self,
        watcher: Watcher,
        gone: BoxFuture<'static, ()>,
    ) -> impl Stream<Item = Result<Piece, Status>> + Send {
        stream::unfold(Some((self, watcher, gone)), |open| async move {
            let (tell, mut watcher, mut gone) = open?;
            let next = tokio::select! {
                next = watcher.next() => next,
                () = &mut gone => Err(Error::Unauthenticated),
            };
            match next {
                Ok(told) => {
                    let shared = match told {
                        Told::Change(words) => words,
                        Told::Heartbeat => convert::heartbeat(),
                    };
                    let piece = tell.piece(watcher.place(), shared);
                    Some((Ok(piece), Some((tell, watcher, gone))))
                }
                Err(error) => Some((Err(status(error)), None)),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use prost::Message;

    use super::*;

    fn data(piece: Piece) -> Vec<Bytes> {
        let frames: Vec<_> = futures::executor::block_on(frames(Ok(piece)).collect());
        let data = frames.into_iter().map(|Ok(frame)| frame.into_data());
        data.collect::<Result<_, _>>().expect("data alone")
    }

    /// A thousand watchers of a day would otherwise have a thousand copies of its plan in memory at the same time.
    #[test]
    fn what_all_share_is_not_copied_for_one() {
        let shared = convert::heartbeat();
        let piece = Piece {
            own: convert::token("here".to_owned()),
            shared: shared.clone(),
        };
        let data = data(piece);
        assert_eq!(data[1].as_ptr(), shared.as_ptr());
        let [0, a, b, c, d, message @ ..] = &data.concat()[..] else {
            panic!("no length before the message");
        };
        assert_eq!(u32::from_be_bytes([*a, *b, *c, *d]) as usize, message.len());
        let read = v1::WatchDayResponse::decode(message).expect("a whole message");
        assert_eq!(read.resume_token, "here");
        assert!(read.event.is_some());
    }

    #[test]
    fn an_end_is_told_with_its_code() {
        let end = Err(Status::unavailable("the server stops"));
        let frames: Vec<_> = futures::executor::block_on(frames(end).collect());
        let [Ok(frame)] = &frames[..] else {
            panic!("one frame");
        };
        let trailers = frame.trailers_ref().expect("trailers");
        assert_eq!(trailers["grpc-status"], "14");
    }
}
