//! What the branch's recorded work says about the published rates.
//!
//! Every finished visit whose crew told what a task took is a record: the minutes, beside what the rates alone give for
//! the same tool and crew, as its sheet would have told it (`rated.rs`). So a crew that keeps to its sheet teaches that the
//! rates are right. A crew counts as large as it is today, since the store keeps no history of who was in it.

mod rated;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use forenoon_store::entity::{job, site, unit, visit};
use forenoon_store::value::{HeatForecast, TaskKind};
use forenoon_trade::estimate::{Crew, LARGEST_CREW};
use forenoon_trade::learn::{
    Class, CrewId, FACTOR_HIGH, FACTOR_LOW, Factors, Learned, Prior, Record, SiteId,
};
use forenoon_trade::rates::Rates;
use forenoon_trade::site::Condition;
use forenoon_trade::task::{Method, TaskKind as TradeTask};
use forenoon_trade::units::Minutes;

use crate::service::{MEETING, promise_at};
use rated::rated;

/// A finished visit with what it was for.
#[derive(Clone, Debug)]
pub struct PastVisit {
    /// The visit.
    pub visit: visit::Model,
    /// Its job.
    pub job: job::Model,
    /// Its site.
    pub site: site::Model,
    /// The weather that its plan was made for; none where no weather was given.
    pub heat: Option<HeatForecast>,
}

/// What has been learned, and the numbers by which sites and crews are known to it. At first nothing: the published rates
/// stand.
#[derive(Debug, Default)]
pub struct Lessons {
    factors: Option<Factors>,
    sites: BTreeMap<String, SiteId>,
    crews: BTreeMap<String, CrewId>,
}

impl Lessons {
    /// Learns from past visits. `units` are those of the branch, retired ones too, `crew_size` tells how many people a crew has,
    /// `zone` where the branch's clock stands.
    /// A report that cannot be learned from is passed over: it must not keep the day from being planned.
    pub fn from_visits(
        past: &[PastVisit],
        units: &[unit::Model],
        crew_size: impl Fn(&str) -> usize,
        zone: Tz,
        rates: &Rates,
    ) -> Self {
        let mut lessons = Self::default();
        let mut records = Vec::new();
        for one in past {
            let site = number(&mut lessons.sites, &one.site.id, SiteId);
            let crew = number(&mut lessons.crews, &one.visit.crew_id, CrewId);
            let heads = u8::try_from(crew_size(&one.visit.crew_id)).unwrap_or(LARGEST_CREW);
            let people = Crew {
                size: heads.clamp(1, LARGEST_CREW),
            };
            let told = rated(
                one,
                units,
                people,
                |task| meeting(one, task.kind, zone),
                rates,
            );
            records.extend(told.into_iter().map(|one| Record {
                kind: one.work.kind,
                method: one.work.method,
                site,
                crew,
                class: Class::of(&one.work.condition),
                rate: one.rate,
                actual: one.actual,
            }));
        }
        lessons.factors = fit(records);
        lessons
    }

    /// How long a crew takes for what crews of its size take 1,000 for: its part of what has been learned, the same for
    /// every task.
    pub(crate) fn pace_permille(&self, crew: &str) -> u16 {
        let number = self.crews.get(crew);
        let part = number.and_then(|crew| self.factors.as_ref()?.crew(*crew));
        permille(part.map_or(1.0, |part| part.factor.clamp(FACTOR_LOW, FACTOR_HIGH)))
    }

    /// What has been learned for a task. A crew that is not chosen yet has no share in it.
    pub fn learned(
        &self,
        (kind, method): (TradeTask, Method),
        site: &str,
        crew: Option<&str>,
        condition: &Condition,
    ) -> Learned {
        let Some(factors) = &self.factors else {
            return Learned::NOTHING;
        };
        // Numbers begin at 1: nobody has number 0, and nothing is known of nobody.
        let site = self.sites.get(site).copied().unwrap_or(SiteId(0));
        let crew = crew
            .and_then(|crew| self.crews.get(crew).copied())
            .unwrap_or(CrewId(0));
        factors.learned(kind, method, site, crew, Class::of(condition))
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
fn permille(factor: f64) -> u16 {
    (factor * 1_000.0).clamp(0.0, 10_000.0).round() as u16
}

fn number<Id: Copy>(known: &mut BTreeMap<String, Id>, id: &str, make: impl Fn(u128) -> Id) -> Id {
    if let Some(number) = known.get(id) {
        return *number;
    }
    let next = make(known.len() as u128 + 1);
    known.insert(id.to_owned(), next);
    next
}

/// Fits what can be learned from; records out of bounds are passed over.
fn fit(mut records: Vec<Record>) -> Option<Factors> {
    let prior = Prior::default();
    match Factors::fit(&records, &prior) {
        Ok(factors) => Some(factors),
        Err(faults) => {
            let bad: Vec<usize> = faults.iter().filter_map(|fault| fault.record).collect();
            let mut ix = 0;
            records.retain(|_| {
                ix += 1;
                !bad.contains(&(ix - 1))
            });
            Factors::fit(&records, &prior).ok()
        }
    }
}

/// The meeting that a walk of a visit had in it: the one promised for its day. Without it the walk would seem slow.
fn meeting(past: &PastVisit, kind: TaskKind, zone: Tz) -> Minutes {
    let day = |instant: DateTime<Utc>| instant.with_timezone(&zone).date_naive();
    let met = promise_at(&past.job, kind)
        .zip(past.visit.start_time)
        .is_some_and(|(promise, start)| {
            (day(promise.start_time)..=day(promise.end_time)).contains(&day(start))
        });
    if met { MEETING } else { Minutes::ZERO }
}
