//! What the day's work must hold for every seed.

use forenoon_proto::google::r#type::LatLng;
use forenoon_proto::v1::{AreaKind, Clippings, Job, Site, TaskKind, UnitKind};

use super::{Sorted, in_inches};

#[test]
fn the_day_has_work_of_every_kind() {
    Sorted::each_seed(|all| {
        let jobs = |wanted: &dyn Fn(&Job, &Site) -> bool| {
            all.jobs
                .iter()
                .filter(|job| wanted(job, all.site(job)))
                .count()
        };
        let has_area =
            |site: &Site, kind: AreaKind| site.areas.iter().any(|area| area.kind() == kind);
        let stems = |job: &Job| {
            job.condition
                .as_ref()
                .and_then(|it| in_inches(it.stem_thickness.as_ref()))
                .unwrap_or(0.0)
        };
        assert!(
            jobs(&|job, _| job.deadline.is_some() && job.promise.is_some()) >= 1,
            "deadline with a walkthrough"
        );
        assert!(
            jobs(&|job, site| has_area(site, AreaKind::Brush) && stems(job) >= 0.5) >= 5,
            "brush"
        );
        assert!(
            jobs(&|_, site| site.quiet_until.is_some()) >= 3,
            "quiet hours"
        );
        assert!(jobs(&|_, site| site.sensitive) >= 3, "glass and cars");
        assert!(jobs(&|job, _| job.promise.is_some()) >= 4, "promises");
        assert!(
            jobs(&|_, site| site.areas.iter().any(|area| area.slope_percent >= 15.0)) >= 6,
            "slopes"
        );
        assert!(
            jobs(&|_, site| site.clippings() == Clippings::TakeAway) >= 8,
            "clippings"
        );
        assert!(
            jobs(&|job, _| job.tasks.is_empty()) > all.jobs.len() / 2,
            "left to the trade's rules"
        );
        assert!(
            jobs(&|job, _| job
                .tasks
                .iter()
                .any(|task| task.kind() == TaskKind::CutBrush))
                >= 2,
            "agreed brush"
        );
        assert!(
            jobs(&|job, _| job.display_name.starts_with("Return:")) == 6,
            "returns"
        );
    });
}

#[test]
fn some_gates_stop_the_wide_decks_only_and_one_stops_all() {
    Sorted::each_seed(|all| {
        let walk = all
            .units
            .iter()
            .filter(|unit| unit.kind() == UnitKind::WalkMower);
        let widths: Vec<f64> = walk
            .filter_map(|unit| in_inches(unit.machine_width.as_ref()))
            .collect();
        let gates: Vec<f64> = all
            .sites
            .iter()
            .flat_map(|site| &site.areas)
            .filter_map(|area| in_inches(area.narrowest_gate.as_ref()))
            .collect();
        let pass = |gate: f64| widths.iter().filter(|&&width| width <= gate).count();
        let some_pass = gates
            .iter()
            .filter(|&&gate| pass(gate) > 0 && pass(gate) < widths.len())
            .count();
        assert!(some_pass >= 8, "{some_pass}");
        assert_eq!(gates.iter().filter(|&&gate| pass(gate) == 0).count(), 1);
    });
}

#[test]
fn places_lie_within_a_town() {
    Sorted::each_seed(|all| {
        let yard = crate::demo::yard().yard.unwrap();
        for site in &all.sites {
            let LatLng {
                latitude,
                longitude,
            } = site.location.unwrap();
            let (north, east) = (
                (latitude - yard.latitude) * 111.2,
                (longitude - yard.longitude) * 82.4,
            );
            assert!(
                north.hypot(east) < 8.0,
                "{}: {north} km north, {east} km east",
                site.name
            );
        }
    });
}
