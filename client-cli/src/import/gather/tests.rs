//! A small branch written by hand, right and wrong.

use std::path::PathBuf;

use forenoon_proto::v1::length::Value;
use forenoon_proto::v1::{Clippings, TaskKind};

use super::*;
use crate::import::read;

fn context() -> Context {
    Context {
        branch: "branches/north".into(),
        currency: "USD".into(),
        zone: chrono_tz::America::Chicago,
    }
}

fn gather_files(files: &[(&str, &str)]) -> (Gathered, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let (tables, mut faults) = read(&[PathBuf::from(folder.path())]).unwrap();
    let gathered = gather(&tables, &context());
    faults.extend(gathered.faults.clone());
    let said = faults
        .iter()
        .map(|fault| {
            let place = fault.place.to_string();
            let file = place.rsplit('/').next().unwrap_or_default();
            format!("{file}: {}", fault.reason)
        })
        .collect();
    (gathered, said)
}

const SITES: &str =
    "site_id,display_name,latitude,longitude,clippings,quiet_until,contact_name,sensitive
alder,Alder house,41.5,-90.5,take away,08:30,Mrs Finch,yes
";

#[test]
fn rows_join_into_records() {
    let (gathered, faults) = gather_files(&[
        ("sites.csv", SITES),
        (
            "areas.csv",
            "site_id,area_id,kind,surface,narrowest_gate\nalder,back,turf,0.25 ac,36 in\nalder,front,turf,900 sqft,\n",
        ),
        (
            "jobs.csv",
            "job_id,display_name,site,priority,deadline,turf_height,price\nj1,First cut,alder,5,2027-04-20 17:00,40 in,$70\n",
        ),
        (
            "visit_windows.csv",
            "job_id,first_day,times\nj1,2027-04-20,08:00-12:00; 13:00-17:00\n",
        ),
        (
            "tasks.json",
            r#"[{"job_id": "j1", "task_id": "t1", "kind": "mow", "capabilities": ["mower"], "passes": 2}]"#,
        ),
        (
            "crews.csv",
            "crew_id,display_name,vehicle,overtime_allowed\nbluestem,Bluestem,v-1,45 min\n",
        ),
        (
            "shifts.csv",
            "crew_id,day,start_time,end_time\nbluestem,mon-fri,06:30,15:00\n",
        ),
        (
            "units.csv",
            "unit_id,display_name,serial_number,kind,carries\nv-1,Truck 1,S1,vehicle,500 cuft\n",
        ),
        (
            "absences.csv",
            "unit_id,start_time,end_time\nv-1,2027-04-21 07:00,2027-04-21 12:00\n",
        ),
        (
            "workers.csv",
            "worker_id,display_name,crew,roles\nw1,Ada Reed,bluestem,crew-lead; mechanic\n",
        ),
    ]);
    assert_eq!(faults, Vec::<String>::new());
    let mut records = gathered
        .records
        .into_iter()
        .map(|record| record.record.unwrap());
    let Some(Record::Unit(unit)) = records.next() else {
        panic!("the unit comes first")
    };
    assert_eq!(unit.name, "branches/north/units/v-1");
    // Chicago is five hours behind UTC in April.
    assert_eq!(
        unit.absences[0].start_time.unwrap().to_string(),
        "2027-04-21T12:00:00Z"
    );
    let Some(Record::Crew(crew)) = records.next() else {
        panic!("then the crew")
    };
    assert_eq!(crew.shifts.len(), 5);
    assert_eq!(crew.vehicle, "branches/north/units/v-1");
    assert_eq!(crew.overtime_allowed.unwrap().seconds, 2700);
    let Some(Record::Worker(worker)) = records.next() else {
        panic!("then the worker")
    };
    assert_eq!(worker.roles.len(), 2);
    let Some(Record::Site(site)) = records.next() else {
        panic!("then the site")
    };
    assert_eq!(site.clippings(), Clippings::TakeAway);
    assert_eq!(site.quiet_until.unwrap().hours, 8);
    assert_eq!(
        site.areas[0].narrowest_gate.unwrap().value,
        Some(Value::Inches(36.0))
    );
    assert_eq!(site.areas[1].narrowest_gate, None);
    let Some(Record::Job(job)) = records.next() else {
        panic!("then the job")
    };
    assert_eq!(job.site, "branches/north/sites/alder");
    assert_eq!(job.windows[0].last_day, job.windows[0].first_day);
    assert_eq!(job.windows[0].times.len(), 2);
    assert_eq!(job.tasks[0].kind(), TaskKind::Mow);
    assert_eq!(job.price.unwrap().units, 70);
    assert!(job.promise.is_none());
    assert!(records.next().is_none());
}

#[test]
fn every_bad_cell_of_every_file_is_told_with_its_place() {
    let (_, faults) = gather_files(&[
        (
            "sites.csv",
            "site_id,display_name,latitude,longitude,quiet_until\nalder,Alder,91x,-90,8 am\nalder,Twin,41,-90,\n,No id,41,,\n",
        ),
        (
            "areas.csv",
            "site_id,area_id,kind,surface\nalder,back,lawn,900\nelm,front,turf,900 sqft\n",
        ),
        (
            "jobs.csv",
            "job_id,display_name,site,price,wet\nj1,Mow,alder,EUR 5,soaked\n",
        ),
        (
            "shifts.csv",
            "crew_id,day,start_time,end_time\nbluestem,mon-fri,06:30,15:00\n",
        ),
        ("crews.csv", "crew_id,display_name\nsedge,Sedge\n"),
        ("unit.csv", "unit_id\nu1\n"),
    ]);
    let told = faults.join("\n");
    for line in [
        "unit.csv: is named after no table; is units.csv meant?",
        "sites.csv:4 site_id: is empty; fill in: id: a lower-case letter, then letters, digits, hyphens",
        "sites.csv:4 longitude: is empty; fill in: degrees east; negative is west",
        "sites.csv:2 latitude: \"91x\" is not a number; write one like 12 or 12.5",
        "sites.csv:2 quiet_until: \"8 am\" is not a time of day; write it like 06:30",
        "areas.csv:2 kind: \"lawn\" is none of: turf, hard-edge, brush, bed, hard-surface",
        "areas.csv:2 surface: \"900\" has no unit; write it like \"12000 sqft\" or \"0.25 ac\"",
        "areas.csv:3 site_id: there is no \"elm\" in sites; a row of areas comes together with the one it belongs to",
        "jobs.csv:2 price: \"EUR 5\" is not in USD, the branch's currency",
        "jobs.csv:2 wet: \"soaked\" is neither yes nor no; write one of them",
        "jobs.csv:2 job_id: \"j1\" has no window, in jobs or in visit_windows; say when it may be done",
        "shifts.csv:2 crew_id: there is no \"bluestem\" in crews; a row of shifts comes together with the one it \
         belongs to",
    ] {
        assert!(told.contains(line), "missing: {line}\nin:\n{told}");
    }
    assert!(
        told.contains("sites.csv:3 site_id: \"alder\" stands at "),
        "{told}"
    );
    assert_eq!(faults.len(), 13, "{told}");
}

#[test]
fn a_wrong_time_is_one_fault_for_all_days_of_its_row() {
    let (_, faults) = gather_files(&[
        ("crews.csv", "crew_id,display_name\nsedge,Sedge\n"),
        (
            "shifts.csv",
            "crew_id,day,start_time,end_time\nsedge,mon-fri,6,15:00\nsedge,someday,06:00,15:00\n",
        ),
    ]);
    assert_eq!(
        faults,
        [
            "shifts.csv:2 start_time: \"6\" is not a time of day; write it like 06:30",
            "shifts.csv:3 day: \"someday\" is no day of the week; write it like mon or monday",
        ]
    );
}

#[test]
fn a_decimal_comma_is_a_fault_at_its_cell() {
    let (_, faults) = gather_files(&[
        (
            "sites.csv",
            "site_id,display_name,latitude,longitude\nalder,Alder house,\"41,5\",-90.5\n",
        ),
        (
            "areas.csv",
            "site_id,area_id,kind,surface,narrowest_gate\nalder,back,turf,\"0,25 ac\",\"1,200 ft\"\n",
        ),
        (
            "jobs.csv",
            "job_id,display_name,site,window,priority,price\nj1,Mow,alder,2027-04-20,\"3,0\",\"70,50\"\n",
        ),
        (
            "tasks.json",
            r#"[{"job_id": "j1", "task_id": "t1", "kind": "mow", "agreed_minutes": "22,5"}]"#,
        ),
        (
            "crews.csv",
            "crew_id,display_name,overtime_allowed\nsedge,Sedge,\"1,5 h\"\n",
        ),
    ]);
    let wrong = "cannot be read for certain; write decimals with a point, like 70.50, and thousands like \
                 1,250 or 1250";
    let expected = [
        "crews.csv:2 overtime_allowed: \"1,5 h\"",
        "sites.csv:2 latitude: \"41,5\"",
        "areas.csv:2 surface: \"0,25 ac\"",
        "jobs.csv:2 priority: \"3,0\"",
        "jobs.csv:2 price: \"70,50\"",
        "tasks.json:1 agreed_minutes: \"22,5\"",
    ]
    .map(|place| format!("{place} {wrong}"));
    assert_eq!(faults, expected);
}

#[test]
fn server_faults_of_a_part_come_back_to_its_own_row() {
    let (gathered, _) = gather_files(&[
        ("sites.csv", SITES),
        (
            "areas.csv",
            "site_id,area_id,kind,surface\nalder,back,turf,900 sqft\nalder,front,turf,0 sqft\n",
        ),
    ]);
    let fault = gathered.origins[0].fault("site.areas[1].surface.square_feet", "must be above 0");
    assert_eq!(fault.place.line, 3);
    assert_eq!(fault.place.column, "surface");
    assert_eq!(fault.reason, "square_feet: must be above 0");
    assert_eq!(
        gathered.origins[0]
            .fault("site.name", "is no id")
            .place
            .column,
        "site_id"
    );
}
