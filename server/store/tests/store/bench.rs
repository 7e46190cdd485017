//! A database under test with a branch to work on, and rows to put into it.

use std::time::Duration;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{
    branch, crew, job, plan, plan_crew_day, plan_draft, plan_load_out, plan_stop, site, tag_out,
    unit, visit, worker,
};
use forenoon_store::sea_orm::{
    ActiveModelBehavior, ActiveModelTrait, ConnectionTrait, DatabaseTransaction, EntityTrait,
    IntoActiveModel, PrimaryKeyTrait, Set, TryIntoModel,
};
use forenoon_store::value::{
    Absences, Areas, Capabilities, Clippings, ExposureRule, ForbiddenEarlier, ForbiddenTasks,
    Hazards, JobState, Pauses, PlanChanges, PlanState, PlanTotals, PlannedTask, PlannedTasks,
    PriceRule, Roles, Severity, Shifts, SiteCondition, Symptom, TagOutState, TaskActuals, TaskKind,
    Tasks, Times, TravelRule, UnitKind, UnitSystem, VisitState, VisitWindows, Walkthroughs, Words,
    YardStops,
};
use forenoon_store::{Database, DatabaseOptions, StoreError, Write};
use tempfile::TempDir;

use crate::cluster::Cluster;

/// A database with what keeps it alive.
pub(crate) struct Bench {
    pub(crate) database: Database,
    pub(crate) options: DatabaseOptions,
    _cluster: Option<Cluster>,
    _folder: TempDir,
}

/// Runs a check on SQLite, and on PostgreSQL where it is installed.
pub(crate) async fn on_both<F: AsyncFn(&Bench)>(check: F) {
    check(&Bench::sqlite().await).await;
    check(&Bench::postgres().await).await;
}

impl Bench {
    pub(crate) async fn sqlite() -> Self {
        let folder = TempDir::new().expect("a folder");
        let url = format!("sqlite://{}", folder.path().join("a.db").display());
        Self::open(options(url), None, folder).await
    }

    pub(crate) async fn postgres() -> Self {
        let cluster = Cluster::start().expect("PostgreSQL is installed");
        let url = cluster.url();
        Self::open(
            options(url),
            Some(cluster),
            TempDir::new().expect("a folder"),
        )
        .await
    }

    async fn open(options: DatabaseOptions, cluster: Option<Cluster>, folder: TempDir) -> Self {
        let database = Database::open(&options).await.expect("the database opens");
        Self {
            database,
            options,
            _cluster: cluster,
            _folder: folder,
        }
    }

    /// Writes one row.
    pub(crate) async fn put<A>(&self, row: A) -> Result<(), StoreError>
    where
        A: ActiveModelTrait + Clone + Sync + Send + ActiveModelBehavior,
        <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
    {
        self.database.write("north", &Put(row)).await
    }

    /// Changes one row by its key; only what is set.
    pub(crate) async fn change<A>(&self, row: A) -> Result<(), StoreError>
    where
        A: ActiveModelTrait + Clone + Sync + Send + ActiveModelBehavior,
        <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
    {
        self.database.write("north", &Change(row)).await
    }

    /// Deletes one row by its key.
    pub(crate) async fn remove<E>(&self, key: KeyOf<E>) -> Result<(), StoreError>
    where
        E: EntityTrait,
        KeyOf<E>: Clone + Send + Sync,
    {
        self.database.write("north", &Remove::<E>(key)).await
    }

    /// Runs one statement as it is.
    pub(crate) async fn execute(&self, sql: &'static str) -> Result<(), StoreError> {
        self.database.write("north", &Execute(sql)).await
    }

    /// A branch with a site, a job, a crew, a worker and two units.
    pub(crate) async fn furnish(&self) {
        self.put(branch_row().into_active_model())
            .await
            .expect("branch");
        self.put(site_row().into_active_model())
            .await
            .expect("site");
        self.put(job_row().into_active_model()).await.expect("job");
        self.put(crew_row("one").into_active_model())
            .await
            .expect("crew");
        self.put(crew_row("two").into_active_model())
            .await
            .expect("crew");
        self.put(worker_row().into_active_model())
            .await
            .expect("worker");
        self.put(unit_row("mower", "1").into_active_model())
            .await
            .expect("unit");
        self.put(unit_row("blower", "2").into_active_model())
            .await
            .expect("unit");
    }

    /// A draft without anything, for a document.
    pub(crate) async fn bare_draft(&self, revision: i32) -> String {
        let row = plan_row(revision);
        let id = row.id.clone();
        self.put(row.into_active_model()).await.expect("plan");
        id
    }

    /// A draft with both crews.
    pub(crate) async fn draft(&self, revision: i32) -> String {
        let id = self.bare_draft(revision).await;
        for crew in ["one", "two"] {
            self.put(crew_day_row(&id, crew).into_active_model())
                .await
                .expect("crew day");
        }
        id
    }
}

struct Put<A>(A);

impl<A> Write for Put<A>
where
    A: ActiveModelTrait + Clone + Sync + Send + ActiveModelBehavior,
    <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
{
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        // Nothing of the row is read back: a schema of before may lack columns of it.
        A::Entity::insert(self.0.clone())
            .exec_without_returning(transaction)
            .await?;
        Ok(())
    }
}

struct Change<A>(A);

impl<A> Write for Change<A>
where
    A: ActiveModelTrait + Clone + Sync + Send + ActiveModelBehavior,
    <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
{
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        self.0.clone().update(transaction).await?;
        Ok(())
    }
}

struct Execute(&'static str);

impl Write for Execute {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        transaction.execute_unprepared(self.0).await?;
        Ok(())
    }
}

type KeyOf<E> = <<E as EntityTrait>::PrimaryKey as PrimaryKeyTrait>::ValueType;

struct Remove<E: EntityTrait>(KeyOf<E>);

impl<E> Write for Remove<E>
where
    E: EntityTrait,
    KeyOf<E>: Clone + Send + Sync,
{
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        let deleted = E::delete_by_id(self.0.clone()).exec(transaction).await?;
        assert_eq!(deleted.rows_affected, 1);
        Ok(())
    }
}

fn options(url: String) -> DatabaseOptions {
    DatabaseOptions {
        url,
        connections_max: 4,
        wait_max: Duration::from_secs(10),
    }
}

/// Minutes after a fixed instant.
pub(crate) fn at(minutes: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_808_200_000 + minutes * 60, 0).expect("an instant")
}

pub(crate) fn branch_row() -> branch::Model {
    branch::Model {
        id: "north".into(),
        display_name: "North yard".into(),
        time_zone: "America/Chicago".into(),
        currency_code: "USD".into(),
        unit_system: UnitSystem::UsCustomary,
        yard_latitude: 41.5,
        yard_longitude: -93.6,
        travel: TravelRule {
            road_factor: 1.3,
            kilometres_per_hour: 40.0,
            seconds_per_stop: 120,
        },
        exposure: ExposureRule::default(),
        price: PriceRule::default(),
        revision: 1,
        create_time: at(0),
        update_time: at(0),
    }
}

pub(crate) fn site_row() -> site::Model {
    site::Model {
        branch_id: "north".into(),
        id: "lawn".into(),
        display_name: "Lawn".into(),
        customer: "Customer".into(),
        contact: None,
        address: String::new(),
        latitude: 41.6,
        longitude: -93.7,
        areas: Areas::default(),
        hazards: Hazards::default(),
        clippings: Clippings::MayLie,
        clippings_note: String::new(),
        quiet_until_second_of_day: Some(9 * 3600),
        sensitive: false,
        access_note: String::new(),
        revision: 1,
        create_time: at(0),
        update_time: at(0),
    }
}

fn job_row() -> job::Model {
    job::Model {
        branch_id: "north".into(),
        id: "mow".into(),
        display_name: "Mow".into(),
        site_id: "lawn".into(),
        tasks: Tasks::default(),
        area_ids: Words::default(),
        condition: SiteCondition::default(),
        windows: VisitWindows::default(),
        first_day: day(),
        last_day: day(),
        priority: 3,
        deadline: None,
        deadline_source: String::new(),
        promise: None,
        skills: Words::default(),
        price_minor: Some(4_500),
        note: String::new(),
        state: JobState::Open,
        cancel_reason: String::new(),
        revision: 1,
        create_time: at(0),
        update_time: at(0),
    }
}

pub(crate) fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 4, 20).expect("a date")
}

fn crew_row(id: &str) -> crew::Model {
    crew::Model {
        branch_id: "north".into(),
        id: id.into(),
        display_name: id.into(),
        shifts: Shifts::default(),
        vehicle_id: None,
        trailer_id: None,
        overtime_allowed_seconds: 0,
        base_latitude: None,
        base_longitude: None,
        break_seconds: 0,
        revision: 1,
        create_time: at(0),
        update_time: at(0),
    }
}

fn worker_row() -> worker::Model {
    worker::Model {
        branch_id: "north".into(),
        id: "smith".into(),
        display_name: "Smith".into(),
        crew_id: Some("one".into()),
        roles: Roles::default(),
        skills: Words::default(),
        phone: String::new(),
        cost_per_hour_minor: None,
        revision: 1,
        create_time: at(0),
        update_time: at(0),
    }
}

pub(crate) fn unit_row(id: &str, serial: &str) -> unit::Model {
    unit::Model {
        branch_id: "north".into(),
        id: id.into(),
        display_name: id.into(),
        serial_number: serial.into(),
        model: String::new(),
        kind: UnitKind::WalkMower,
        capabilities: Capabilities::default(),
        coupling: None,
        cutting_width_millimetres: Some(914.4),
        machine_width_millimetres: None,
        max_slope_percent: 0.0,
        load_space_litres: 0.0,
        carries_litres: 0.0,
        bag_litres: 0.0,
        purchase_price_minor: None,
        run_hours: 0.0,
        noise_dba: 0.0,
        vibration_metres_per_second_squared: 0.0,
        service_interval_hours: 0.0,
        absences: Absences::default(),
        retired: false,
        revision: 1,
        create_time: at(0),
        update_time: at(0),
    }
}

pub(crate) fn tag_row(number: i64, unit: &str, severity: Severity, minute: i64) -> tag_out::Model {
    tag_out::Model {
        branch_id: "north".into(),
        id: format!("t-{number}"),
        number,
        unit_id: unit.into(),
        symptom: Symptom::NoStart,
        description: String::new(),
        severity,
        forbidden_tasks: ForbiddenTasks::default(),
        found_by_id: Some("smith".into()),
        job_id: None,
        contact: None,
        state: TagOutState::Tagged,
        diagnosis: String::new(),
        expected_return_time: None,
        repair: String::new(),
        repaired_by_id: None,
        inspection: String::new(),
        inspected_by_id: None,
        released_by_id: None,
        release_time: None,
        reopens_id: None,
        severity_time: None,
        forbidden_earlier: ForbiddenEarlier::default(),
        revision: 1,
        create_time: at(minute),
        update_time: at(minute),
    }
}

pub(crate) fn plan_row(revision: i32) -> plan::Model {
    plan::Model {
        branch_id: "north".into(),
        id: format!("{}-{revision}", day()),
        day: day(),
        day_revision: revision,
        state: PlanState::Draft,
        base_plan_id: None,
        totals: PlanTotals::default(),
        seed: 1,
        iterations: 0,
        cause: String::new(),
        changes: PlanChanges::default(),
        sites_to_phone: Words::default(),
        heat: None,
        proposal: None,
        created_by: "smith".into(),
        publish_time: None,
        revision: 1,
        create_time: at(0),
        update_time: at(0),
    }
}

fn crew_day_row(plan: &str, crew: &str) -> plan_crew_day::Model {
    plan_crew_day::Model {
        branch_id: "north".into(),
        plan_id: plan.into(),
        crew_id: crew.into(),
        crew_display_name: crew.into(),
        depart_time: None,
        return_time: None,
        load_taken_litres: 0.0,
        load_space_litres: 0.0,
        overtime_seconds: 0,
        exposure: None,
        yard_call: None,
        later_yard_calls: YardStops::default(),
        breaks: None,
    }
}

/// A unit aboard from one minute to another; none for the begin or the end of the crew's day.
pub(crate) fn spell_row(
    plan: &str,
    crew: &str,
    spell: i32,
    [from, until]: [Option<i64>; 2],
) -> plan_load_out::ActiveModel {
    plan_load_out::ActiveModel {
        spell: Set(spell),
        from_time: Set(from.map(at)),
        until_time: Set(until.map(at)),
        ..load_row(plan, crew, "mower")
    }
}

pub(crate) fn load_row(plan: &str, crew: &str, unit: &str) -> plan_load_out::ActiveModel {
    plan_load_out::Model {
        branch_id: "north".into(),
        plan_id: plan.into(),
        unit_id: unit.into(),
        spell: 0,
        crew_id: crew.into(),
        from_time: None,
        until_time: None,
    }
    .into_active_model()
}

pub(crate) fn stop_row(plan: &str, from: i64, to: i64) -> plan_stop::ActiveModel {
    plan_stop::Model {
        branch_id: "north".into(),
        plan_id: plan.into(),
        job_id: "mow".into(),
        crew_id: "one".into(),
        position: 0,
        site_id: "lawn".into(),
        site_display_name: "Lawn".into(),
        arrive_time: at(from),
        start_time: at(from),
        finish_time: at(to),
        drive_seconds: 0,
        slack_seconds: 0,
        tasks: PlannedTasks::default(),
        fixed: false,
    }
    .into_active_model()
}

/// A stop that works with the unit.
pub(crate) fn stop_with(plan: &str, unit: &str, from: i64, to: i64) -> plan_stop::ActiveModel {
    let mut row = stop_row(plan, from, to);
    row.tasks = Set(PlannedTasks(vec![PlannedTask {
        task_id: "mow".into(),
        kind: TaskKind::Mow,
        area_id: None,
        unit_ids: vec!["string-head".into(), unit.into()],
        duration_seconds: 60,
        running_seconds: 0,
    }]));
    row
}

/// The document of a draft with these load-outs and stops.
pub(crate) fn document(
    plan: &str,
    load_outs: Vec<plan_load_out::ActiveModel>,
    stops: Vec<plan_stop::ActiveModel>,
) -> plan_draft::ActiveModel {
    let whole = "whole";
    let parts = PlanParts {
        crew_days: vec![crew_day_row(plan, "one")],
        load_outs: load_outs
            .into_iter()
            .map(|row| row.try_into_model().expect(whole))
            .collect(),
        stops: stops
            .into_iter()
            .map(|row| row.try_into_model().expect(whole))
            .collect(),
        unplanned: vec![],
    };
    plan_draft::Model {
        branch_id: "north".into(),
        plan_id: plan.into(),
        parts: parts.to_document().expect("a document"),
    }
    .into_active_model()
}

pub(crate) fn visit_row(plan: &str, from: i64) -> visit::ActiveModel {
    visit::Model {
        branch_id: "north".into(),
        job_id: "mow".into(),
        attempt: 1,
        plan_id: plan.into(),
        crew_id: "one".into(),
        state: VisitState::Working,
        depart_time: None,
        arrive_time: None,
        start_time: Some(at(from)),
        finish_time: None,
        pauses: Pauses::default(),
        resume_times: Times::default(),
        task_actuals: TaskActuals::default(),
        bags: 0,
        note: String::new(),
        not_done_reason: String::new(),
        ended_by_plan_id: None,
        walkthroughs: Walkthroughs::default(),
    }
    .into_active_model()
}
