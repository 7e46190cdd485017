//! What recorded work says about the published rate.

/// A factor learned for one task on one site by one crew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    factor: f64,
    sigma: Option<f64>,
}

impl Learned {
    /// Nothing learned: the published rate stands.
    pub const NOTHING: Self = Self {
        factor: 1.0,
        sigma: None,
    };

    /// What the published rate is multiplied by.
    pub const fn factor(self) -> f64 {
        self.factor
    }

    /// The spread learned, if there is evidence enough for one.
    pub const fn sigma(self) -> Option<f64> {
        self.sigma
    }
}
