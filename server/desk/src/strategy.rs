//! Ways to look for a re-plan: each allows something else, so that the dispatcher has a choice.

/// What a search may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Strategy {
    /// Jobs may go to other crews.
    pub jobs_move: bool,
    /// Crews that are out may call at the yard for other units.
    pub yard_calls: bool,
}

impl Default for Strategy {
    /// As a day is planned: any crew, no call.
    fn default() -> Self {
        Self {
            jobs_move: true,
            yard_calls: false,
        }
    }
}

impl Strategy {
    /// Go on with what is aboard and the crews as they are: what can't be done so leaves the day.
    pub const STAY: Self = Self {
        jobs_move: false,
        yard_calls: false,
    };
    /// Stay with the crews, and fetch units from the yard.
    pub const FETCH: Self = Self {
        jobs_move: false,
        yard_calls: true,
    };
    /// Go on with what is aboard, and give jobs to crews that can do them.
    pub const MOVE: Self = Self {
        jobs_move: true,
        yard_calls: false,
    };
    /// Whatever helps.
    pub const ANY: Self = Self {
        jobs_move: true,
        yard_calls: true,
    };
}
