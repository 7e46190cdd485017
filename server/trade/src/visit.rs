//! A crew's visit to a job as a state machine.
//!
//! Reports come from phones with bad coverage: late, twice, and out of order. So a visit is kept as what was told, with
//! the times at which it happened, and its state is read off that. The order in which reports arrive does not matter;
//! the order of their times does.
//!
//! ```text
//!   Depart ── UnderWay ── Arrive ── Arrived ── Start ── Working <── Pause, Resume ──> Paused
//!                │                     │                   └────────┬────────────────────┘
//!                └──────── GiveUp ─────┴── GiveUp ──────────────────┤ Finish
//!                             v                                     v
//!                          NotDone                                 Done
//! ```
//! What was told first holds: the same again, or the same with another time, is heard and changes nothing. A report
//! that comes late fills in what was missing and never takes a visit back. Common practice of dispatch, no source.

use std::collections::BTreeSet;

/// Most pauses and resumptions of one visit, together. Far above what a day can hold; it bounds what a broken phone can
/// write.
pub const MARKS_MAX: usize = 200;

/// Where a visit stands. Later states never lead back to earlier ones; work and pause alternate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// The crew drives there, or nothing is told yet.
    UnderWay,
    /// The crew is there.
    Arrived,
    /// Work goes on.
    Working,
    /// Work stands still.
    Paused,
    /// Done.
    Done,
    /// Could not be done.
    NotDone,
}

impl State {
    /// Whether nothing more is to come of it.
    pub const fn is_ended(self) -> bool {
        matches!(self, Self::Done | Self::NotDone)
    }
}

/// What a crew reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Event {
    /// It leaves for the job.
    Depart,
    /// It is there.
    Arrive,
    /// Work begins.
    Start,
    /// Work stops for a while.
    Pause,
    /// Work goes on.
    Resume,
    /// Work is done.
    Finish,
    /// It could not be done.
    GiveUp,
}

/// How a visit ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ending {
    /// The work is done.
    Done,
    /// The work is not done.
    NotDone,
}

/// What was told of a visit. `T` is any point in time.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Visit<T> {
    /// When the crew left for it.
    pub departed: Option<T>,
    /// When it was there.
    pub arrived: Option<T>,
    /// When work began.
    pub started: Option<T>,
    /// When work stopped for a while.
    pub paused: BTreeSet<T>,
    /// When work went on.
    pub resumed: BTreeSet<T>,
    /// How and when it ended.
    pub ended: Option<(Ending, T)>,
}

/// Why a report is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal<T> {
    /// Work has not begun.
    #[error("work has not begun")]
    NotStarted,
    /// The visit has ended, otherwise or earlier.
    #[error("the visit has ended")]
    Ended(Ending, T),
    /// It would lie before something that comes before it.
    #[error("lies before an earlier step of the visit")]
    TooEarly(Event, T),
    /// It would lie after something that comes after it.
    #[error("lies after a later step of the visit")]
    TooLate(Event, T),
    /// More pauses than a visit can have.
    #[error("a visit has at most {MARKS_MAX} pauses and resumptions")]
    TooManyPauses,
}

impl<T: Copy + Ord> Visit<T> {
    /// Nothing told yet.
    pub const fn new() -> Self {
        Self {
            departed: None,
            arrived: None,
            started: None,
            paused: BTreeSet::new(),
            resumed: BTreeSet::new(),
            ended: None,
        }
    }

    /// Where it stands.
    pub fn state(&self) -> State {
        match self.ended {
            Some((Ending::Done, _)) => return State::Done,
            Some((Ending::NotDone, _)) => return State::NotDone,
            None => {}
        }
        if self.started.is_some() {
            // A pause and a resumption at the same time are no pause.
            return if self.paused.last() > self.resumed.last() {
                State::Paused
            } else {
                State::Working
            };
        }
        if self.arrived.is_some() {
            State::Arrived
        } else {
            State::UnderWay
        }
    }

    /// The stretches in which work stood still, in order. The last has no end while it lasts. A pause that nobody ended
    /// ends with the visit; a resumption without its pause waits for it.
    pub fn pauses(&self) -> Vec<(T, Option<T>)> {
        let mut pauses = Vec::new();
        let mut over = None;
        for &from in &self.paused {
            // Told again while the pause lasts.
            if over.is_some_and(|over: Option<T>| over.is_none_or(|over| from < over)) {
                continue;
            }
            let to = self
                .resumed
                .range(from..)
                .next()
                .copied()
                .or(self.ended.map(|(_, at)| at));
            if to != Some(from) {
                pauses.push((from, to));
            }
            over = Some(to);
        }
        pauses
    }

    /// Whether a report of this time belongs to this visit, and not to a new attempt after it was given up.
    pub fn takes(&self, at: T) -> bool {
        match self.ended {
            Some((Ending::NotDone, end)) => at <= end,
            _ => true,
        }
    }

    /// The visit after a report. The same as before where the report tells nothing new.
    ///
    /// # Errors
    /// Refused where work must have begun and has not, where the visit has ended otherwise, and where the time
    /// contradicts what was told.
    pub fn after(&self, event: Event, at: T) -> Result<Self, Refusal<T>> {
        let mut next = self.clone();
        match event {
            Event::Depart | Event::Arrive | Event::Start => {
                let told = next.single(event);
                if told.is_some() {
                    return match self.ended {
                        // Once it has ended, something told with a later time is not a repetition.
                        Some((ending, end)) if at > end => Err(Refusal::Ended(ending, end)),
                        _ => Ok(next),
                    };
                }
                *told = Some(at);
            }
            Event::Pause | Event::Resume => {
                if self.started.is_none() {
                    return Err(Refusal::NotStarted);
                }
                if let Some((ending, end)) = self.ended
                    && at > end
                {
                    return Err(Refusal::Ended(ending, end));
                }
                if event == Event::Pause {
                    next.paused.insert(at);
                } else {
                    next.resumed.insert(at);
                }
                if next.paused.len() + next.resumed.len() > MARKS_MAX {
                    return Err(Refusal::TooManyPauses);
                }
            }
            Event::Finish | Event::GiveUp => {
                let ending = if event == Event::Finish {
                    Ending::Done
                } else {
                    Ending::NotDone
                };
                if let Some((known, end)) = self.ended {
                    return if known == ending {
                        Ok(next)
                    } else {
                        Err(Refusal::Ended(known, end))
                    };
                }
                if event == Event::Finish && self.started.is_none() {
                    return Err(Refusal::NotStarted);
                }
                next.ended = Some((ending, at));
            }
        }
        self.fits(event, at)?;
        Ok(next)
    }

    fn single(&mut self, event: Event) -> &mut Option<T> {
        match event {
            Event::Depart => &mut self.departed,
            Event::Arrive => &mut self.arrived,
            _ => &mut self.started,
        }
    }

    /// Whether the time agrees with what was told: departure, arrival, start, pauses, end, in this order.
    fn fits(&self, event: Event, at: T) -> Result<(), Refusal<T>> {
        let marks = |last: bool| {
            let ends = |set: &BTreeSet<T>| {
                if last {
                    set.last().copied()
                } else {
                    set.first().copied()
                }
            };
            let (paused, resumed) = (ends(&self.paused), ends(&self.resumed));
            if last {
                paused.max(resumed)
            } else {
                paused.into_iter().chain(resumed).min()
            }
        };
        let place = |event| match event {
            Event::Depart => 0,
            Event::Arrive => 1,
            Event::Start => 2,
            Event::Pause | Event::Resume => 3,
            Event::Finish | Event::GiveUp => 4,
        };
        let here = place(event);
        let told = [
            (Event::Depart, self.departed, self.departed),
            (Event::Arrive, self.arrived, self.arrived),
            (Event::Start, self.started, self.started),
            (Event::Pause, marks(false), marks(true)),
            (
                Event::Finish,
                self.ended.map(|end| end.1),
                self.ended.map(|end| end.1),
            ),
        ];
        for (other, first, last) in told {
            if let Some(last) = last.filter(|last| place(other) < here && at < *last) {
                return Err(Refusal::TooEarly(other, last));
            }
            if let Some(first) = first.filter(|first| place(other) > here && at > *first) {
                return Err(Refusal::TooLate(other, first));
            }
        }
        Ok(())
    }
}

impl<T: Copy + Ord> Default for Visit<T> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::{HashSet, VecDeque};

    use super::*;

    const EVENTS: [Event; 7] = [
        Event::Depart,
        Event::Arrive,
        Event::Start,
        Event::Pause,
        Event::Resume,
        Event::Finish,
        Event::GiveUp,
    ];
    /// Enough to have something before, between and after.
    const TIMES: [u8; 3] = [1, 2, 3];

    fn reports() -> impl Iterator<Item = (Event, u8)> {
        EVENTS
            .into_iter()
            .flat_map(|event| TIMES.map(|at| (event, at)))
    }

    /// Every visit that any reports in any order can make.
    fn reachable() -> HashSet<Visit<u8>> {
        let mut seen = HashSet::from([Visit::new()]);
        let mut queue = VecDeque::from([Visit::new()]);
        while let Some(visit) = queue.pop_front() {
            for (event, at) in reports() {
                if let Ok(next) = visit.after(event, at)
                    && seen.insert(next.clone())
                {
                    queue.push_back(next);
                }
            }
        }
        seen
    }

    fn rank(state: State) -> u8 {
        match state {
            State::UnderWay => 0,
            State::Arrived => 1,
            State::Working | State::Paused => 2,
            State::Done | State::NotDone => 3,
        }
    }

    /// Guards sense: times are in order, nothing is done that was not begun, and pauses lie within the work, one after
    /// the other.
    #[test]
    fn every_reachable_visit_makes_sense() {
        let all = reachable();
        assert!(all.len() > 500, "{} visits", all.len());
        for visit in &all {
            let order: Vec<u8> = [visit.departed, visit.arrived, visit.started]
                .into_iter()
                .flatten()
                .chain(visit.ended.map(|end| end.1))
                .collect();
            assert!(order.is_sorted(), "{visit:?}");
            assert!(
                visit.state() != State::Done || visit.started.is_some(),
                "{visit:?}"
            );
            let pauses = visit.pauses();
            assert!(pauses.is_empty() || visit.started.is_some(), "{visit:?}");
            let mut free_from = visit.started.unwrap_or(0);
            for (from, to) in &pauses {
                assert!(*from >= free_from, "{visit:?}");
                assert!(to.is_none_or(|to| to > *from), "{visit:?}");
                free_from = to.unwrap_or(u8::MAX);
            }
            if let Some((_, end)) = visit.ended {
                assert!(pauses.iter().all(|(_, to)| to.is_some_and(|to| to <= end)));
            }
            let open = pauses.last().is_some_and(|(_, to)| to.is_none());
            assert_eq!(open, visit.state() == State::Paused, "{visit:?}");
        }
    }

    /// Guards against going back, and against an end that changes.
    #[test]
    fn no_report_takes_a_visit_back() {
        for visit in reachable() {
            for (event, at) in reports() {
                if let Ok(next) = visit.after(event, at) {
                    assert!(
                        rank(next.state()) >= rank(visit.state()),
                        "{visit:?} {event:?}"
                    );
                    if visit.ended.is_some() {
                        assert_eq!(next.ended, visit.ended);
                    }
                    for (before, after) in [
                        (visit.departed, next.departed),
                        (visit.arrived, next.arrived),
                        (visit.started, next.started),
                    ] {
                        assert!(before.is_none() || before == after, "{visit:?} {event:?}");
                    }
                }
            }
        }
    }

    /// Guards retries: a report that was taken in and is told again is heard and changes nothing, whatever came between.
    #[test]
    fn a_report_told_again_changes_nothing() {
        for visit in reachable() {
            for (event, at) in reports() {
                let Ok(once) = visit.after(event, at) else {
                    continue;
                };
                assert_eq!(
                    once.after(event, at),
                    Ok(once.clone()),
                    "{visit:?} {event:?}"
                );
                if once == visit {
                    continue;
                }
                for (other, then) in reports() {
                    if let Ok(later) = once.after(other, then) {
                        assert_eq!(
                            later.after(event, at),
                            Ok(later.clone()),
                            "{visit:?} {event:?} {other:?}"
                        );
                    }
                }
            }
        }
    }

    /// Guards the order of arrival: two different reports, both accepted either way round, come to the same visit.
    #[test]
    fn the_order_in_which_reports_arrive_does_not_matter() {
        let mut pairs = 0_u32;
        for visit in reachable() {
            for (one, one_at) in reports() {
                for (two, two_at) in reports() {
                    // Of one and the same step told with two times, the first told holds.
                    let clash = one == two && !matches!(one, Event::Pause | Event::Resume);
                    if clash {
                        continue;
                    }
                    let forth = visit
                        .after(one, one_at)
                        .and_then(|visit| visit.after(two, two_at));
                    let back = visit
                        .after(two, two_at)
                        .and_then(|visit| visit.after(one, one_at));
                    if let (Ok(forth), Ok(back)) = (forth, back) {
                        assert_eq!(forth, back, "{visit:?} {one:?} {two:?}");
                        pairs += 1;
                    }
                }
            }
        }
        assert!(pairs > 10_000, "{pairs} pairs");
    }

    /// Guards against a crew that is stuck: whatever was told, work that is not over can still be begun, ended or given
    /// up at the end of the day.
    #[test]
    fn every_open_visit_can_still_end_either_way() {
        for visit in reachable() {
            if visit.state().is_ended() {
                continue;
            }
            assert!(visit.after(Event::GiveUp, 9).is_ok(), "{visit:?}");
            let done = visit
                .after(Event::Start, 9)
                .and_then(|visit| visit.after(Event::Finish, 9));
            assert_eq!(done.map(|visit| visit.state()), Ok(State::Done));
        }
    }

    #[test]
    fn what_must_be_begun_first_is_refused_before() {
        let fresh: Visit<u8> = Visit::new();
        for event in [Event::Pause, Event::Resume, Event::Finish] {
            assert_eq!(fresh.after(event, 2), Err(Refusal::NotStarted));
        }
        let started = fresh.after(Event::Start, 2).unwrap();
        assert_eq!(
            started.after(Event::Arrive, 3),
            Err(Refusal::TooLate(Event::Start, 2))
        );
        assert_eq!(
            started.after(Event::Finish, 1),
            Err(Refusal::TooEarly(Event::Start, 2))
        );
        assert_eq!(started.after(Event::Arrive, 1).unwrap().arrived, Some(1));
    }

    /// Guards the figures: late reports of a pause come to the same time paused.
    #[test]
    fn a_resumption_that_comes_before_its_pause_waits_for_it() {
        let told = |reports: &[(Event, u8)]| {
            reports
                .iter()
                .try_fold(Visit::new(), |visit, (event, at)| visit.after(*event, *at))
                .unwrap()
        };
        let late = told(&[
            (Event::Start, 10),
            (Event::Resume, 30),
            (Event::Finish, 60),
            (Event::Pause, 20),
        ]);
        assert_eq!(late.pauses(), [(20, Some(30))]);
        let open = told(&[(Event::Start, 10), (Event::Pause, 20)]);
        assert_eq!(
            (open.pauses(), open.state()),
            (vec![(20, None)], State::Paused)
        );
        let ended = open.after(Event::Finish, 50).unwrap();
        assert_eq!(ended.pauses(), [(20, Some(50))]);
    }

    #[test]
    fn pauses_are_bounded() {
        let visit = (0..u16::try_from(MARKS_MAX).unwrap())
            .try_fold(
                Visit::new().after(Event::Start, 0_u16).unwrap(),
                |visit, at| visit.after(Event::Pause, at),
            )
            .unwrap();
        assert_eq!(visit.after(Event::Resume, 500), Err(Refusal::TooManyPauses));
        assert!(
            visit.after(Event::Pause, 3).is_ok(),
            "a repetition is heard"
        );
    }

    #[test]
    fn what_comes_after_giving_up_is_a_new_attempt() {
        let given_up = Visit::new().after(Event::GiveUp, 20).unwrap();
        assert!(given_up.takes(20) && !given_up.takes(21));
        assert!(Visit::<u8>::new().takes(99));
    }
}
