//! The search's settings.

/// Settings of the search. [`Settings::default`] is what the benchmark runs with.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Mean number of stops taken out in an iteration.
    pub removal_mean: f64,
    /// Longest string taken out of a route.
    pub string_most: f64,
    /// Probability that an iteration takes out more in longer strings, where routes are long.
    pub big_chance: f64,
    /// Probability that a piece is kept inside a string.
    pub split_chance: f64,
    /// Probability that the piece kept grows by one more stop.
    pub split_depth: f64,
    /// Probability that a place is overlooked.
    pub blink_chance: f64,
    /// Probability that leaving a stop out is overlooked.
    pub skip_blink_chance: f64,
    /// What an iteration may make the plan dearer by at the start, at most, in mean leg costs of the first plan.
    pub heat_start: f64,
    /// The same at the start of a search of few iterations for each stop, in mean route costs of the first plan.
    pub heat_short: f64,
    /// Share of the first threshold with which a cycle from a new first plan begins.
    pub fresh_heat: f64,
    /// Share of the first threshold with which a cycle from the best plan begins.
    pub again_heat: f64,
    /// What an iteration may make the plan dearer by at the end, in mean leg costs of the first plan.
    pub heat_end: f64,
    /// Probability that an iteration tries an exchange of tails in place of a ruin.
    pub tail_chance: f64,
    /// Iterations that one cycle of annealing needs, in cubes of the number of stops; a budget for several is spent on
    /// several cycles.
    pub cycle_length: f64,
    /// Neighbours that may come before or after a stop.
    pub beside: usize,
    /// Neighbours for choosing routes to ruin.
    pub around: usize,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            removal_mean: 10.0,
            string_most: 10.0,
            big_chance: 0.1,
            split_chance: 0.5,
            split_depth: 0.01,
            blink_chance: 0.01,
            skip_blink_chance: 0.1,
            heat_start: 5.0,
            heat_short: 0.1,
            fresh_heat: 0.16,
            again_heat: 0.5,
            heat_end: 0.05,
            tail_chance: 0.5,
            cycle_length: 0.25,
            beside: 40,
            around: 120,
        }
    }
}
