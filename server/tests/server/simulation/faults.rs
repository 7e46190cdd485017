//! What goes wrong with a command, and at which of its points.

use std::panic::{AssertUnwindSafe, resume_unwind};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::task::Poll;

use chrono::{DateTime, Utc};
use forenoon_server::work::{Accepted, Attempt, Call, Clock, Command, Error, Outcome};
use forenoon_store::sea_orm::{ConnectionTrait, DatabaseTransaction};
use forenoon_store::{Database, StoreError, Write};
use futures::FutureExt;
use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

/// Points of a command, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Point {
    /// Nothing is written yet.
    Before,
    /// The state is changed; audit, events and kept answer are not written.
    State,
    /// Audit and events are written; the answer is not kept.
    Records,
    /// All of it is written and not committed.
    All,
    /// The commit itself.
    Commit,
    /// It is committed; the answer is on its way.
    Answer,
}

/// How a command breaks off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Manner {
    /// With an error, or a fault that unwinds where no error can come.
    Fails,
    /// The caller leaves, and what was under way is dropped where it stands.
    Leaves,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fault {
    Nothing,
    /// Others write at the same time, so often.
    Meets {
        at: Point,
        times: u32,
    },
    /// It breaks off; the caller sends it again.
    Breaks {
        at: Point,
        manner: Manner,
    },
}

/// Points at which others can be met.
const MEETINGS: [Point; 3] = [Point::Before, Point::State, Point::All];
/// All ways to break off. That an answer is being made is no place to wait, and a lost one is lost in any manner.
const BREAKS: [(Point, Manner); 10] = [
    (Point::Before, Manner::Fails),
    (Point::Before, Manner::Leaves),
    (Point::State, Manner::Fails),
    (Point::State, Manner::Leaves),
    (Point::Records, Manner::Fails),
    (Point::All, Manner::Fails),
    (Point::All, Manner::Leaves),
    (Point::Commit, Manner::Fails),
    (Point::Commit, Manner::Leaves),
    (Point::Answer, Manner::Leaves),
];

impl Fault {
    /// One that chance chooses; half of all commands have none.
    pub(super) fn drawn(chance: &mut Xoshiro256PlusPlus) -> Self {
        match chance.random_range(0..8) {
            0 => Self::Meets {
                at: MEETINGS[chance.random_range(0..MEETINGS.len())],
                times: chance.random_range(1..3),
            },
            1..=3 => {
                let (at, manner) = BREAKS[chance.random_range(0..BREAKS.len())];
                Self::Breaks { at, manner }
            }
            _ => Self::Nothing,
        }
    }

    /// As it is counted.
    pub(super) fn kind(self) -> String {
        match self {
            Self::Nothing => "no fault".to_owned(),
            Self::Meets { at, .. } => format!("meets at {at:?}"),
            Self::Breaks { at, manner } => format!("{manner:?} at {at:?}"),
        }
    }

    /// Whether everything may be written although no answer came.
    pub(super) fn may_be_done(self) -> bool {
        let Self::Breaks { at, manner } = self else {
            return false;
        };
        at == Point::Answer || (at == Point::Commit && manner == Manner::Leaves)
    }

    /// Whether nothing may be written although the command was accepted.
    pub(super) fn may_be_undone(self) -> bool {
        matches!(self, Self::Breaks { at, .. } if at < Point::Answer)
    }
}

/// All kinds of faults.
pub(super) fn kinds() -> impl Iterator<Item = String> {
    let meets = MEETINGS.map(|at| Fault::Meets { at, times: 1 });
    let breaks = BREAKS.map(|(at, manner)| Fault::Breaks { at, manner });
    meets.into_iter().chain(breaks).map(Fault::kind)
}

/// How a command that was sent came out for the caller.
#[derive(Debug)]
pub(super) enum Ended {
    /// The bytes of the answer, and whether they are those of an earlier time.
    Answered(Vec<u8>, bool),
    Refused(Error),
    /// No answer came. Where one was made, its bytes.
    BrokenOff(Option<Vec<u8>>),
}

/// A command as it is sent: who asks, when, and how its answer is written down.
pub(super) struct Sent<'a, C: Command> {
    pub(super) database: &'a Database,
    pub(super) clock: &'a dyn Clock,
    pub(super) call: &'a Call,
    pub(super) command: &'a C,
    pub(super) words: &'a (dyn Fn(&C::Answer) -> String + Send + Sync),
}

impl<C: Command> Sent<'_, C> {
    /// Sends it with a fault. Says how it ended, and whether it got as far as the fault.
    pub(super) async fn with(&self, fault: Fault) -> (Ended, bool) {
        let trouble = Trouble::new(fault);
        let encode = |answer: &C::Answer| {
            trouble.unwind();
            (self.words)(answer).into_bytes()
        };
        let command = FaultyCommand {
            inner: self.command,
            trouble: &trouble,
        };
        let work = FaultyWrite {
            inner: Attempt {
                clock: self.clock,
                call: self.call,
                command: &command,
                encode: &encode,
            },
            trouble: &trouble,
        };
        let branch = self.call.branch.as_str();
        let ended = {
            let doing = self.database.write(branch, &work);
            let mut doing = Box::pin(AssertUnwindSafe(doing).catch_unwind());
            futures::future::poll_fn(|context| match doing.as_mut().poll(context) {
                Poll::Ready(ended) => Poll::Ready(Some(ended)),
                Poll::Pending if trouble.leaves.load(Ordering::Relaxed) => Poll::Ready(None),
                Poll::Pending => Poll::Pending,
            })
            .await
        };
        let ended = match ended {
            None => Ended::BrokenOff(None),
            Some(Err(fault)) => {
                // Ours, or one of the code under test.
                if !fault.is::<PutIn>() {
                    resume_unwind(fault);
                }
                Ended::BrokenOff(None)
            }
            Some(Ok(Ok(outcome))) => {
                let (bytes, again) = match outcome {
                    Outcome::Done(answer) => ((self.words)(&answer).into_bytes(), false),
                    Outcome::Replayed(bytes) => (bytes, true),
                };
                if trouble.loses_answer() {
                    Ended::BrokenOff(Some(bytes))
                } else {
                    Ended::Answered(bytes, again)
                }
            }
            Some(Ok(Err(error))) if trouble.is_of_fault(&error) => Ended::BrokenOff(None),
            Some(Ok(Err(error))) => Ended::Refused(error),
        };
        if let Ended::BrokenOff(_) = ended {
            // There is one connection to write with: whoever has it next comes after all that was dropped.
            let turn = self.database.write_untold(branch, &Turn).await;
            turn.expect("the next write has its turn");
        }
        (ended, trouble.reached.load(Ordering::Relaxed))
    }
}

/// What unwinds where it was put in.
struct PutIn;

/// Words of an error that was put in.
const PUT_IN: &str = "put in";

struct Trouble {
    fault: Fault,
    meetings_left: AtomicU32,
    reached: AtomicBool,
    leaves: AtomicBool,
}

impl Trouble {
    fn new(fault: Fault) -> Self {
        let times = match fault {
            Fault::Meets { times, .. } => times,
            _ => 0,
        };
        Self {
            fault,
            meetings_left: AtomicU32::new(times),
            reached: AtomicBool::new(false),
            leaves: AtomicBool::new(false),
        }
    }

    /// Whether it breaks off here, in this manner.
    fn breaks(&self, here: Point, how: Manner) -> bool {
        let fault = Fault::Breaks {
            at: here,
            manner: how,
        };
        let breaks = self.fault == fault;
        if breaks {
            self.reached.store(true, Ordering::Relaxed);
        }
        breaks
    }

    /// Goes wrong at a point between two steps, where that is the fault.
    async fn at(&self, here: Point) -> Result<(), Error> {
        if self.breaks(here, Manner::Fails) {
            return Err(Error::Internal(PUT_IN.to_owned()));
        }
        if self.breaks(here, Manner::Leaves) {
            self.leaves.store(true, Ordering::Relaxed);
            std::future::pending::<()>().await;
        }
        let left = self.meetings_left.load(Ordering::Relaxed);
        if left > 0 && matches!(self.fault, Fault::Meets { at, .. } if at == here) {
            self.reached.store(true, Ordering::Relaxed);
            self.meetings_left.store(left - 1, Ordering::Relaxed);
            let detail = PUT_IN.to_owned();
            return Err(Error::Store(StoreError::Contention { detail }));
        }
        Ok(())
    }

    fn unwind(&self) {
        if self.breaks(Point::Records, Manner::Fails) {
            resume_unwind(Box::new(PutIn));
        }
    }

    fn loses_answer(&self) -> bool {
        // Left while it commits, and the commit was quicker.
        self.leaves.load(Ordering::Relaxed) || self.breaks(Point::Answer, Manner::Leaves)
    }

    /// Whether an error comes of what was put in.
    fn is_of_fault(&self, error: &Error) -> bool {
        let commit_failed = Fault::Breaks {
            at: Point::Commit,
            manner: Manner::Fails,
        };
        match error {
            Error::Internal(words) => words == PUT_IN,
            Error::Store(StoreError::ForeignKey { .. }) => {
                self.fault == commit_failed && self.reached.load(Ordering::Relaxed)
            }
            _ => false,
        }
    }
}

/// A command with faults before it and after it.
struct FaultyCommand<'a, C> {
    inner: &'a C,
    trouble: &'a Trouble,
}

impl<C: Command> Command for FaultyCommand<'_, C> {
    type Answer = C::Answer;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<C::Answer>, Error> {
        self.trouble.at(Point::Before).await?;
        let accepted = self.inner.run(transaction, now).await?;
        self.trouble.at(Point::State).await?;
        Ok(accepted)
    }
}

/// A command's whole transaction, with faults at its end.
struct FaultyWrite<'a, C: Command> {
    inner: Attempt<'a, C>,
    trouble: &'a Trouble,
}

impl<C: Command> Write for FaultyWrite<'_, C> {
    type Output = Outcome<C::Answer>;
    type Error = Error;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<Self::Output, Error> {
        let outcome = self.inner.run(transaction).await?;
        self.trouble.at(Point::All).await?;
        if self.trouble.breaks(Point::Commit, Manner::Fails) {
            // A key that leads nowhere, and is looked at in the commit only.
            let broken = format!(
                "PRAGMA defer_foreign_keys = ON; \
                 UPDATE crew SET vehicle_id = 'nowhere' WHERE branch_id = '{}'",
                self.inner.call.branch
            );
            let done = transaction.execute_unprepared(&broken).await;
            done.map_err(StoreError::from)?;
        }
        if self.trouble.breaks(Point::Commit, Manner::Leaves) {
            self.trouble.leaves.store(true, Ordering::Relaxed);
        }
        Ok(outcome)
    }
}

/// Waits for its turn to write, and writes nothing.
struct Turn;

impl Write for Turn {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, _: &DatabaseTransaction) -> Result<(), StoreError> {
        Ok(())
    }
}
