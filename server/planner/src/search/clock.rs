//! A crew's clock: moves through its day stop by stop and adds up the cost.

use super::model::{CrewData, Model};
use super::route::Hop;
use crate::Seconds;
use crate::cost::Cost;
use crate::index::{CrewIx, JobIx, PlaceIx};
use crate::problem::{Break, Crew};
use crate::rules::capability::Service;
use crate::rules::rest::Rest;
use crate::rules::{Refusal, day_end, disturbance, lateness, promise, quiet, time_window};

/// Where a crew stands in time, and what its day has cost so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Step {
    /// Free to go on.
    pub(crate) at: Seconds,
    pub(crate) breaks_taken: usize,
    /// Cost that adds up stop by stop.
    pub(crate) cost: i64,
    pub(crate) exposure: i64,
    pub(crate) busy: Seconds,
    pub(crate) waited: Seconds,
}

/// Times of one stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Times {
    pub(crate) start: Seconds,
    pub(crate) finish: Seconds,
    pub(crate) waited: Seconds,
}

/// Advances one crew's steps.
#[derive(Clone, Copy)]
pub(crate) struct Clock<'m> {
    pub(crate) model: &'m Model<'m>,
    pub(crate) crew_ix: usize,
    pub(crate) data: &'m CrewData,
    pub(crate) crew: &'m Crew,
}

/// No instant is before this one.
pub(crate) const AT_ONCE: Seconds = Seconds::MIN / 4;

/// For callers that do not want to know when breaks are.
pub(crate) fn no_log(_: Seconds, _: Seconds) {}

impl<'m> Clock<'m> {
    pub(crate) fn new(model: &'m Model<'m>, crew_ix: usize) -> Self {
        Self {
            model,
            crew_ix,
            data: &model.crews[crew_ix],
            crew: model.crew(crew_ix),
        }
    }

    /// The step before the first stop.
    pub(crate) fn begin(&self) -> Step {
        Step {
            at: self.data.ready_at,
            breaks_taken: self.data.breaks_taken,
            cost: 0,
            exposure: 0,
            busy: 0,
            waited: 0,
        }
    }

    /// Drives from place to place. Returns the arrival; the step's own instant becomes the arrival too.
    pub(crate) fn drive(
        &self,
        step: &mut Step,
        from: PlaceIx,
        to: PlaceIx,
        log: &mut impl FnMut(Seconds, Seconds),
    ) -> Result<(), Refusal> {
        let travel = self.model.problem.travel();
        let hop = self.hop(travel.table_seconds(from, to), travel.metres(from, to));
        self.go(step, &hop, log)
    }

    /// A drive of so many table seconds and metres.
    pub(crate) fn hop(&self, seconds: Seconds, metres: i64) -> Hop {
        Hop {
            seconds,
            cost: self.data.drive_rate * seconds + self.data.metre_rate * metres,
        }
    }

    /// Drives what is reckoned already.
    pub(crate) fn go(
        &self,
        step: &mut Step,
        hop: &Hop,
        log: &mut impl FnMut(Seconds, Seconds),
    ) -> Result<(), Refusal> {
        let mut departure = step.at;
        let due = |rest: &Break| rest.earliest <= step.at;
        if self.crew.breaks.get(step.breaks_taken).is_some_and(due) {
            let mut rest = Rest::new(&self.crew.breaks, step.breaks_taken);
            departure = rest.take_due(step.at, log)?;
            step.breaks_taken = rest.taken();
        }
        let seconds = self
            .model
            .problem
            .travel()
            .seconds_at(hop.seconds, departure);
        step.at = departure + seconds;
        step.busy += seconds;
        step.cost += hop.cost + self.data.drive_rate * (seconds - hop.seconds);
        if step.cost > Cost::MAX.0 {
            // No day costs as much that ends in time, and more of it could not be added up.
            return Err(Refusal::ShiftEnd);
        }
        Ok(())
    }

    /// Works at a job on arrival, or from `not_before` on if that is later.
    pub(crate) fn work(
        &self,
        step: &mut Step,
        job_ix: JobIx,
        service: &Service,
        not_before: Seconds,
        log: &mut impl FnMut(Seconds, Seconds),
    ) -> Result<Times, Refusal> {
        let arrival = step.at;
        let times = &self.model.times[job_ix.ix()];
        if times.plain {
            let start = times.earliest_start(arrival.max(not_before), service.work);
            let finish = start + service.work;
            let resting = self.crew.breaks.get(step.breaks_taken);
            if resting.is_none_or(|rest| rest.earliest >= finish && rest.earliest > start)
                && !times.may_disturb(start, service)
            {
                if start > times.latest_start(service.work) {
                    return Err(Refusal::Window);
                }
                let waited = start - arrival;
                self.count(step, service, finish, waited);
                if times.priced {
                    step.cost += self.price(job_ix, start, finish);
                }
                return Ok(Times {
                    start,
                    finish,
                    waited,
                });
            }
        }
        let job = self.model.problem.job(job_ix);
        let mut rest = Rest::new(&self.crew.breaks, step.breaks_taken);
        // The crew is there and free from `now` on; `rested` is the part since arrival that went to breaks.
        let mut now = rest.take_due(arrival, log)?;
        let mut rested = now - arrival;
        let mut start = now.max(not_before);
        let finish = loop {
            start = promise::not_before(job, start, service.work);
            start =
                time_window::earliest_start(job, start, |start| rest.finish(start, service.work))
                    .ok_or(Refusal::Window)?;
            if rest.due_by(start) {
                let begin = rest.begins(now);
                now = rest.take_due(begin, log)?;
                rested += now - begin;
                start = now.max(not_before);
                continue;
            }
            let finish = rest.finish(start, service.work);
            match quiet::disturbed_until(job, start, finish) {
                Some(until) if service.noisy => start = until,
                _ => break finish,
            }
        };
        if promise::forbids(job, start, finish) {
            return Err(Refusal::Promise);
        }
        rest.work(start, service.work, log);
        let waited = start - arrival - rested;
        step.breaks_taken = rest.taken();
        self.count(step, service, finish, waited);
        step.cost += self.price(job_ix, start, finish);
        Ok(Times {
            start,
            finish,
            waited,
        })
    }

    /// What the times of a job cost.
    fn price(&self, job: JobIx, start: Seconds, finish: Seconds) -> i64 {
        let problem = self.model.problem;
        let forward = disturbance::forward(problem.job(job), problem.weights(), start);
        forward.0 + self.least_price(job, start, finish)
    }

    /// What the times of a job cost at the least if it starts and finishes no earlier.
    pub(crate) fn least_price(&self, job: JobIx, start: Seconds, finish: Seconds) -> i64 {
        let job = self.model.problem.job(job);
        let weights = self.model.problem.weights();
        let this = CrewIx::from_ix(self.crew_ix);
        // What is later than the crew may be back is refused, whatever it costs.
        let [start, finish] = [start, finish].map(|at| at.min(self.data.back_by));
        (lateness::cost(job, weights, finish)
            + promise::cost(job, weights, start, finish)
            + disturbance::least(job, weights, this, start, finish))
        .0
    }

    /// Adds the work up.
    fn count(&self, step: &mut Step, service: &Service, finish: Seconds, waited: Seconds) {
        step.at = finish;
        step.busy += service.work;
        step.waited += waited;
        step.exposure += service.exposure;
        step.cost +=
            self.data.work_rate * service.work + self.data.idle_rate * waited + service.wear;
    }

    /// How long a call at one of the crew's yards takes.
    pub(crate) fn call_seconds(&self, yard: u8) -> Seconds {
        self.crew
            .yard_calls
            .get(usize::from(yard))
            .map_or(0, |call| call.seconds)
    }

    /// Changes units on arrival, not before `not_before`, for `work` seconds.
    pub(crate) fn call(
        &self,
        step: &mut Step,
        work: Seconds,
        not_before: Seconds,
        log: &mut impl FnMut(Seconds, Seconds),
    ) -> Result<Times, Refusal> {
        let arrival = step.at;
        let mut rest = Rest::new(&self.crew.breaks, step.breaks_taken);
        let mut now = rest.take_due(arrival, log)?;
        let mut rested = now - arrival;
        let mut start = now.max(not_before);
        while rest.due_by(start) {
            let begin = rest.begins(now);
            now = rest.take_due(begin, log)?;
            rested += now - begin;
            start = now.max(not_before);
        }
        let finish = rest.work(start, work, log);
        let waited = start - arrival - rested;
        step.at = finish;
        step.breaks_taken = rest.taken();
        step.busy += work;
        step.waited += waited;
        step.cost += self.data.work_rate * work + self.data.idle_rate * waited;
        Ok(Times {
            start,
            finish,
            waited,
        })
    }

    /// Cost that only the end of the day decides.
    pub(crate) fn end_cost(&self, step: &Step) -> i64 {
        let weights = self.model.problem.weights();
        (day_end::overtime_cost(self.crew, weights, step.at)
            + day_end::exposure_cost(self.crew, weights, step.exposure)
            + day_end::unfair_cost(self.crew, weights, step.busy))
        .0
    }
}
