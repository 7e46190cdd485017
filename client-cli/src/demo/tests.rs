//! What every seed's branch must hold: sound references, fictional numbers, and every kind of work.

mod work;

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use forenoon_proto::google::r#type::{Date, TimeOfDay};
use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::{Capability, Crew, Job, Length, Site, Unit, UnitKind, Worker, length};

use super::{BRANCH_ID, DemoBranch, branch};

const SEEDS: [u64; 4] = [0, 1, 7, u64::MAX];

fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 4, 20).unwrap()
}

/// The records, sorted by kind.
#[derive(Default)]
struct Sorted {
    units: Vec<Unit>,
    crews: Vec<Crew>,
    workers: Vec<Worker>,
    sites: Vec<Site>,
    jobs: Vec<Job>,
}

impl Sorted {
    fn of(demo: DemoBranch) -> Self {
        let mut sorted = Self::default();
        for record in demo.records {
            match record.record.unwrap() {
                Record::Unit(unit) => sorted.units.push(unit),
                Record::Crew(crew) => sorted.crews.push(crew),
                Record::Worker(worker) => sorted.workers.push(worker),
                Record::Site(site) => sorted.sites.push(site),
                Record::Job(job) => sorted.jobs.push(job),
            }
        }
        sorted
    }

    fn each_seed(check: impl Fn(&Self)) {
        for seed in SEEDS {
            check(&Self::of(branch(seed, first_day())));
        }
    }

    fn names(&self) -> Vec<&str> {
        let units = self.units.iter().map(|it| it.name.as_str());
        let crews = self.crews.iter().map(|it| it.name.as_str());
        let workers = self.workers.iter().map(|it| it.name.as_str());
        let sites = self.sites.iter().map(|it| it.name.as_str());
        let jobs = self.jobs.iter().map(|it| it.name.as_str());
        units
            .chain(crews)
            .chain(workers)
            .chain(sites)
            .chain(jobs)
            .collect()
    }

    fn site(&self, job: &Job) -> &Site {
        self.sites
            .iter()
            .find(|site| site.name == job.site)
            .unwrap()
    }
}

fn in_inches(length: Option<&Length>) -> Option<f64> {
    match length?.value? {
        length::Value::Inches(inches) => Some(inches),
        other => panic!("not in inches: {other:?}"),
    }
}

fn day(date: Option<Date>) -> NaiveDate {
    let date = date.unwrap();
    NaiveDate::from_ymd_opt(
        date.year,
        date.month.try_into().unwrap(),
        date.day.try_into().unwrap(),
    )
    .unwrap()
}

fn minutes(time: Option<TimeOfDay>) -> i32 {
    let time = time.unwrap();
    assert!(
        (0..24).contains(&time.hours) && (0..60).contains(&time.minutes),
        "{time:?}"
    );
    time.hours * 60 + time.minutes
}

#[test]
fn a_seed_gives_the_same_branch_and_another_seed_another() {
    assert_eq!(branch(7, first_day()), branch(7, first_day()));
    assert_ne!(branch(7, first_day()), branch(8, first_day()));
}

#[test]
fn there_is_a_full_yard_and_a_full_day() {
    Sorted::each_seed(|all| {
        assert!(all.crews.len() >= 8, "{} crews", all.crews.len());
        assert!(all.units.len() >= 60, "{} units", all.units.len());
        assert!(all.jobs.len() >= 100, "{} jobs", all.jobs.len());
        let mechanics = all.workers.iter().filter(|it| {
            it.roles
                .contains(&forenoon_proto::v1::Role::Mechanic.into())
        });
        assert_eq!(mechanics.count(), 2);
        for crew in &all.crews {
            let size = all
                .workers
                .iter()
                .filter(|worker| worker.crew == crew.name)
                .count();
            assert!((1..=4).contains(&size), "{} has {size} workers", crew.name);
        }
    });
}

#[test]
fn names_are_well_formed_and_unique() {
    Sorted::each_seed(|all| {
        let names = all.names();
        let unique: BTreeSet<&str> = names.iter().copied().collect();
        assert_eq!(unique.len(), names.len());
        for name in names {
            let parts: Vec<&str> = name.split('/').collect();
            let [branches, branch, _, id] = parts[..] else {
                panic!("{name}")
            };
            assert_eq!((branches, branch), ("branches", BRANCH_ID), "{name}");
            check_id(id);
        }
        let serials: BTreeSet<&str> = all
            .units
            .iter()
            .map(|unit| unit.serial_number.as_str())
            .collect();
        assert_eq!(serials.len(), all.units.len());
        let people: BTreeSet<&str> = all
            .workers
            .iter()
            .map(|worker| worker.display_name.as_str())
            .collect();
        assert_eq!(people.len(), all.workers.len());
    });
}

fn check_id(id: &str) {
    assert!(id.len() <= 63, "{id}");
    assert!(
        id.starts_with(|first: char| first.is_ascii_lowercase()),
        "{id}"
    );
    assert!(
        id.chars()
            .all(|each| each.is_ascii_lowercase() || each.is_ascii_digit() || each == '-'),
        "{id}"
    );
}

#[test]
fn references_resolve() {
    Sorted::each_seed(|all| {
        let names: BTreeSet<&str> = all.names().into_iter().collect();
        let resolves = |name: &str| assert!(name.is_empty() || names.contains(name), "{name}");
        let kinds: BTreeMap<&str, UnitKind> = all
            .units
            .iter()
            .map(|unit| (unit.name.as_str(), unit.kind()))
            .collect();
        let mut taken = BTreeSet::new();
        for crew in &all.crews {
            assert_eq!(
                kinds[crew.vehicle.as_str()],
                UnitKind::Vehicle,
                "{}",
                crew.name
            );
            assert!(
                crew.trailer.is_empty() || kinds[crew.trailer.as_str()] == UnitKind::Trailer,
                "{}",
                crew.name
            );
            assert!(
                taken.insert(&crew.vehicle),
                "{} is driven twice",
                crew.vehicle
            );
            assert!(
                crew.trailer.is_empty() || taken.insert(&crew.trailer),
                "{} is drawn twice",
                crew.trailer
            );
        }
        all.workers.iter().for_each(|worker| resolves(&worker.crew));
        for job in &all.jobs {
            let site = all.site(job);
            let areas: BTreeSet<&str> = site
                .areas
                .iter()
                .map(|area| area.area_id.as_str())
                .collect();
            for area_id in job
                .area_ids
                .iter()
                .chain(job.tasks.iter().map(|task| &task.area_id))
            {
                assert!(
                    area_id.is_empty() || areas.contains(area_id.as_str()),
                    "{}: {area_id}",
                    job.name
                );
            }
        }
        for site in &all.sites {
            let areas: BTreeSet<&str> = site
                .areas
                .iter()
                .map(|area| area.area_id.as_str())
                .collect();
            assert_eq!(areas.len(), site.areas.len(), "{}", site.name);
            for id in &areas {
                check_id(id);
            }
            for hazard in &site.hazards {
                assert!(
                    areas.contains(hazard.area_id.as_str()),
                    "{}: {}",
                    site.name,
                    hazard.area_id
                );
            }
            let hazards: BTreeSet<&str> = site
                .hazards
                .iter()
                .map(|hazard| hazard.hazard_id.as_str())
                .collect();
            assert_eq!(hazards.len(), site.hazards.len(), "{}", site.name);
        }
    });
}

#[test]
fn every_attachment_finds_a_powerhead_and_every_coupling_its_heads() {
    Sorted::each_seed(|all| {
        let couplings = |kind: UnitKind| -> BTreeSet<&str> {
            let of_kind = all.units.iter().filter(|unit| unit.kind() == kind);
            of_kind.map(|unit| unit.coupling.as_str()).collect()
        };
        assert_eq!(couplings(UnitKind::Powerhead).len(), 2);
        assert_eq!(
            couplings(UnitKind::Powerhead),
            couplings(UnitKind::Attachment)
        );
        for unit in &all.units {
            let coupled = matches!(unit.kind(), UnitKind::Powerhead | UnitKind::Attachment);
            assert_eq!(coupled, !unit.coupling.is_empty(), "{}", unit.name);
            assert_eq!(
                unit.capabilities.is_empty(),
                unit.kind() == UnitKind::Powerhead,
                "{}",
                unit.name
            );
            let width = in_inches(unit.cutting_width.as_ref());
            let mower = matches!(unit.kind(), UnitKind::WalkMower | UnitKind::RideOnMower);
            assert_eq!(
                mower,
                width.is_some_and(|width| (18.0..=72.0).contains(&width)),
                "{}",
                unit.name
            );
            for absence in &unit.absences {
                assert!(
                    absence.start_time.unwrap().seconds < absence.end_time.unwrap().seconds,
                    "{}",
                    unit.name
                );
            }
        }
        for coupling in couplings(UnitKind::Powerhead) {
            for wanted in [
                Capability::Edger,
                Capability::LineHead,
                Capability::BladeHead,
            ] {
                let there = |unit: &&Unit| {
                    unit.coupling == coupling && unit.capabilities().any(|it| it == wanted)
                };
                assert!(
                    all.units.iter().any(|unit| there(&unit)),
                    "{coupling}: {wanted:?}"
                );
            }
        }
    });
}

#[test]
fn telephone_numbers_are_fictional_and_not_shared() {
    Sorted::each_seed(|all| {
        let of_workers = all.workers.iter().map(|worker| worker.phone.as_str());
        let of_sites = all
            .sites
            .iter()
            .filter_map(|site| site.contact.as_ref())
            .map(|it| it.phone.as_str());
        let promises = all.jobs.iter().filter_map(|job| job.promise.as_ref());
        let of_promises = promises
            .filter_map(|promise| promise.contact.as_ref())
            .map(|it| it.phone.as_str());
        let numbers: Vec<&str> = of_workers.chain(of_sites).chain(of_promises).collect();
        for number in &numbers {
            let line = number.get(3..).unwrap();
            assert!(line.len() == 9 && line.starts_with("-555-01"), "{number}");
            assert!(
                line.bytes().skip(7).all(|digit| digit.is_ascii_digit()),
                "{number}"
            );
        }
        let unique: BTreeSet<&str> = numbers.iter().copied().collect();
        assert_eq!(unique.len(), numbers.len());
    });
}

#[test]
fn shifts_and_windows_hold_together() {
    Sorted::each_seed(|all| {
        for crew in &all.crews {
            let mut shifts: Vec<(i32, i32, i32)> = crew
                .shifts
                .iter()
                .map(|it| (it.day, minutes(it.start_time), minutes(it.end_time)))
                .collect();
            shifts.sort_unstable();
            assert!(
                shifts.iter().all(|(_, start, end)| start < end),
                "{}",
                crew.name
            );
            let overlap = shifts
                .windows(2)
                .any(|pair| pair[0].0 == pair[1].0 && pair[1].1 < pair[0].2);
            assert!(!overlap, "{}", crew.name);
        }
        for job in &all.jobs {
            assert!(!job.windows.is_empty(), "{}", job.name);
            for window in &job.windows {
                assert_eq!(day(window.first_day), first_day(), "{}", job.name);
                assert!(day(window.last_day) >= first_day(), "{}", job.name);
                for times in &window.times {
                    assert!(
                        minutes(times.start_time) < minutes(times.end_time),
                        "{}",
                        job.name
                    );
                }
            }
            if let Some(promise) = &job.promise {
                let at = |time: forenoon_proto::google::r#type::DateTime| {
                    (time.year, time.month, time.day, time.hours, time.minutes)
                };
                let (start, end) = (
                    at(promise.start_time.clone().unwrap()),
                    at(promise.end_time.clone().unwrap()),
                );
                assert!(
                    start < end && (start.0, start.1, start.2) == (end.0, end.1, end.2),
                    "{}",
                    job.name
                );
            }
        }
    });
}
