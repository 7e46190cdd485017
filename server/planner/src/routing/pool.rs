//! Good routes met during the search, kept for recombination.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

/// Routes in one generation. When the young one is full, the old one is forgotten.
const GENERATION: usize = 25_000;

/// A route kept: which stops, and the cheapest order met.
#[derive(Debug, Clone)]
pub(super) struct Kept {
    pub(super) cost: i32,
    pub(super) stops: Vec<u32>,
}

/// The keys are sums of random numbers: no need to mix them again.
#[derive(Debug, Default)]
struct Key(u64);

impl Hasher for Key {
    fn finish(&self) -> u64 {
        self.0
    }
    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 = self.0.rotate_left(8) ^ u64::from(byte);
        }
    }
    fn write_u64(&mut self, key: u64) {
        self.0 = key;
    }
}

type Index = HashMap<u64, u32, BuildHasherDefault<Key>>;

#[derive(Debug, Default)]
struct Generation {
    index: Index,
    keys: Vec<u64>,
    routes: Vec<Kept>,
}

/// The routes kept, at most two generations of them.
#[derive(Debug, Default)]
pub(super) struct Pool {
    young: Generation,
    old: Generation,
}

impl Pool {
    /// Keeps a route of the given stops unless a cheaper order of them is known.
    pub(super) fn add(&mut self, key: u64, cost: i32, stops: impl Iterator<Item = u32>) {
        if let Some(&at) = self.young.index.get(&key) {
            let kept = &mut self.young.routes[at as usize];
            if cost < kept.cost {
                kept.cost = cost;
                kept.stops.clear();
                kept.stops.extend(stops);
            }
            return;
        }
        if self.young.routes.len() >= GENERATION {
            self.old = std::mem::take(&mut self.young);
        }
        self.young.index.insert(key, self.young.routes.len() as u32);
        self.young.keys.push(key);
        self.young.routes.push(Kept {
            cost,
            stops: stops.collect(),
        });
    }

    /// Takes in the routes of another pool.
    pub(super) fn absorb(&mut self, other: Self) {
        for generation in [other.young, other.old] {
            for (&key, kept) in generation.keys.iter().zip(&generation.routes) {
                self.add(key, kept.cost, kept.stops.iter().copied());
            }
        }
    }

    /// All routes kept. A set of stops may occur twice.
    pub(super) fn routes(&self) -> impl Iterator<Item = &Kept> {
        self.young.routes.iter().chain(&self.old.routes)
    }
}
