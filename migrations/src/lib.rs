//! The schema of Forenoon, the same on SQLite and PostgreSQL.
//!
//! One file per migration, named by date and number; a landed file never changes. Breaking changes
//! go in three steps over three releases (expand, move, contract), so that an old and a new server
//! can run side by side on one database.

mod columns;
pub mod compatibility;
mod guard;
mod m20261125_000001_branch;
mod m20261125_000002_site;
mod m20261125_000003_unit;
mod m20261125_000004_crew;
mod m20261125_000005_command_record;
mod m20261125_000006_job;
mod m20261125_000007_tag_out;
mod m20261125_000008_plan;
mod m20261125_000009_visit;
mod m20261125_000010_guards;
mod m20261125_000011_visit_attempt;
mod m20261125_000012_crew_load;
mod m20261125_000013_photo;
mod m20261125_000014_site_case;
mod m20261125_000020_bench;
mod m20261125_000030_solve_lease;
mod m20261125_000031_exposure;
mod m20261125_000040_keeping;
mod m20261125_000041_compatibility;
mod m20261128_000001_job_day;
mod m20261129_000001_stop_names_units;
mod m20261129_000002_index_with_plan;
mod m20261129_000003_draft_as_document;
mod m20261129_000004_later_yard_calls;
mod m20261129_000005_load_out_spells;
mod m20261130_000001_access_key;
mod m20261130_000002_breaks;
mod m20261130_000004_visit_ended_by_plan;
mod m20261130_000005_photo_subject_by_photo;
mod m20261201_000001_serializable_guards;
mod m20261201_000002_open_and_by_state;
mod m20261201_000003_tag_raised;
mod m20261201_000004_tags_on_the_road;
mod rebuild;

pub use guard::PREFIX as GUARD_PREFIX;
pub use sea_orm_migration::{MigratorTrait, seaql_migrations as applied};

use sea_orm_migration::MigrationTrait;

/// Brings a database to the schema this build knows.
pub struct Migrator;

impl MigratorTrait for Migrator {
    fn migrations() -> Vec<Box<dyn MigrationTrait>> {
        vec![
            Box::new(m20261125_000001_branch::Migration),
            Box::new(m20261125_000002_site::Migration),
            Box::new(m20261125_000003_unit::Migration),
            Box::new(m20261125_000004_crew::Migration),
            Box::new(m20261125_000005_command_record::Migration),
            Box::new(m20261125_000006_job::Migration),
            Box::new(m20261125_000007_tag_out::Migration),
            Box::new(m20261125_000008_plan::Migration),
            Box::new(m20261125_000009_visit::Migration),
            Box::new(m20261125_000010_guards::Migration),
            Box::new(m20261125_000011_visit_attempt::Migration),
            Box::new(m20261125_000012_crew_load::Migration),
            Box::new(m20261125_000013_photo::Migration),
            Box::new(m20261125_000014_site_case::Migration),
            Box::new(m20261125_000020_bench::Migration),
            Box::new(m20261125_000030_solve_lease::Migration),
            Box::new(m20261125_000031_exposure::Migration),
            Box::new(m20261125_000040_keeping::Migration),
            Box::new(m20261125_000041_compatibility::Migration),
            Box::new(m20261128_000001_job_day::Migration),
            Box::new(m20261129_000001_stop_names_units::Migration),
            Box::new(m20261129_000002_index_with_plan::Migration),
            Box::new(m20261129_000003_draft_as_document::Migration),
            Box::new(m20261129_000004_later_yard_calls::Migration),
            Box::new(m20261129_000005_load_out_spells::Migration),
            Box::new(m20261130_000001_access_key::Migration),
            Box::new(m20261130_000002_breaks::Migration),
            Box::new(m20261130_000004_visit_ended_by_plan::Migration),
            Box::new(m20261130_000005_photo_subject_by_photo::Migration),
            Box::new(m20261201_000001_serializable_guards::Migration),
            Box::new(m20261201_000002_open_and_by_state::Migration),
            Box::new(m20261201_000003_tag_raised::Migration),
            Box::new(m20261201_000004_tags_on_the_road::Migration),
        ]
    }
}
