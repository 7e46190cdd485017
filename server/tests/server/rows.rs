//! Rows put in past the services, for what their resources need around them.

use forenoon_store::entity::{job, plan, plan_crew_day, plan_load_out, plan_stop, tag_out};
use forenoon_store::sea_orm::{
    ActiveModelBehavior, ActiveModelTrait, ConnectionTrait, DatabaseTransaction, EntityTrait,
    IntoActiveModel,
};
use forenoon_store::value::{
    ForbiddenEarlier, ForbiddenTasks, JobState, PlanChanges, PlanState, PlanTotals, PlannedTask,
    PlannedTasks, Severity, SiteCondition, Symptom, TagOutState, Task, TaskKind, Tasks,
    VisitWindows, Words, YardStops,
};
use forenoon_store::{StoreError, Write};

use crate::house::House;

/// Puts one row in.
pub(crate) async fn store<A>(house: &House, row: A)
where
    A: ActiveModelTrait + ActiveModelBehavior + Clone + Send + Sync,
    <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
{
    let written = house.database.write("north", &Insert(row)).await;
    written.expect("stored");
}

/// Runs a statement as it is.
pub(crate) async fn execute(house: &House, sql: &str) {
    let done = house
        .database
        .write("north", &Execute(sql.to_owned()))
        .await;
    done.expect("executed");
}

struct Insert<A>(A);

impl<A> Write for Insert<A>
where
    A: ActiveModelTrait + ActiveModelBehavior + Clone + Send + Sync,
    <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
{
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        self.0.clone().insert(transaction).await?;
        Ok(())
    }
}

struct Execute(String);

impl Write for Execute {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        transaction.execute_unprepared(&self.0).await?;
        Ok(())
    }
}

fn instant() -> chrono::DateTime<chrono::Utc> {
    "2027-04-20T11:00:00Z".parse().expect("an instant")
}

/// A job at a site that mows one area.
pub(crate) fn job(id: &str, site: &str, area: &str, state: JobState) -> job::ActiveModel {
    let day = "2027-04-21".parse().expect("a date");
    job::Model {
        branch_id: "north".into(),
        id: id.into(),
        display_name: id.into(),
        site_id: site.into(),
        tasks: Tasks(vec![Task {
            task_id: "mow".into(),
            kind: TaskKind::Mow,
            area_id: Some(area.into()),
            capabilities: vec![],
            passes: 1,
            agreed_minutes: None,
            composed: false,
        }]),
        area_ids: Words::default(),
        condition: SiteCondition::default(),
        windows: VisitWindows::default(),
        first_day: day,
        last_day: day,
        priority: 3,
        deadline: None,
        deadline_source: String::new(),
        promise: None,
        skills: Words::default(),
        price_minor: None,
        note: String::new(),
        state,
        cancel_reason: String::new(),
        revision: 1,
        create_time: instant(),
        update_time: instant(),
    }
    .into_active_model()
}

/// An open tag on a unit.
pub(crate) fn tag(number: i64, unit: &str, severity: Severity) -> tag_out::ActiveModel {
    tag_out::Model {
        branch_id: "north".into(),
        id: format!("t-{number}"),
        number,
        unit_id: unit.into(),
        symptom: Symptom::Vibration,
        description: String::new(),
        severity,
        forbidden_tasks: ForbiddenTasks::default(),
        found_by_id: None,
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
        create_time: instant(),
        update_time: instant(),
    }
    .into_active_model()
}

/// A draft for a day, the first revision.
pub(crate) fn plan(day: &str) -> plan::ActiveModel {
    plan::Model {
        branch_id: "north".into(),
        id: format!("{day}-1"),
        day: day.parse().expect("a date"),
        day_revision: 1,
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
        created_by: "dispatcher".into(),
        publish_time: None,
        revision: 1,
        create_time: instant(),
        update_time: instant(),
    }
    .into_active_model()
}

/// A crew's day in a plan.
pub(crate) fn crew_day(plan: &str, crew: &str) -> plan_crew_day::ActiveModel {
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
    .into_active_model()
}

/// A unit aboard.
pub(crate) fn aboard(plan: &str, crew: &str, unit: &str) -> plan_load_out::ActiveModel {
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

/// A stop of a crew.
pub(crate) fn stop(plan: &str, crew: &str, job: &str, site: &str) -> plan_stop::ActiveModel {
    plan_stop::Model {
        branch_id: "north".into(),
        plan_id: plan.into(),
        job_id: job.into(),
        crew_id: crew.into(),
        position: 0,
        site_id: site.into(),
        site_display_name: site.into(),
        arrive_time: instant(),
        start_time: instant(),
        finish_time: instant(),
        drive_seconds: 0,
        slack_seconds: 0,
        tasks: PlannedTasks::default(),
        fixed: false,
    }
    .into_active_model()
}

/// The tasks of a stop that works with the unit.
pub(crate) fn mowing_with(unit: &str) -> PlannedTasks {
    PlannedTasks(vec![PlannedTask {
        task_id: "mow".into(),
        kind: TaskKind::Mow,
        area_id: None,
        unit_ids: vec![unit.into()],
        duration_seconds: 1_200,
        running_seconds: 0,
    }])
}
