//! Grounds-maintenance arithmetic: how long a task takes, in what order the tasks of a job come,
//! what it costs, what it wears out and what it exposes people to.
//!
//! A pure library: no clock, no database, no network, no random numbers, no async and no
//! serialisation. Everything comes in as an argument and the same input gives the same answer.
//!
//! | module | subject |
//! |---|---|
//! | [`units`] | newtypes in SI, conversions named |
//! | [`site`], [`equipment`], [`task`] | what is described |
//! | [`rates`] | every default with its source |
//! | [`estimate`] | minutes and spread, with the working |
//! | [`compose`] | the tasks of a job and their order, by named rules |
//! | [`learn`] | factors from recorded work |
//! | [`price`] | what it costs, in money, machines and people |
//!
//! The library plans and informs. It certifies nothing: manuals, local codes and licensed practice
//! decide.

pub mod compose;
pub mod equipment;
pub mod estimate;
pub mod fault;
pub mod learn;
pub mod price;
pub mod rates;
pub mod site;
pub mod source;
pub mod spread;
pub mod tagout;
pub mod task;
pub mod units;
