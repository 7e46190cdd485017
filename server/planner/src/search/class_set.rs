//! A set of unit classes in one cache line.

use crate::problem::limits::CLASSES_MAX;

/// A class as the search numbers it.
pub(crate) type Class = u16;

/// Stands for "no second part" of a tool; every set contains it, so that a lookup needs no branch.
pub(crate) const NO_CLASS: Class = 511;

const WORDS: usize = 8;
const _: () = assert!(CLASSES_MAX < NO_CLASS as usize && NO_CLASS as usize == WORDS * 64 - 1);

/// Classes aboard. Tasks of a crew follow one another, so a second unit of a class would never be needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ClassSet([u64; WORDS]);

impl ClassSet {
    pub(crate) const EMPTY: Self = {
        let mut words = [0; WORDS];
        words[WORDS - 1] = 1 << 63;
        Self(words)
    };

    pub(crate) const fn has(&self, class: Class) -> bool {
        self.0[class as usize >> 6] >> (class & 63) & 1 == 1
    }

    pub(crate) const fn insert(&mut self, class: Class) {
        self.0[class as usize >> 6] |= 1 << (class & 63);
    }

    pub(crate) const fn remove(&mut self, class: Class) {
        self.0[class as usize >> 6] &= !(1 << (class & 63));
    }

    /// The classes in this set that are not in the other, in ascending order.
    pub(crate) fn minus(&self, other: &Self) -> impl Iterator<Item = Class> + use<> {
        let mut words = self.0;
        for (word, less) in words.iter_mut().zip(other.0) {
            *word &= !less;
        }
        words.into_iter().enumerate().flat_map(|(at, word)| Bits {
            word,
            base: at << 6,
        })
    }

    /// Whether the other set has one of the classes of this one that are not in `apart`.
    pub(crate) fn minus_meets(&self, apart: &Self, other: &Self) -> bool {
        let mut met = 0;
        for ((word, less), with) in self.0.iter().zip(apart.0).zip(other.0) {
            met |= word & !less & with;
        }
        met != 0
    }

    /// All classes, in ascending order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = Class> + use<> {
        self.minus(&Self::EMPTY)
    }

    pub(crate) fn len(&self) -> usize {
        self.0
            .iter()
            .map(|word| word.count_ones() as usize)
            .sum::<usize>()
            - 1
    }
}

struct Bits {
    word: u64,
    base: usize,
}

impl Iterator for Bits {
    type Item = Class;

    fn next(&mut self) -> Option<Class> {
        if self.word == 0 {
            return None;
        }
        let bit = self.word.trailing_zeros() as usize;
        self.word &= self.word - 1;
        Class::try_from(self.base + bit).ok()
    }
}
