//! The production rates and factors every estimate starts from, each with its source.
//!
//! **What these are worth.** We found no public table of grounds labour rates that we could read
//! in full, so most rates are common practice without a source and a few are recalled from a
//! labour table reprinted in municipal park plans whose title we cannot confirm. They are openly
//! defaults: a company sets its own by name ([`Rates::set`]) and the [learned factors](crate::learn)
//! correct them from recorded work.

use crate::fault::{Fault, within};
use crate::source::Source;

/// One rate or factor with its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Its value; the unit is in the name of the field that holds it.
    pub value: f64,
    /// Where it comes from.
    pub source: Source,
}

const PRACTICE: Source = Source::CommonPractice;
const LABOUR_TABLE: Source =
    Source::FromMemory("labour table reprinted in municipal park plans, title unconfirmed");
const WORK_STUDY: Source =
    Source::FromMemory("work-study relaxation and contingency allowances, usually 10 to 20 %");

macro_rules! rates {
    ($($(#[$doc:meta])* $name:ident: $value:expr, $low:expr, $high:expr, $source:expr;)*) => {
        /// Every rate and factor.
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub struct Rates {
            $($(#[$doc])* pub $name: Rate,)*
        }

        impl Default for Rates {
            fn default() -> Self {
                Self { $($name: Rate { value: $value, source: $source },)* }
            }
        }

        impl Rates {
            /// Every rate with its name, in the order of declaration.
            pub fn iter(&self) -> impl Iterator<Item = (&'static str, Rate)> {
                [$((stringify!($name), self.$name),)*].into_iter()
            }

            /// Replaces one rate by the company's own value.
            ///
            /// # Errors
            /// [`Fault::OutOfRange`] if the value is outside the rate's bounds;
            /// [`Fault::Empty`] on the field `rate_name` if there is no rate of that name.
            pub fn set(&mut self, name: &str, value: f64) -> Result<(), Fault> {
                match name {
                    $(stringify!($name) => {
                        let value = within(stringify!($name), value, $low, $high)?;
                        self.$name = Rate { value, source: Source::Setting };
                        Ok(())
                    })*
                    _ => Err(Fault::Empty { field: "rate_name" }),
                }
            }

            /// Checks every rate against its bounds.
            ///
            /// # Errors
            /// The first rate outside its bounds.
            pub fn check(&self) -> Result<(), Fault> {
                $(within(stringify!($name), self.$name.value, $low, $high)?;)*
                Ok(())
            }
        }
    };
}

rates! {
    /// Working time added for rest, small delays and looking after the tool.
    allowance: 1.15, 1.0, 2.0, WORK_STUDY;
    /// How much the next person of a crew adds, as a share of what the one before added.
    crew_return: 0.85, 0.0, 1.0, PRACTICE;

    /// Share of the deck that cuts fresh turf; the rest overlaps the last pass.
    mow_overlap: 0.90, 0.3, 1.0, PRACTICE;
    /// Seconds to turn a walk-behind at the end of a pass.
    mow_turn_walk_seconds: 3.0, 0.0, 60.0, PRACTICE;
    /// Seconds to turn a ride-on at the end of a pass.
    mow_turn_ride_seconds: 4.0, 0.0, 60.0, PRACTICE;
    /// Time factor of ground with a few obstacles.
    mow_obstacles_few: 1.05, 1.0, 5.0, PRACTICE;
    /// Time factor of ground with some obstacles.
    mow_obstacles_some: 1.18, 1.0, 5.0, PRACTICE;
    /// Time factor of ground with many obstacles.
    mow_obstacles_many: 1.40, 1.0, 5.0, PRACTICE;
    /// Time factor of a curved or cut-up plan.
    mow_irregular: 1.10, 1.0, 5.0, PRACTICE;
    /// Extra time per unit of turf height over set height beyond 1.5.
    mow_height_slope: 0.35, 0.0, 5.0, PRACTICE;
    /// The most that height alone slows a mower.
    mow_height_most: 2.5, 1.0, 10.0, PRACTICE;
    /// Time factor of turf that has been knocked down and lies.
    mow_laid: 1.25, 1.0, 5.0, PRACTICE;
    /// Time factor on wet turf.
    wet: 1.25, 1.0, 5.0, PRACTICE;
    /// Time factor in a thin stand.
    density_thin: 0.95, 0.2, 1.0, PRACTICE;
    /// Time factor in a heavy stand.
    density_thick: 1.20, 1.0, 5.0, PRACTICE;
    /// Extra time per degree of slope beyond five.
    slope_per_degree: 0.03, 0.0, 1.0, PRACTICE;
    /// Litres of packed clippings per litre of standing turf removed.
    clippings_packing: 0.03, 0.001, 1.0, PRACTICE;
    /// Minutes to empty a full bag.
    bag_minutes: 1.5, 0.0, 60.0, PRACTICE;

    /// Metres of kept hard edge cut per second with an edger.
    edge_metres_per_second: 0.40, 0.001, 5.0, PRACTICE;
    /// Time factor of the first edging of a hard edge.
    edge_first: 1.5, 1.0, 10.0, PRACTICE;
    /// Extra time per metre of growth over the edge.
    edge_per_metre_over: 8.0, 0.0, 100.0, PRACTICE;
    /// Square metres of matted growth lifted off a hard edge per second with a flat shovel.
    shovel_square_metres_per_second: 0.02, 0.0001, 5.0, PRACTICE;
    /// Time factor of edging with a line head instead of an edger.
    edge_line_head: 1.3, 1.0, 10.0, PRACTICE;

    /// Metres trimmed per second with a line head: 1000 ft in an hour.
    trim_metres_per_second: 1000.0 * 0.3048 / 3600.0, 0.001, 5.0, LABOUR_TABLE;
    /// Metres to trim in 100 square metres of turf with a few obstacles.
    trim_few_metres: 3.0, 0.0, 500.0, PRACTICE;
    /// Metres to trim in 100 square metres of turf with some obstacles.
    trim_some_metres: 8.0, 0.0, 500.0, PRACTICE;
    /// Metres to trim in 100 square metres of turf with many obstacles.
    trim_many_metres: 18.0, 0.0, 500.0, PRACTICE;
    /// Extra time for trimming or knocking down, per metre of height beyond half a metre.
    tall_per_metre: 1.0, 0.0, 20.0, PRACTICE;
    /// Square metres of knee-high growth knocked down per second. Set so that the whole model meets
    /// the common-practice time of a small first cut; it has no source of its own.
    knock_down_square_metres_per_second: 0.32, 0.001, 5.0, PRACTICE;
    /// Square metres of brush cut per second, one pass.
    brush_square_metres_per_second: 0.06, 0.0001, 5.0, PRACTICE;
    /// Stem thickness that one pass of a line head still cuts, in metres.
    line_head_stem_metres: 0.0055, 0.001, 0.05, PRACTICE;

    /// Square metres raked and bagged per second: 1000 sq ft in 0.42 h.
    rake_square_metres_per_second: 92.903_04 / (0.42 * 3600.0), 0.001, 5.0, LABOUR_TABLE;
    /// Square metres of paving blown clean per second.
    blow_square_metres_per_second: 1.2, 0.01, 20.0, PRACTICE;
    /// Breadth of paving to clean beside a hard edge when the paving itself is not described.
    paving_breadth_metres: 1.5, 0.0, 50.0, PRACTICE;
    /// Time factor of clearing after overgrown work.
    heavy_debris: 2.0, 1.0, 10.0, PRACTICE;

    /// Minutes of a walk of the site before anything is paced.
    walk_minutes: 1.0, 0.0, 60.0, PRACTICE;
    /// Metres walked per second round a site, looking.
    walk_metres_per_second: 1.2, 0.01, 5.0, PRACTICE;
    /// Square metres searched for hidden things per second in tall growth, on top of the round.
    search_square_metres_per_second: 1.5, 0.01, 50.0, PRACTICE;

    /// Minutes to fetch, start and put back a hand-held powered tool.
    setup_hand_minutes: 0.5, 0.0, 60.0, PRACTICE;
    /// Minutes to unload, start and load a walk-behind.
    setup_walk_mower_minutes: 1.0, 0.0, 60.0, PRACTICE;
    /// Minutes to unload, start and load a ride-on with ramps.
    setup_ride_mower_minutes: 2.5, 0.0, 60.0, PRACTICE;
    /// Minutes to fetch and put back an unpowered tool.
    setup_unpowered_minutes: 0.2, 0.0, 60.0, PRACTICE;

    /// Spread (standard deviation of the logarithm) of a walk of the site.
    spread_walk: 0.25, 0.0, 2.0, PRACTICE;
    /// Spread of edging.
    spread_edge: 0.20, 0.0, 2.0, PRACTICE;
    /// Spread of trimming.
    spread_trim: 0.25, 0.0, 2.0, PRACTICE;
    /// Spread of knocking down.
    spread_knock_down: 0.30, 0.0, 2.0, PRACTICE;
    /// Spread of brush work.
    spread_brush: 0.40, 0.0, 2.0, PRACTICE;
    /// Spread of mowing.
    spread_mow: 0.15, 0.0, 2.0, PRACTICE;
    /// Spread of collecting.
    spread_collect: 0.35, 0.0, 2.0, PRACTICE;
    /// Spread of blowing.
    spread_blow: 0.20, 0.0, 2.0, PRACTICE;
    /// Spread added, in quadrature, on a first service.
    spread_first: 0.20, 0.0, 2.0, PRACTICE;
    /// How far the tasks of one job run long or short together, 0 to 1.
    spread_correlation: 0.30, 0.0, 1.0, PRACTICE;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_keep_their_own_bounds() {
        assert_eq!(Rates::default().check(), Ok(()));
    }

    #[test]
    fn a_company_sets_a_rate_by_name_and_it_says_so() {
        let mut rates = Rates::default();
        rates.set("edge_metres_per_second", 0.5).unwrap();
        assert_eq!(rates.edge_metres_per_second.source, Source::Setting);
        assert!(rates.set("edge_metres_per_second", f64::NAN).is_err());
        assert!(rates.set("no_such_rate", 1.0).is_err());
    }
}
