//! What a worker may do.

use super::{json_list, words};

words!(
    /// What a worker may do for the server.
    Role {
        /// Works in a crew.
        Crew,
        /// Leads a crew.
        CrewLead,
        /// Plans and assigns.
        Dispatcher,
        /// Repairs, inspects and releases.
        Mechanic,
        /// Calls customers, keeps cases.
        Office,
    }
);

json_list!(
    /// A worker's roles.
    Roles of Role
);
