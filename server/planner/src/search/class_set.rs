//! A set of unit classes in four words.

use crate::problem::limits::CLASSES_MAX;

/// A class as the search numbers it.
pub(crate) type Class = u16;

/// Stands for "no second part" of a tool; every set contains it, so that a lookup needs no branch.
pub(crate) const NO_CLASS: Class = 255;

const WORDS: usize = 4;
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

    /// The classes in both sets.
    pub(crate) fn common(&self, other: &Self) -> Self {
        let mut words = self.0;
        for (word, with) in words.iter_mut().zip(other.0) {
            *word &= with;
        }
        Self(words)
    }

    /// A number that differs for most different sets.
    pub(crate) fn mixed(&self) -> u64 {
        self.0.iter().fold(0, |mixed: u64, word| {
            (mixed.rotate_left(23) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15)
        })
    }

    /// Whether the two have a class in common.
    pub(crate) fn meets(&self, other: &Self) -> bool {
        let mut common = 0;
        for (n, (word, with)) in self.0.iter().zip(other.0).enumerate() {
            // Every set has the top bit, which is no class.
            let classes = if n == WORDS - 1 {
                word & !(1 << 63)
            } else {
                *word
            };
            common |= classes & with;
        }
        common != 0
    }

    /// Whether all classes are in the other set.
    pub(crate) fn within(&self, other: &Self) -> bool {
        self.0
            .iter()
            .zip(other.0)
            .fold(0, |left, (word, with)| left | (word & !with))
            == 0
    }

    /// Adds the other set's classes.
    pub(crate) fn add(&mut self, other: &Self) {
        for (word, more) in self.0.iter_mut().zip(other.0) {
            *word |= more;
        }
    }

    /// All classes, in ascending order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = Class> + use<> {
        self.minus(&Self::EMPTY)
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
