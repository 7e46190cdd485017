//! Fitting the effects: shrunk, robust, by sweeping the levels.

use super::record::{Class, CrewId, Record, SiteId};
use super::{FACTOR_HIGH, FACTOR_LOW, Learned, Level, Part};
use crate::fault::{Fault, within};
use crate::task::{Method, TaskKind};
use std::collections::BTreeMap;

/// The most times the levels are swept.
pub const MOST_SWEEPS: usize = 2000;
/// Sweeping stops when no effect moves by more than this.
const SETTLED: f64 = 1e-12;
/// Residuals in standard deviations beyond which a record weighs less (Huber; 95 % as efficient as
/// least squares on clean records; from memory).
const HUBER: f64 = 1.345;
/// Records of a practice before its own spread is trusted.
const LEAST_FOR_SPREAD: u32 = 5;
/// Records that the prior's noise counts for when a practice's own noise is reckoned.
const NOISE_WEIGHT: f64 = 10.0;

/// What is expected before any record: standard deviations of the logarithm of each effect.
///
/// 0 switches a level off. No source: the defaults are cautious enough to keep
/// [`STATED_MARGIN`](super::STATED_MARGIN) from the first visit on. A company may set its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// How far a kind of work may lie from its rate; 0 to 1000.
    pub practice: f64,
    /// How far a site may lie from the others; 0 to 1000.
    pub site: f64,
    /// How far one task on a site may lie from the rest of that site; 0 to 1000.
    pub site_task: f64,
    /// How far a crew may lie from the others; 0 to 1000.
    pub crew: f64,
    /// How far a class of condition may lie from its rate; 0 to 1000.
    pub condition: f64,
    /// How far one visit may lie from the next; 0.001 to 1000.
    pub noise: f64,
    /// Whether absurd records weigh less. Off only to compare with least squares.
    pub robust: bool,
}

impl Default for Prior {
    fn default() -> Self {
        Self {
            practice: 0.25,
            site: 0.18,
            site_task: 0.08,
            crew: 0.10,
            condition: 0.10,
            noise: 0.25,
            robust: true,
        }
    }
}

impl Prior {
    const fn tau(&self, level: Level) -> f64 {
        match level {
            Level::Practice => self.practice,
            Level::Site => self.site,
            Level::SiteTask => self.site_task,
            Level::Crew => self.crew,
            Level::Condition => self.condition,
        }
    }

    fn check(&self) -> Result<(), Fault> {
        within("prior.practice", self.practice, 0.0, 1000.0)?;
        within("prior.site", self.site, 0.0, 1000.0)?;
        within("prior.site_task", self.site_task, 0.0, 1000.0)?;
        within("prior.crew", self.crew, 0.0, 1000.0)?;
        within("prior.condition", self.condition, 0.0, 1000.0)?;
        within("prior.noise", self.noise, 0.001, 1000.0).map(drop)
    }
}

/// A record that cannot be learned from.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{fault}")]
pub struct Misrecorded {
    /// Which record; none where the prior is at fault.
    pub record: Option<usize>,
    /// What is wrong.
    pub fault: Fault,
}

/// What an effect belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// A task kind with a method.
    Practice(TaskKind, Method),
    /// A site.
    Site(SiteId),
    /// A task kind on a site.
    SiteTask(SiteId, TaskKind),
    /// A crew.
    Crew(CrewId),
    /// A class of condition.
    Condition(Class),
}

impl Subject {
    const fn at(
        level: Level,
        kind: TaskKind,
        method: Method,
        site: SiteId,
        crew: CrewId,
        class: Class,
    ) -> Self {
        match level {
            Level::Practice => Self::Practice(kind, method),
            Level::Site => Self::Site(site),
            Level::SiteTask => Self::SiteTask(site, kind),
            Level::Crew => Self::Crew(crew),
            Level::Condition => Self::Condition(class),
        }
    }
}

/// An effect with what it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Effect {
    value: f64,
    records: u32,
    /// Sum of squared weighted residuals; kept for practices only.
    squares: f64,
}

/// Everything learned from a history.
#[derive(Debug, Clone, PartialEq)]
pub struct Factors {
    prior: Prior,
    effects: BTreeMap<Subject, Effect>,
}

/// One record on its way: its keys' places, its residual.
struct Row {
    places: [usize; 5],
    residual: f64,
    weight: f64,
}

impl Factors {
    /// Learns from a history. An empty one teaches nothing.
    ///
    /// # Errors
    /// Every record that cannot be learned from, by its place in `records`.
    pub fn fit(records: &[Record], prior: &Prior) -> Result<Self, Vec<Misrecorded>> {
        prior.check().map_err(|fault| {
            vec![Misrecorded {
                record: None,
                fault,
            }]
        })?;
        let mut faults = Vec::new();
        let mut ratios = Vec::with_capacity(records.len());
        for (index, record) in records.iter().enumerate() {
            match record.log_ratio() {
                Ok(ratio) => ratios.push(ratio),
                Err(fault) => faults.push(Misrecorded {
                    record: Some(index),
                    fault,
                }),
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let (keys, mut rows) = lay_out(records, &ratios);
        let mut effects = vec![Effect::default(); keys.len()];
        for row in &rows {
            for place in row.places {
                effects[place].records += 1;
            }
        }
        sweep(&mut rows, &mut effects, &level_of_places(&keys), prior);
        for row in &rows {
            effects[row.places[0]].squares += row.weight * row.residual * row.residual;
        }
        let effects = keys
            .into_iter()
            .map(|(key, place)| (key, effects[place]))
            .collect();
        Ok(Self {
            prior: *prior,
            effects,
        })
    }

    /// Every factor that has been learned, in order of subject: the factor and the records it rests
    /// on.
    pub fn all(&self) -> impl Iterator<Item = (Subject, f64, u32)> {
        self.effects
            .iter()
            .map(|(subject, effect)| (*subject, effect.value.exp(), effect.records))
    }

    /// What has been learned for a task on a site by a crew in a class of condition. Allocates
    /// nothing. A level without records adds no part.
    pub fn learned(
        &self,
        kind: TaskKind,
        method: Method,
        site: SiteId,
        crew: CrewId,
        class: Class,
    ) -> Learned {
        let mut parts = [None; 5];
        let mut sum = 0.0;
        let mut uncertain = 0.0;
        let mut noise = None;
        for (level, part) in Level::ALL.into_iter().zip(&mut parts) {
            let key = Subject::at(level, kind, method, site, crew, class);
            let tau_squared = self.prior.tau(level).powi(2);
            let Some(effect) = self.effects.get(&key) else {
                uncertain += tau_squared;
                continue;
            };
            let known = f64::from(effect.records) * tau_squared;
            let noise_squared = self.prior.noise.powi(2);
            uncertain += tau_squared * noise_squared / (noise_squared + known);
            if level == Level::Practice && effect.records >= LEAST_FOR_SPREAD {
                let squares = NOISE_WEIGHT * noise_squared + effect.squares;
                noise = Some(squares / (NOISE_WEIGHT + f64::from(effect.records)));
            }
            if tau_squared > 0.0 {
                sum += effect.value;
                *part = Some(Part {
                    level,
                    factor: effect.value.exp(),
                    records: effect.records,
                });
            }
        }
        let free = sum.exp();
        let factor = free.clamp(FACTOR_LOW, FACTOR_HIGH);
        let within_bounds = (FACTOR_LOW..=FACTOR_HIGH).contains(&free);
        Learned {
            factor,
            held_back: if within_bounds { 1.0 } else { factor / free },
            sigma: noise.map(|noise| (noise + uncertain).sqrt()),
            parts,
        }
    }
}

impl Factors {
    /// What one crew multiplies every rate by, with the records it rests on; none where nothing is
    /// known of it. It is the crew's part of every [`Learned`], whatever the task.
    pub fn crew(&self, crew: CrewId) -> Option<Part> {
        let effect = self.effects.get(&Subject::Crew(crew))?;
        (self.prior.crew > 0.0).then(|| Part {
            level: Level::Crew,
            factor: effect.value.exp(),
            records: effect.records,
        })
    }
}

/// Gives every key a place in order of key, and every record the places of its keys.
fn lay_out(records: &[Record], ratios: &[f64]) -> (BTreeMap<Subject, usize>, Vec<Row>) {
    let keys_of = |record: &Record| {
        Level::ALL.map(|level| {
            Subject::at(
                level,
                record.kind,
                record.method,
                record.site,
                record.crew,
                record.class,
            )
        })
    };
    let mut keys: BTreeMap<Subject, usize> = records
        .iter()
        .flat_map(keys_of)
        .map(|key| (key, 0))
        .collect();
    for (place, slot) in keys.values_mut().enumerate() {
        *slot = place;
    }
    let rows = records
        .iter()
        .zip(ratios)
        .map(|(record, ratio)| Row {
            places: keys_of(record).map(|key| keys.get(&key).copied().unwrap_or_default()),
            residual: *ratio,
            weight: 1.0,
        })
        .collect();
    (keys, rows)
}

/// The level that each place belongs to.
fn level_of_places(keys: &BTreeMap<Subject, usize>) -> Vec<Level> {
    keys.keys()
        .map(|key| match key {
            Subject::Practice(..) => Level::Practice,
            Subject::Site(_) => Level::Site,
            Subject::SiteTask(..) => Level::SiteTask,
            Subject::Crew(_) => Level::Crew,
            Subject::Condition(_) => Level::Condition,
        })
        .collect()
}

/// Sweeps the levels until nothing moves. Rows end with what is left over and how it is weighed.
fn sweep(rows: &mut [Row], effects: &mut [Effect], levels: &[Level], prior: &Prior) {
    let noise_squared = prior.noise * prior.noise;
    let mut sums = vec![(0.0, 0.0); effects.len()];
    for _ in 0..MOST_SWEEPS {
        let mut moved = 0.0_f64;
        if prior.robust {
            for row in rows.iter_mut() {
                row.weight = (HUBER * prior.noise / row.residual.abs()).min(1.0);
            }
        }
        for (column, level) in Level::ALL.into_iter().enumerate() {
            let tau = prior.tau(level);
            if tau <= 0.0 {
                continue;
            }
            let pull = noise_squared / (tau * tau);
            sums.fill((0.0, 0.0));
            for row in rows.iter() {
                let place = row.places[column];
                let (weighted, weight) = &mut sums[place];
                *weighted += row.weight * (row.residual + effects[place].value);
                *weight += row.weight;
            }
            let before: Vec<f64> = effects.iter().map(|effect| effect.value).collect();
            for ((effect, at), (weighted, weight)) in effects.iter_mut().zip(levels).zip(&sums) {
                if *at == level {
                    effect.value = weighted / (weight + pull);
                }
            }
            for row in rows.iter_mut() {
                let place = row.places[column];
                let change = effects[place].value - before[place];
                row.residual -= change;
                moved = moved.max(change.abs());
            }
        }
        if moved < SETTLED {
            break;
        }
    }
}
