//! Copies the worked day to every working day before it, in the database.

use chrono::{Datelike, NaiveDate, TimeDelta, Weekday};
use forenoon_store::sea_orm::{ConnectionTrait, DatabaseTransaction, DbBackend};
use forenoon_store::{Database, StoreError, Write};

use crate::yard::{ID, day};

/// Days of one transaction.
const DAYS_PER_STEP: usize = 50;
/// Events and audit entries of a day.
const EVENTS_A_DAY: u32 = 1_000;
/// Photographs of a day.
const PHOTOS_A_DAY: u32 = 20;

/// Copies the day to `days - 1` working days before it, and writes what else comes with as many days.
pub(crate) async fn back(database: &Database, days: u32) {
    let mut before = Vec::new();
    let mut date = day();
    while before.len() + 1 < usize::try_from(days).expect("few") {
        date -= TimeDelta::days(1);
        if !matches!(date.weekday(), Weekday::Sat | Weekday::Sun) {
            before.push(date);
        }
    }
    for some in before.chunks(DAYS_PER_STEP) {
        let copies = |backend| some.iter().flat_map(|to| copy(backend, *to)).collect();
        database
            .write(ID, &Statements(copies))
            .await
            .expect("copied");
    }
    let first = before.last().copied().unwrap_or_else(day);
    let others = |backend| beside(backend, first, days);
    database
        .write(ID, &Statements(others))
        .await
        .expect("written");
}

/// Statements, made once the kind of database is known.
struct Statements<F>(F);

impl<F: Fn(DbBackend) -> Vec<String> + Sync> Write for Statements<F> {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        for statement in self.0(transaction.get_database_backend()) {
            transaction.execute_unprepared(&statement).await?;
        }
        Ok(())
    }
}

/// The statements that copy the day to another.
#[expect(clippy::too_many_lines, reason = "one list of statements")]
fn copy(backend: DbBackend, to: NaiveDate) -> Vec<String> {
    let postgres = backend == DbBackend::Postgres;
    let from = day();
    let ago = (from - to).num_days();
    let time = |column: &str| {
        if postgres {
            format!("{column} - interval '{ago} days'")
        } else {
            format!("replace({column}, '{from}', '{to}')")
        }
    };
    let json = |column: &str| {
        if postgres {
            format!("replace({column}::text, '{from}', '{to}')::jsonb")
        } else {
            format!("replace({column}, '{from}', '{to}')")
        }
    };
    let date = if postgres {
        format!("date '{to}'")
    } else {
        format!("'{to}'")
    };
    let job = format!("'{to}-' || substr(job_id, 3)");
    let plan = format!("'{to}-1'");
    let of_plan = format!("branch_id = '{ID}' AND plan_id = '{from}-1'");
    let insert = |table: &str, columns: &[(&str, String)], which: &str| {
        let names: Vec<&str> = columns.iter().map(|(name, _)| *name).collect();
        let values: Vec<&str> = columns.iter().map(|(_, value)| value.as_str()).collect();
        format!(
            "INSERT INTO {table} ({}) SELECT {} FROM {table} WHERE {which}",
            names.join(", "),
            values.join(", ")
        )
    };
    macro_rules! columns {
        ($($name:ident $(= $value:expr)?),+ $(,)?) => {
            [$((stringify!($name), columns!(@ $name $(= $value)?))),+]
        };
        (@ $name:ident) => { stringify!($name).to_owned() };
        (@ $name:ident = $value:expr) => { $value };
    }
    vec![
        insert(
            "job",
            &columns![
                branch_id,
                id = format!("'{to}-' || substr(id, 3)"),
                display_name,
                site_id,
                tasks,
                area_ids,
                condition,
                windows = json("windows"),
                first_day = date.clone(),
                last_day = date.clone(),
                priority,
                deadline,
                deadline_source,
                promise,
                skills,
                price_minor,
                note,
                state,
                cancel_reason,
                revision,
                create_time = time("create_time"),
                update_time = time("update_time"),
            ],
            &format!("branch_id = '{ID}' AND id >= 't-' AND id < 't.'"),
        ),
        insert(
            "plan",
            &columns![
                branch_id,
                id = plan.clone(),
                day = date.clone(),
                day_revision,
                state = "'draft'".to_owned(),
                base_plan_id,
                totals,
                seed,
                iterations,
                cause,
                changes,
                sites_to_phone,
                created_by,
                revision,
                create_time = time("create_time"),
                update_time = time("update_time"),
            ],
            &format!("branch_id = '{ID}' AND id = '{from}-1'"),
        ),
        insert(
            "plan_crew_day",
            &columns![
                branch_id,
                plan_id = plan.clone(),
                crew_id,
                crew_display_name,
                depart_time = time("depart_time"),
                return_time = time("return_time"),
                load_taken_litres,
                load_space_litres,
                overtime_seconds,
                exposure,
            ],
            &of_plan,
        ),
        insert(
            "plan_load_out",
            &columns![branch_id, plan_id = plan.clone(), unit_id, crew_id],
            &of_plan,
        ),
        insert(
            "plan_stop",
            &columns![
                branch_id,
                plan_id = plan.clone(),
                job_id = job.clone(),
                crew_id,
                position,
                site_id,
                site_display_name,
                arrive_time = time("arrive_time"),
                start_time = time("start_time"),
                finish_time = time("finish_time"),
                drive_seconds,
                slack_seconds,
                tasks = json("tasks"),
                fixed,
            ],
            &of_plan,
        ),
        format!(
            "UPDATE plan SET state = 'published', publish_time = create_time \
             WHERE branch_id = '{ID}' AND id = {plan}"
        ),
        insert(
            "visit",
            &columns![
                branch_id,
                job_id = job.clone(),
                attempt,
                plan_id = plan,
                crew_id,
                state,
                start_time = time("start_time"),
                finish_time = time("finish_time"),
                pauses,
                resume_times,
                task_actuals,
                bags,
                note,
                not_done_reason,
                walkthroughs,
            ],
            &of_plan,
        ),
    ]
}

/// Events, audit, tags, cases, photographs and services of as many days, in proportion, from the first day on.
#[expect(clippy::too_many_lines, reason = "one list of statements")]
fn beside(backend: DbBackend, first: NaiveDate, days: u32) -> Vec<String> {
    let postgres = backend == DbBackend::Postgres;
    let series = |count: u32| {
        if postgres {
            format!("generate_series(1, {count}) AS s(n)")
        } else {
            format!(
                "(WITH RECURSIVE s(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM s WHERE n < {count}) SELECT n FROM s) s"
            )
        }
    };
    // A moment by its number among so many of a day.
    let moment = |a_day: &str| {
        if postgres {
            format!("timestamptz '{first} 12:00:00+00' + (n / {a_day}) * interval '1 day' * 1.4")
        } else {
            format!(
                "strftime('%Y-%m-%dT%H:%M:%f+00:00', '{first} 12:00:00', (n / {a_day} * 1.4) || ' days')"
            )
        }
    };
    let json = |text: &str| {
        if postgres {
            format!("'{text}'::jsonb")
        } else {
            format!("'{text}'")
        }
    };
    let key = if postgres {
        "lpad(n::text, 64, '0')"
    } else {
        "printf('%064d', n)"
    };
    let events = days * EVENTS_A_DAY;
    let of_events = moment("1000.0");
    let (tags, cases, photos) = (Ord::max(days / 2, 1), days, days * PHOTOS_A_DAY);
    let (truth, falsehood) = if postgres {
        ("true", "false")
    } else {
        ("1", "0")
    };
    let mut all = Vec::new();
    for table in ["outbox_event", "audit_entry"] {
        all.push(format!(
            "UPDATE {table} SET seq = seq + {events} WHERE branch_id = '{ID}'"
        ));
    }
    all.push(format!(
        "UPDATE branch_sequence SET last_seq = last_seq + {events} WHERE branch_id = '{ID}'"
    ));
    all.push(format!(
        "INSERT INTO outbox_event (branch_id, seq, kind, subject, body, at) \
         SELECT '{ID}', n, 'site.changed', 'branches/{ID}/sites/lawn-000', {}, {of_events} FROM {}",
        json(r#"{"id": "lawn-000", "display_name": "Lawn 0", "note": "gate left open"}"#),
        series(events)
    ));
    all.push(format!(
        "INSERT INTO audit_entry (branch_id, seq, at, actor, method, subject, kind, before, after) \
         SELECT '{ID}', n, {of_events}, 'dispatcher', 'forenoon.v1.SiteService/UpdateSite', \
         'branches/{ID}/sites/lawn-000', 'site.changed', {json}, {json} FROM {series}",
        json = json(r#"{"id": "lawn-000", "display_name": "Lawn 0", "note": "gate left open"}"#),
        series = series(events)
    ));
    all.push(format!(
        "INSERT INTO tag_out (branch_id, id, number, unit_id, symptom, description, severity, state, diagnosis, repair, \
         inspection, released_by_id, release_time, forbidden_tasks, revision, create_time, update_time) \
         SELECT '{ID}', 'old-' || n, n, 'spare-' || (n % 20), 'vibration', 'shakes', 'unsafe', 'released', \
         'bent blade', 'new blade', 'runs true', 'moss', {at}, {}, 5, {at}, {at} FROM {}",
        json("[]"),
        series(tags),
        at = moment("0.5")
    ));
    all.push(format!(
        "INSERT INTO site_case (branch_id, id, number, kind, job_id, description, cause, photos, reported_by, closed, \
         resolution, revision, create_time, update_time) \
         SELECT '{ID}', 'old-' || n, n, 'complaint', 't-000', 'grass on the drive', '', {}, '', {truth}, \
         'blown off', 2, {at}, {at} FROM {}",
        json("[]"),
        series(cases),
        at = moment("1.0")
    ));
    all.push(format!(
        "INSERT INTO photo (branch_id, sha256, media_type, size_bytes, create_time) \
         SELECT '{ID}', {key}, 'image/png', 8, {} FROM {}",
        moment("20.0"),
        series(photos)
    ));
    let bytes = if postgres {
        "'12345678'::bytea"
    } else {
        "x'3132333435363738'"
    };
    all.push(format!(
        "INSERT INTO photo_part (branch_id, sha256, position, bytes) SELECT '{ID}', {key}, 0, {bytes} FROM {}",
        series(photos)
    ));
    all.push(format!(
        "INSERT INTO photo_subject (branch_id, sha256, subject, create_time) \
         SELECT '{ID}', {key}, 'branches/{ID}/jobs/old-' || (n / 2), {} FROM {}",
        moment("20.0"),
        series(photos)
    ));
    all.push(format!(
        "INSERT INTO unit_service (branch_id, id, unit_id, mechanic_id, work, effective_hours, service_time, create_time) \
         SELECT branch_id, u.id || '-' || n, u.id, 'moss', 'oil and blade', n * 50.0, {at}, {at} \
         FROM unit u CROSS JOIN {} WHERE u.branch_id = '{ID}' AND u.retired = {falsehood}",
        series(Ord::max(days / 65, 1)),
        at = moment("0.0154")
    ));
    if postgres {
        all.push("ANALYZE".to_owned());
    }
    all
}
