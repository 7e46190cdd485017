//! What both property tests draw from.

use forenoon_trade::site::{Density, Obstacles, Shape};
use proptest::prelude::*;

pub(crate) fn density() -> impl Strategy<Value = Density> {
    prop_oneof![
        Just(Density::Thin),
        Just(Density::Usual),
        Just(Density::Thick)
    ]
}

pub(crate) fn obstacles() -> impl Strategy<Value = Obstacles> {
    prop_oneof![
        Just(Obstacles::None),
        Just(Obstacles::Few),
        Just(Obstacles::Some),
        Just(Obstacles::Many)
    ]
}

pub(crate) fn shape() -> impl Strategy<Value = Shape> {
    prop_oneof![
        Just(Shape::Open),
        Just(Shape::Regular),
        Just(Shape::Irregular),
        Just(Shape::Strip)
    ]
}
