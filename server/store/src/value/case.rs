//! The words of cases.

use super::words;

words!(
    /// What a case is about.
    CaseKind {
        /// Something was damaged.
        Damage,
        /// Work must be done again.
        Callback,
        /// A customer complains.
        Complaint,
    }
);
