//! One entity per table.

pub mod audit_entry;
pub mod branch;
pub mod branch_sequence;
pub mod command_answer;
pub mod crew;
pub mod crew_load;
pub mod hours_settled;
pub mod job;
pub mod outbox_event;
pub mod photo;
pub mod photo_part;
pub mod photo_subject;
pub mod plan;
pub mod plan_crew_day;
pub mod plan_load_out;
pub mod plan_stop;
pub mod plan_unplanned;
pub mod site;
pub mod site_case;
pub mod solve_lease;
pub mod tag_out;
pub mod unit;
pub mod unit_hours;
pub mod unit_service;
pub mod visit;
pub mod worker;
