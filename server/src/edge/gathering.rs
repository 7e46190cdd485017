//! What a caller sends in parts, and how long it is waited for.
//!
//! Whoever gathers has a turn that others wait for. So a pause between two parts has an end, and the whole has one: a caller
//! who drips cannot keep a turn for ever.

use std::time::Duration;

use futures::{Stream, StreamExt};
use tokio::time::{Instant, sleep_until};
use tokio_util::sync::CancellationToken;
use tonic::Status;

use super::status::status;
use crate::work::{Error, Reason};

/// The longest pause between two parts.
const SILENCE_MAX: Duration = Duration::from_secs(30);

/// Parts as they come.
pub(crate) struct Gathering<'a, S> {
    stream: S,
    whole: Duration,
    ends: Instant,
    going_down: &'a CancellationToken,
}

impl<'a, S, M> Gathering<'a, S>
where
    S: Stream<Item = Result<M, Status>> + Unpin,
{
    /// Waits for all the parts of a stream for so long, from now on.
    pub(crate) fn new(stream: S, whole: Duration, going_down: &'a CancellationToken) -> Self {
        Self {
            stream,
            whole,
            ends: Instant::now() + whole,
            going_down,
        }
    }

    /// Begins to wait anew: time in which nothing was asked of the caller is not theirs.
    pub(crate) fn begin_anew(&mut self) {
        self.ends = Instant::now() + self.whole;
    }

    /// The next part; none after the last.
    pub(crate) async fn next(&mut self) -> Result<Option<M>, Status> {
        let silent = Instant::now() + SILENCE_MAX;
        tokio::select! {
            message = self.stream.next() => message.transpose(),
            () = sleep_until(silent.min(self.ends)) => Err(Status::deadline_exceeded(
                if silent < self.ends {
                    format!("nothing came for {} s; send it again", SILENCE_MAX.as_secs())
                } else {
                    format!(
                        "not all of it came within {} s; send it again over a faster line",
                        self.whole.as_secs()
                    )
                },
            )),
            () = self.going_down.cancelled() => Err(status(Error::GoingDown)),
        }
    }
}

/// The bytes of a chunk, which has some, and no more than `most`.
pub(crate) fn sized(chunk: Vec<u8>, most: usize) -> Result<Vec<u8>, Error> {
    if chunk.is_empty() {
        return Err(Error::violation(
            "chunk",
            Reason::Required,
            "is empty; each part after the first brings bytes",
        ));
    }
    if chunk.len() > most {
        return Err(Error::violation(
            "chunk",
            Reason::TooLong,
            format!("has {} bytes; send {most} at most", chunk.len()),
        ));
    }
    Ok(chunk)
}

#[cfg(test)]
mod tests {
    use futures::stream;
    use tonic::Code;

    use super::*;

    const WHOLE: Duration = Duration::from_secs(100);

    /// A part every so many seconds, for ever.
    fn dripping(seconds: u64) -> impl Stream<Item = Result<u64, Status>> + Unpin {
        Box::pin(stream::unfold(0, move |part| async move {
            tokio::time::sleep(Duration::from_secs(seconds)).await;
            Some((Ok(part), part + 1))
        }))
    }

    /// How many parts come, and what is said then.
    async fn gather(seconds: u64) -> (u32, Status) {
        let going_down = CancellationToken::new();
        let mut parts = Gathering::new(dripping(seconds), WHOLE, &going_down);
        let mut came = 0;
        loop {
            match parts.next().await {
                Ok(_) => came += 1,
                Err(status) => return (came, status),
            }
        }
    }

    #[tokio::test(start_paused = true)]
    async fn one_who_drips_and_one_who_falls_silent_are_both_cut_off() {
        let began = Instant::now();
        let (came, said) = gather(9).await;
        assert_eq!((came, said.code()), (11, Code::DeadlineExceeded));
        assert!(said.message().contains("within 100 s"), "{said}");
        assert_eq!(began.elapsed().as_secs(), WHOLE.as_secs());
        let (came, said) = gather(31).await;
        assert_eq!((came, said.code()), (0, Code::DeadlineExceeded));
        assert!(said.message().contains("for 30 s"), "{said}");
    }

    #[tokio::test(start_paused = true)]
    async fn what_comes_in_time_is_whole() {
        let going_down = CancellationToken::new();
        let stream = stream::iter([Ok(1), Ok(2)]);
        let mut parts = Gathering::new(stream, WHOLE, &going_down);
        assert_eq!(parts.next().await.expect("a part"), Some(1));
        // A wait for a turn is not the caller's.
        tokio::time::sleep(2 * WHOLE).await;
        parts.begin_anew();
        assert_eq!(parts.next().await.expect("a part"), Some(2));
        assert_eq!(parts.next().await.expect("the end"), None);
    }

    #[test]
    fn a_chunk_has_bytes_and_not_too_many() {
        assert!(sized(vec![1, 2], 2).is_ok());
        assert!(sized(vec![1, 2, 3], 2).is_err());
        assert!(sized(vec![], 2).is_err());
    }
}
