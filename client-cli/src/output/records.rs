//! Branches, plans and visits as rows.

use forenoon_proto::v1::{Branch, NoiseCriterion, Plan, PlanState, UnitSystem, Visit, VisitState};

use super::clock::{Times, day_plain, day_words, minutes};
use super::grid::Grid;
use crate::names::id;
use crate::parse::money;
use crate::parse::word::word_of;

/// Branches as rows.
pub fn branches(branches: &[Branch]) -> Grid {
    let mut grid = Grid::new(&["branch", "name", "time zone", "currency", "units"]);
    for branch in branches {
        grid.row([
            id(&branch.name).to_owned(),
            branch.display_name.clone(),
            branch.time_zone.clone(),
            branch.currency_code.clone(),
            word_of::<UnitSystem>(branch.unit_system),
        ]);
    }
    grid
}

/// One branch, a row for each setting.
pub fn branch(branch: &Branch) -> Grid {
    let mut grid = Grid::new(&["setting", "value"]);
    let mut row = |setting: &str, value: String| grid.row([setting.to_owned(), value]);
    row("branch", id(&branch.name).to_owned());
    row("name", branch.display_name.clone());
    row("time zone", branch.time_zone.clone());
    row("currency", branch.currency_code.clone());
    row("units", word_of::<UnitSystem>(branch.unit_system));
    if let Some(yard) = &branch.yard {
        row(
            "yard",
            format!("{:.6}, {:.6}", yard.latitude, yard.longitude),
        );
    }
    if let Some(travel) = &branch.travel {
        row("road factor", travel.road_factor.to_string());
        row("speed", format!("{} km/h", travel.kilometres_per_hour));
        row(
            "added to every drive",
            format!("{} s", travel.seconds_per_stop),
        );
    }
    if let Some(price) = &branch.price {
        let amount = |money: &Option<_>| money.as_ref().map(money::show).unwrap_or_default();
        row("labour per hour", amount(&price.labour_per_hour));
        row("overhead", percent(price.overhead_basis_points));
        row("margin", percent(price.margin_basis_points));
        row("minimum charge", amount(&price.minimum_charge));
        row("disposal per bag", amount(&price.disposal_per_bag));
    }
    if let Some(rule) = &branch.exposure {
        row(
            "noise",
            format!(
                "by the {}; act from {} %, limit {} % of a day",
                word_of::<NoiseCriterion>(rule.noise_criterion),
                rule.noise_action_percent,
                rule.noise_limit_percent
            ),
        );
        row(
            "hearing protection",
            format!("{} dB taken off", rule.hearing_protection_decibels),
        );
        row(
            "vibration",
            format!(
                "act from {} m/s2, limit {} m/s2 A(8)",
                rule.vibration_action, rule.vibration_limit
            ),
        );
        let planned = if rule.plan_within_limits {
            "weighed in plans"
        } else {
            "told, not weighed in plans"
        };
        row("exposure limits", planned.to_owned());
    }
    grid
}

/// Hundredths of a percent as percent.
fn percent(basis_points: i32) -> String {
    format!("{}.{:02} %", basis_points / 100, basis_points.abs() % 100)
}

/// Plans as rows.
pub fn plans(plans: &[Plan], times: Times) -> Grid {
    let mut grid = Grid::new(&[
        "plan",
        "day",
        "revision",
        "state",
        "planned",
        "unplanned",
        "overtime min",
        "cost points",
        "made",
        "published",
        "from",
    ]);
    for plan in plans {
        let totals = plan.totals.unwrap_or_default();
        grid.row([
            id(&plan.name).to_owned(),
            day_plain(plan.day.as_ref()),
            plan.revision.to_string(),
            word_of::<PlanState>(plan.state),
            totals.planned_jobs.to_string(),
            totals.unplanned_jobs.to_string(),
            minutes(totals.overtime.as_ref()).to_string(),
            totals.cost_points.to_string(),
            times.at(plan.create_time.as_ref()),
            times.at(plan.publish_time.as_ref()),
            id(&plan.base_plan).to_owned(),
        ]);
    }
    grid
}

/// One line about a plan whose state changed.
pub fn plan_line(plan: &Plan) -> String {
    let totals = plan.totals.unwrap_or_default();
    format!(
        "{} {}: {}, {} jobs planned, {} not\n",
        id(&plan.name),
        word_of::<PlanState>(plan.state),
        day_words(plan.day.as_ref()),
        totals.planned_jobs,
        totals.unplanned_jobs,
    )
}

/// Visits as rows.
pub fn visits(visits: &[Visit], times: Times) -> Grid {
    let mut grid = Grid::new(&[
        "job", "crew", "start", "finish", "minutes", "bags", "note", "state", "arrive", "paused",
        "why not",
    ]);
    for visit in visits {
        let length = visit
            .start_time
            .as_ref()
            .zip(visit.finish_time.as_ref())
            .map(|(start, finish)| ((finish.seconds - start.seconds + 30) / 60).to_string());
        grid.row([
            id(&visit.job).to_owned(),
            id(&visit.crew).to_owned(),
            times.at(visit.start_time.as_ref()),
            times.at(visit.finish_time.as_ref()),
            length.unwrap_or_default(),
            visit.bags.to_string(),
            visit.note.clone(),
            word_of::<VisitState>(visit.state),
            times.at(visit.arrive_time.as_ref()),
            minutes(visit.paused.as_ref()).to_string(),
            visit.not_done_reason.clone(),
        ]);
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::super::clock::Clock;
    use super::*;

    #[test]
    fn a_visit_under_way_has_no_length_yet() {
        let clock = Clock {
            zone: chrono_tz::America::Chicago,
        };
        let visit = Visit {
            job: "branches/n/jobs/j1".into(),
            crew: "branches/n/crews/sedge".into(),
            start_time: Some("2027-04-20T13:00:00Z".parse().unwrap()),
            ..Visit::default()
        };
        let done = Visit {
            finish_time: Some("2027-04-20T13:42:40Z".parse().unwrap()),
            bags: 3,
            state: VisitState::Done.into(),
            ..visit.clone()
        };
        assert_eq!(
            visits(&[visit, done], Times::Plain(clock)).plain(),
            "j1\tsedge\t2027-04-20T08:00:00-05:00\t\t\t0\t\t\t\t0\t\n\
             j1\tsedge\t2027-04-20T08:00:00-05:00\t2027-04-20T08:42:40-05:00\t43\t3\t\tdone\t\t0\t\n"
        );
        assert_eq!(percent(1550), "15.50 %");
    }
}
