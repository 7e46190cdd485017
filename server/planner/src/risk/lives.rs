//! Days of crews lived through together, once for each run and again with one job's length known.
//!
//! Each crew goes on until it waits for another that has not come so far; then the other goes on. Should they wait for
//! each other in a circle, which no plan within the rules makes them do, one goes on at the planned instant.

use super::course::{Awaits, Course, Mark};
use super::links::ActIx;
use crate::Seconds;

/// All crews' days, with how they went in the run at hand. Buffers serve all runs.
pub(super) struct Lives<'c> {
    courses: &'c [Course<'c>],
    /// The run itself.
    run: Vec<Life>,
    /// What goes otherwise in the run with one job's length known.
    again: Vec<Life>,
    /// Lengths of work in the run, by crew and act.
    work: Vec<Vec<Seconds>>,
}

/// One crew's day, as far as it is lived through.
#[derive(Clone)]
struct Life {
    /// The first act that may go otherwise than in the run itself.
    from: usize,
    /// The next act.
    next: usize,
    marks: Vec<Mark>,
}

/// No act of the crew goes otherwise.
const AS_BEFORE: usize = usize::MAX;

impl<'c> Lives<'c> {
    pub(super) fn new(courses: &'c [Course<'c>]) -> Self {
        let life = |course: &Course| Life {
            from: AS_BEFORE,
            next: 0,
            marks: vec![course.begin(); course.acts.len()],
        };
        let lives: Vec<Life> = courses.iter().map(life).collect();
        Self {
            courses,
            run: lives.clone(),
            again: lives,
            work: courses
                .iter()
                .map(|course| vec![0; course.acts.len()])
                .collect(),
        }
    }

    /// Lives through the days of a group of crews, given by their first acts.
    pub(super) fn live(&mut self, group: &[ActIx], seed: u64, run: u32) {
        for &ActIx { crew, .. } in group {
            for (act, work) in self.courses[crew].works() {
                self.work[crew][act] = work.length.drawn(seed, run);
            }
        }
        let mut days = Days {
            courses: self.courses,
            work: &self.work,
            known: None,
            before: &[],
            lives: &mut self.run,
        };
        days.live(group);
    }

    /// How the run went for a crew, act by act.
    pub(super) fn marks(&self, crew: usize) -> &[Mark] {
        &self.run[crew].marks
    }

    /// The trouble that is spared if the work of an act takes `length`: the acts reached from it go otherwise.
    pub(super) fn spared(&mut self, known: ActIx, length: Seconds, reached: &[ActIx]) -> Seconds {
        let before = trouble(&self.run, reached);
        if before == 0 || self.work[known.crew][known.act] == length {
            return 0;
        }
        let mut days = Days {
            courses: self.courses,
            work: &self.work,
            known: Some((known, length)),
            before: &self.run,
            lives: &mut self.again,
        };
        days.live(reached);
        let after = trouble(&self.again, reached);
        for first in reached {
            self.again[first.crew].from = AS_BEFORE;
        }
        before - after
    }
}

/// Trouble of the crews that are reached.
fn trouble(lives: &[Life], reached: &[ActIx]) -> Seconds {
    let last = |first: &ActIx| lives[first.crew].marks.last();
    reached
        .iter()
        .filter_map(last)
        .map(|mark| mark.trouble)
        .sum()
}

/// Days being lived through.
struct Days<'d> {
    courses: &'d [Course<'d>],
    work: &'d [Vec<Seconds>],
    /// An act whose work takes another length.
    known: Option<(ActIx, Seconds)>,
    /// How the acts went that do not go otherwise.
    before: &'d [Life],
    lives: &'d mut [Life],
}

impl Days<'_> {
    /// Lives through days, of each crew from an act on.
    fn live(&mut self, first: &[ActIx]) {
        for &ActIx { crew, act } in first {
            let life = &mut self.lives[crew];
            (life.from, life.next) = (act, act);
        }
        loop {
            let mut moved = false;
            let mut stuck = None;
            for &ActIx { crew, .. } in first {
                moved |= self.go_on(crew);
                if self.next(crew).is_some() {
                    stuck = stuck.or(Some(crew));
                }
            }
            match stuck {
                None => return,
                Some(crew) if !moved => self.go_as_planned(crew),
                Some(_) => {}
            }
        }
    }

    /// The crew's next act, if its day is not over.
    fn next(&self, crew: usize) -> Option<ActIx> {
        let act = self.lives[crew].next;
        (act < self.courses[crew].acts.len()).then_some(ActIx { crew, act })
    }

    /// Lets a crew go on until it waits for another. Returns whether it has come any further.
    fn go_on(&mut self, crew: usize) -> bool {
        let mut moved = false;
        while let Some(next) = self.next(crew) {
            let Some(not_before) = self.awaited(next) else {
                break;
            };
            self.act(crew, not_before);
            moved = true;
        }
        moved
    }

    fn go_as_planned(&mut self, crew: usize) {
        let next = self.lives[crew].next;
        self.act(crew, self.courses[crew].acts[next].planned);
    }

    /// When those are there whom an act waits for. None if that is not known yet.
    fn awaited(&mut self, this: ActIx) -> Option<Seconds> {
        let act = &self.courses[this.crew].acts[this.act];
        match &act.awaits {
            Awaits::Nobody => Some(act.not_before),
            Awaits::Givers(givers) => givers.iter().try_fold(act.not_before, |at, giver| {
                Some(at.max(self.mark(*giver)?.step.at))
            }),
            Awaits::Other(other) => match self.lives[other.crew].next {
                // It could wait no longer.
                next if next > other.act => Some(act.planned),
                next if next < other.act => None,
                _ => {
                    let start = self.both_ready([this, *other], act.not_before);
                    self.act(other.crew, start);
                    Some(start)
                }
            },
        }
    }

    /// When two crews can begin that meet: one may take a break while it waits, and the other waits for its end.
    fn both_ready(&self, acts: [ActIx; 2], not_before: Seconds) -> Seconds {
        let mut start = not_before;
        loop {
            let ready = acts.map(|act| {
                let before = self.mark_before(act);
                self.courses[act.crew].ready(act.act, &before, start)
            });
            let later = ready.into_iter().fold(start, Seconds::max);
            if later == start {
                return start;
            }
            start = later;
        }
    }

    /// Does a crew's next act.
    fn act(&mut self, crew: usize, not_before: Seconds) {
        let act = self.lives[crew].next;
        let this = ActIx { crew, act };
        let work = match self.known {
            Some((known, length)) if known == this => length,
            _ => self.work[crew][act],
        };
        let before = self.mark_before(this);
        let mark = self.courses[crew].done(act, &before, work, not_before);
        let life = &mut self.lives[crew];
        life.marks[act] = mark;
        life.next += 1;
    }

    fn mark_before(&self, this: ActIx) -> Mark {
        let before = this.act.checked_sub(1);
        before
            .and_then(|act| self.mark(ActIx { act, ..this }).copied())
            .unwrap_or_else(|| self.courses[this.crew].begin())
    }

    /// How a crew stands after an act. None if it has not come so far.
    fn mark(&self, done: ActIx) -> Option<&Mark> {
        let life = &self.lives[done.crew];
        if done.act < life.from {
            self.before.get(done.crew)?.marks.get(done.act)
        } else {
            life.marks[..life.next].get(done.act)
        }
    }
}
