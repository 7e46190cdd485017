//! What there is to do with keys.

use clap::{Subcommand, ValueEnum};
use forenoon_store::value::Role;

/// What to do with the keys with which people and programs sign in.
#[derive(Clone, Debug, PartialEq, Eq, Subcommand)]
pub enum KeyTask {
    /// Gives out a key and prints it, this once: the database keeps a digest of it.
    ///
    /// A worker's key is good for what the roles in the worker's record let them do, as they stand when they call.
    Issue {
        /// The only branch it is good for, by its id. [default: every branch]
        #[arg(long, value_name = "ID")]
        branch: Option<String>,
        /// The worker of the branch who will hold it, by id.
        #[arg(long, value_name = "ID", conflicts_with = "holder")]
        worker: Option<String>,
        /// Who else will hold it, as `accounting`: a program, or somebody who is no worker.
        #[arg(long, value_name = "NAME")]
        holder: Option<String>,
        /// What the holder does; may be given several times.
        #[arg(long, value_name = "ROLE")]
        role: Vec<KeyRole>,
        /// The holder may do everything, workers and their roles included.
        #[arg(long)]
        everything: bool,
    },
    /// Lists all keys, those that have ended too, separated by tabs: id, holder, branch, roles, issued, ended.
    List,
    /// Ends a key. Servers take it for five seconds more at most.
    End {
        /// What the list calls it.
        id: String,
    },
}

/// What the holder of a key does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum KeyRole {
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

impl From<KeyRole> for Role {
    fn from(role: KeyRole) -> Self {
        match role {
            KeyRole::Crew => Self::Crew,
            KeyRole::CrewLead => Self::CrewLead,
            KeyRole::Dispatcher => Self::Dispatcher,
            KeyRole::Mechanic => Self::Mechanic,
            KeyRole::Office => Self::Office,
        }
    }
}

impl From<Role> for KeyRole {
    fn from(role: Role) -> Self {
        match role {
            Role::Crew => Self::Crew,
            Role::CrewLead => Self::CrewLead,
            Role::Dispatcher => Self::Dispatcher,
            Role::Mechanic => Self::Mechanic,
            Role::Office => Self::Office,
        }
    }
}
