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
//! | [`appraise`] | a whole job: tasks, minutes, wear and price together |
//! | [`learn`] | factors from recorded work |
//! | [`tagout`], [`visit`] | a tag from finding to release, a visit from departure to end |
//! | [`price`], [`wear`], [`exposure`] | what it costs, in money, machines and people |
//!
//! ```
//! use forenoon_trade::compose::{Visit, compose};
//! use forenoon_trade::equipment::Equipment;
//! use forenoon_trade::estimate::{Crew, explain};
//! use forenoon_trade::learn::Learned;
//! use forenoon_trade::rates::Rates;
//! use forenoon_trade::site::{Area, AreaKind, Condition, Ground};
//! use forenoon_trade::units::{Metres, SquareMetres};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! // A quarter acre of kept turf behind a 48 in gate, and the walk along it.
//! let ground = Ground { narrowest_gate: Some(Metres::from_inches(48.0)), ..Ground::default() };
//! let condition = Condition::default();
//! let areas = [
//!     Area { kind: AreaKind::Turf(SquareMetres::from_acres(0.25)), ground, condition },
//!     Area { kind: AreaKind::HardEdge(Metres::from_feet(120.0)), ground, condition },
//! ];
//! let rates = Rates::default();
//! let job = compose(&Visit::to(&areas), &rates).map_err(|faults| format!("{faults:?}"))?;
//! for task in &job.tasks {
//!     let tool = Equipment::usual_for(task.work.method);
//!     let (estimate, working) =
//!         explain(&task.work, &tool, Crew { size: 2 }, &rates, &Learned::NOTHING)?;
//!     println!("{}: {:.0}, because {}", task.work.kind, estimate.median, task.rule);
//!     for line in working.lines() {
//!         println!("    {line}");
//!     }
//! }
//! # assert_eq!(job.tasks.len(), 6);
//! # Ok(())
//! # }
//! ```
//!
//! The library plans and informs. It certifies nothing: manuals, local codes and licensed practice
//! decide.

pub mod appraise;
pub mod compose;
pub mod equipment;
pub mod estimate;
pub mod exposure;
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
pub mod visit;
pub mod wear;
