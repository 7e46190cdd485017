//! The five kinds of records.

use forenoon_proto::v1;

use super::super::cells::word;
use super::Kind;
use crate::desk::BranchDesk;
use crate::failure::Failure;
use crate::import::Context;
use crate::import::record;
use crate::import::row::Reader;
use crate::import::table::{self, Table};
use crate::names::{Collection, request_id};
use crate::output::cells::{Cells, crew, job, site, unit};
use crate::output::grid::Grid;
use crate::parse::day::wire;

/// A list that is not narrowed.
#[derive(Debug, clap::Args)]
pub struct NoFilter {}

/// What narrows a list of units.
#[derive(Debug, clap::Args)]
pub struct UnitFilter {
    /// Only units in this state: fit, limited, tagged-out or retired
    #[arg(long, value_name = "STATE", value_parser = word::<v1::UnitState>)]
    state: Option<v1::UnitState>,
}

/// What narrows a list of jobs.
#[derive(Debug, clap::Args)]
pub struct JobFilter {
    /// Only jobs in this state: open, running, done or cancelled
    #[arg(long, value_name = "STATE", value_parser = word::<v1::JobState>)]
    state: Option<v1::JobState>,
    /// Only jobs at this site, by id
    #[arg(
        long,
        value_name = "SITE",
        default_value = "",
        hide_default_value = true
    )]
    site: String,
    /// Only jobs that may be done on this day
    #[arg(long, value_name = "DAY")]
    day: Option<String>,
}

/// Units.
#[derive(Debug)]
pub(crate) struct Units;
/// Crews.
#[derive(Debug)]
pub(crate) struct Crews;
/// Workers.
#[derive(Debug)]
pub(crate) struct Workers;
/// Sites.
#[derive(Debug)]
pub(crate) struct Sites;
/// Jobs.
#[derive(Debug)]
pub(crate) struct Jobs;

macro_rules! kind {
    (
        $kind:ident, $message:ident, $field:ident, $plural:ident, $id:ident, $list:ident, $table:expr, $id_column:literal,
        $filter:ty,
        read: $read:expr, cells: $cells:expr, rows: $rows:expr,
        all($all:ident): $narrow:expr,
        get: $get:ident($get_request:ident), create: $create:ident($create_request:ident),
        update: $update:ident($update_request:ident), delete: $delete:ident($delete_request:ident)
        $(, remark: $remark:expr)?
    ) => {
        impl Kind for $kind {
            type Message = v1::$message;
            type List = v1::$list;
            type Filter = $filter;
            const TABLE: &'static Table = &$table;
            const COLLECTION: Collection = Collection::$kind;
            const ID_COLUMN: &'static str = $id_column;

            fn read(row: &mut Reader<'_>, context: &Context, message: &mut v1::$message) {
                $read(row, context, message);
            }

            fn cells(message: &v1::$message, desk: &BranchDesk) -> Cells {
                $cells(message, desk)
            }

            fn rows(list: &v1::$list) -> Grid {
                $rows(&list.$plural)
            }

            fn name(message: &v1::$message) -> &str {
                &message.name
            }

            async fn list(desk: &BranchDesk, filter: $filter) -> Result<v1::$list, Failure> {
                let request = $narrow(desk, filter)?;
                let $plural = desk.link.$all(request).await?;
                Ok(v1::$list {
                    $plural,
                    next_page_token: String::new(),
                })
            }

            async fn get(desk: &BranchDesk, name: String) -> Result<v1::$message, Failure> {
                let answer = desk.link.$get(v1::$get_request { name }).await?;
                Ok(answer.$field.unwrap_or_default())
            }

            async fn create(
                desk: &BranchDesk,
                $id: String,
                message: v1::$message,
            ) -> Result<v1::$message, Failure> {
                let answer = desk
                    .link
                    .$create(v1::$create_request {
                        parent: desk.parent(),
                        $id,
                        $field: Some(message),
                        request_id: request_id(),
                    })
                    .await?;
                Ok(answer.$field.unwrap_or_default())
            }

            async fn update(
                desk: &BranchDesk,
                message: v1::$message,
                paths: Vec<String>,
            ) -> Result<v1::$message, Failure> {
                let answer = desk
                    .link
                    .$update(v1::$update_request {
                        $field: Some(message),
                        update_mask: Some(prost_types::FieldMask { paths }),
                        request_id: request_id(),
                    })
                    .await?;
                Ok(answer.$field.unwrap_or_default())
            }

            async fn delete(desk: &BranchDesk, name: String) -> Result<(), Failure> {
                desk.link
                    .$delete(v1::$delete_request {
                        name,
                        etag: String::new(),
                        request_id: request_id(),
                    })
                    .await?;
                Ok(())
            }
            $(
                fn remark(stored: &v1::$message, fields: &[String]) -> Option<&'static str> {
                    $remark(stored, fields)
                }
            )?
        }
    };
}

kind! {
    Units, Unit, unit, units, unit_id, ListUnitsResponse, table::UNITS, "unit_id", UnitFilter,
    read: record::unit::unit,
    cells: |message, desk: &BranchDesk| unit::unit(message, desk.clock),
    rows: unit::list,
    all(all_units): |desk: &BranchDesk, filter: UnitFilter| Ok::<_, Failure>(v1::ListUnitsRequest {
        parent: desk.parent(),
        state: filter.state.unwrap_or_default().into(),
        ..v1::ListUnitsRequest::default()
    }),
    get: get_unit(GetUnitRequest), create: create_unit(CreateUnitRequest),
    update: update_unit(UpdateUnitRequest), delete: delete_unit(DeleteUnitRequest)
}

kind! {
    Crews, Crew, crew, crews, crew_id, ListCrewsResponse, table::CREWS, "crew_id", NoFilter,
    read: record::crew::crew,
    cells: |message, _desk| crew::crew(message),
    rows: crew::list,
    all(all_crews): |desk: &BranchDesk, _filter| Ok::<_, Failure>(v1::ListCrewsRequest {
        parent: desk.parent(),
        ..v1::ListCrewsRequest::default()
    }),
    get: get_crew(GetCrewRequest), create: create_crew(CreateCrewRequest),
    update: update_crew(UpdateCrewRequest), delete: delete_crew(DeleteCrewRequest)
}

kind! {
    Workers, Worker, worker, workers, worker_id, ListWorkersResponse, table::WORKERS, "worker_id", NoFilter,
    read: record::crew::worker,
    cells: |message, _desk| crew::worker(message),
    rows: crew::list_workers,
    all(all_workers): |desk: &BranchDesk, _filter| Ok::<_, Failure>(v1::ListWorkersRequest {
        parent: desk.parent(),
        ..v1::ListWorkersRequest::default()
    }),
    get: get_worker(GetWorkerRequest), create: create_worker(CreateWorkerRequest),
    update: update_worker(UpdateWorkerRequest), delete: delete_worker(DeleteWorkerRequest)
}

kind! {
    Sites, Site, site, sites, site_id, ListSitesResponse, table::SITES, "site_id", NoFilter,
    read: |row: &mut Reader<'_>, _context: &Context, message| record::site::site(row, message),
    cells: |message, _desk| site::site(message),
    rows: site::list,
    all(all_sites): |desk: &BranchDesk, _filter| Ok::<_, Failure>(v1::ListSitesRequest {
        parent: desk.parent(),
        ..v1::ListSitesRequest::default()
    }),
    get: get_site(GetSiteRequest), create: create_site(CreateSiteRequest),
    update: update_site(UpdateSiteRequest), delete: delete_site(DeleteSiteRequest)
}

kind! {
    Jobs, Job, job, jobs, job_id, ListJobsResponse, table::JOBS, "job_id", JobFilter,
    read: record::job::job,
    cells: |message, _desk| job::job(message),
    rows: job::list,
    all(all_jobs): |desk: &BranchDesk, filter: JobFilter| {
        let day = match &filter.day {
            Some(text) => Some(wire(desk.day(text)?)),
            None => None,
        };
        Ok::<_, Failure>(v1::ListJobsRequest {
            parent: desk.parent(),
            state: filter.state.unwrap_or_default().into(),
            site: desk.name(Collection::Sites, &filter.site),
            day,
            ..v1::ListJobsRequest::default()
        })
    },
    get: get_job(GetJobRequest), create: create_job(CreateJobRequest),
    update: update_job(UpdateJobRequest), delete: delete_job(DeleteJobRequest),
    remark: work_kept
}

/// Work that people wrote does not follow what work is composed from.
fn work_kept(job: &v1::Job, fields: &[String]) -> Option<&'static str> {
    let composed_from = ["site", "area_ids", "condition"];
    let asked = fields
        .iter()
        .any(|field| composed_from.contains(&field.as_str()));
    (asked && !job.tasks_composed).then_some(
        "its tasks stay as they were: people wrote them, or a crew is at it; change them too if other work is wanted",
    )
}
