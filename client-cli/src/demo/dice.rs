//! Seeded chance. The generator and the way a number is drawn from it are written down here, so that a
//! seed gives the same branch with every version of every library.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// What a stream of numbers is used for. Each has its own, so that one more home shifts no machine.
#[derive(Debug, Clone, Copy)]
pub(super) enum Stream {
    /// Sizes and places of homes.
    Homes,
    /// Run hours of machines.
    Fleet,
    /// Names of people.
    People,
}

/// A source of seeded numbers.
pub(super) struct Dice(Xoshiro256PlusPlus);

impl Dice {
    pub(super) fn new(seed: u64, stream: Stream) -> Self {
        let stream = match stream {
            Stream::Homes => 11,
            Stream::Fleet => 23,
            Stream::People => 37,
        };
        // Turned, so that neighbouring seeds do not share the streams of one another.
        let state = seed.rotate_left(8) ^ stream;
        Self(Xoshiro256PlusPlus::seed_from_u64(state))
    }

    /// A number from `low` to `high`, both included.
    pub(super) fn between(&mut self, low: u32, high: u32) -> u32 {
        let span = u64::from(high.saturating_sub(low)) + 1;
        let scaled = (u64::from(self.0.next_u32()) * span) >> 32;
        low.saturating_add(u32::try_from(scaled).unwrap_or(0))
    }

    /// A number from `low` to `high` that is a whole multiple of `step` above `low`.
    pub(super) fn stepped(&mut self, low: u32, high: u32, step: u32) -> f64 {
        let steps = high.saturating_sub(low) / step.max(1);
        f64::from(low + self.between(0, steps) * step)
    }

    /// One of the items. There is always at least one: the arrays are written in the source.
    pub(super) fn one_of<'a, T, const N: usize>(&mut self, items: &'a [T; N]) -> &'a T {
        const { assert!(N > 0) };
        let last = u32::try_from(N - 1).unwrap_or(0);
        let index = usize::try_from(self.between(0, last)).unwrap_or(0);
        &items[index]
    }

    /// The items in a drawn order.
    pub(super) fn shuffled<T: Clone>(&mut self, items: &[T]) -> Vec<T> {
        let mut order = items.to_vec();
        for end in (1..order.len()).rev() {
            let high = u32::try_from(end).unwrap_or(u32::MAX);
            let other = usize::try_from(self.between(0, high)).unwrap_or(0);
            order.swap(end, other);
        }
        order
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stay_within_their_bounds_and_reach_both() {
        let mut dice = Dice::new(5, Stream::Homes);
        let drawn: Vec<u32> = (0..500).map(|_| dice.between(3, 6)).collect();
        assert_eq!(drawn.iter().min(), Some(&3));
        assert_eq!(drawn.iter().max(), Some(&6));
    }

    #[test]
    fn a_seed_gives_these_numbers_with_every_version() {
        // Reckoned apart from this crate by the published algorithms: xoshiro256++ (Blackman, Vigna) seeded by
        // splitmix64, https://prng.di.unimi.it.
        let mut dice = Dice::new(42, Stream::Fleet);
        let drawn: Vec<u32> = (0..6).map(|_| dice.between(0, 999)).collect();
        assert_eq!(drawn, [658, 38, 730, 561, 119, 944]);
    }

    #[test]
    fn shuffling_keeps_every_item() {
        let mut shuffled = Dice::new(1, Stream::People).shuffled(&[1, 2, 3, 4, 5, 6, 7]);
        shuffled.sort_unstable();
        assert_eq!(shuffled, [1, 2, 3, 4, 5, 6, 7]);
    }
}
