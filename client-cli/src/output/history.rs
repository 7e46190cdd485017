//! A unit's tags and services, and how reliable it is.

use forenoon_proto::v1::{
    GetUnitCostResponse, GetUnitHistoryResponse, ServiceRecord, Symptom, TagOut,
};

use super::clock::{Times, minutes, stretch};
use super::grid::Grid;
use super::{paint, text};
use crate::names::id;
use crate::parse::money;
use crate::parse::word::word_of;

/// Tags and services as rows, newest first in each.
pub fn grid(history: &GetUnitHistoryResponse, times: Times) -> Grid {
    let mut grid = Grid::new(&["what", "when", "until", "by", "words"]);
    for tag in &history.tag_outs {
        grid.row([
            id(&tag.name).to_owned(),
            times.at(tag.create_time.as_ref()),
            times.at(tag.release_time.as_ref()),
            id(&tag.found_by).to_owned(),
            story(tag),
        ]);
    }
    for service in &history.services {
        grid.row([
            "service".to_owned(),
            times.at(service.service_time.as_ref()),
            String::new(),
            id(&service.mechanic).to_owned(),
            service.work.clone(),
        ]);
    }
    grid
}

/// What a unit costs, a figure a row.
pub fn cost_grid(cost: &GetUnitCostResponse) -> Grid {
    let mut grid = Grid::new(&["what", "figure"]);
    let amount = |amount: &Option<_>| amount.as_ref().map(money::show).unwrap_or_default();
    let hours = |hours: f64| format!("{hours:.1}");
    let keep = if cost.replace {
        "replace: its successor costs less than another year of it"
    } else {
        "keep: another year of it costs no more than its successor"
    };
    let service = if cost.service_left_hours < 0.0 {
        format!("overdue by {:.1}", -cost.service_left_hours)
    } else if cost.service_left_hours > 0.0 {
        hours(cost.service_left_hours)
    } else {
        // So the contract tells it.
        "no interval is kept".to_owned()
    };
    for (what, figure) in [
        ("effective hours", hours(cost.effective_hours)),
        ("since the last service", hours(cost.hours_since_service)),
        ("to the next service", service),
        ("age in years", hours(cost.age_years)),
        ("hours a year", hours(cost.hours_a_year)),
        ("repair so far", amount(&cost.repair)),
        ("value now", amount(&cost.value)),
        ("an effective hour", amount(&cost.per_effective_hour)),
        ("best life in years", cost.best_years.to_string()),
        ("another year of it", amount(&cost.next_year)),
        ("a year of its successor", amount(&cost.successor_year)),
        ("verdict", keep.to_owned()),
        ("by", cost.source.clone()),
    ] {
        grid.row([what.to_owned(), figure]);
    }
    grid
}

/// Services as rows.
pub fn service_grid(services: &[ServiceRecord], times: Times) -> Grid {
    let mut grid = Grid::new(&["when", "by", "hours", "work"]);
    for service in services {
        grid.row([
            times.at(service.service_time.as_ref()),
            id(&service.mechanic).to_owned(),
            format!("{:.1}", service.effective_hours),
            service.work.clone(),
        ]);
    }
    grid
}

fn story(tag: &TagOut) -> String {
    let reopened = if tag.reopens.is_empty() {
        String::new()
    } else {
        format!("again after {}: ", id(&tag.reopens))
    };
    let parts = [&tag.description, &tag.diagnosis, &tag.repair];
    let words: Vec<&str> = parts
        .into_iter()
        .map(String::as_str)
        .filter(|words| !words.is_empty())
        .collect();
    format!(
        "{reopened}{}; {}",
        word_of::<Symptom>(tag.symptom),
        words.join("; ")
    )
}

/// The page for people.
pub fn page(unit: &str, history: &GetUnitHistoryResponse, times: Times, width: usize) -> String {
    let mut lines = vec![paint::strong(&format!("UNIT {unit}"))];
    let mut add = |label: &str, words: String| {
        lines.push(format!("  {}{words}", text::fit(label, 22)));
    };
    add(
        "effective hours",
        format!(
            "{:.1}, {:.1} since the last service",
            history.effective_hours, history.hours_since_service
        ),
    );
    add(
        "failures",
        if history.failures == 0 {
            "none".to_owned()
        } else if history.mean_hours_between_failures > 0.0 {
            format!(
                "{}, one in {:.1} effective hours recorded here",
                history.failures, history.mean_hours_between_failures
            )
        } else {
            history.failures.to_string()
        },
    );
    if let Some(mean) = &history.mean_time_to_repair {
        add("out each time", stretch(minutes(Some(mean))));
    }
    lines.push(String::new());
    lines.join("\n") + "\n" + &grid(history, times).table(width)
}

#[cfg(test)]
mod tests {
    use super::super::clock::Clock;
    use super::*;

    #[test]
    fn a_cost_tells_the_verdict_and_where_it_comes_from() {
        let dollars = |units| {
            Some(forenoon_proto::google::r#type::Money {
                currency_code: "USD".into(),
                units,
                nanos: 0,
            })
        };
        let cost = GetUnitCostResponse {
            effective_hours: 1_210.04,
            service_left_hours: -3.5,
            per_effective_hour: dollars(7),
            next_year: dollars(3_100),
            successor_year: dollars(2_400),
            replace: true,
            source: "formulas".into(),
            ..GetUnitCostResponse::default()
        };
        let plain = cost_grid(&cost).plain();
        for line in [
            "effective hours\t1210.0",
            "to the next service\toverdue by 3.5",
            "an effective hour\t$7.00",
            "another year of it\t$3,100.00",
            "verdict\treplace:",
            "by\tformulas",
        ] {
            assert!(plain.contains(line), "missing {line:?} in\n{plain}");
        }
        let unkept = GetUnitCostResponse {
            service_left_hours: 0.0,
            ..cost
        };
        let plain = cost_grid(&unkept).plain();
        assert!(
            plain.contains("to the next service\tno interval is kept"),
            "{plain}"
        );
    }

    #[test]
    fn a_history_tells_tags_services_and_means() {
        let history = GetUnitHistoryResponse {
            tag_outs: vec![TagOut {
                name: "branches/n/tagOuts/t-9".into(),
                symptom: Symptom::Vibration.into(),
                description: "shakes".into(),
                reopens: "branches/n/tagOuts/t-8".into(),
                create_time: Some("2027-04-20T15:10:00Z".parse().unwrap()),
                ..TagOut::default()
            }],
            services: vec![ServiceRecord {
                service_time: Some("2027-04-19T15:10:00Z".parse().unwrap()),
                mechanic: "branches/n/workers/moss".into(),
                work: "oil".into(),
                effective_hours: 120.25,
            }],
            effective_hours: 130.5,
            hours_since_service: 10.25,
            failures: 2,
            mean_hours_between_failures: 65.25,
            mean_time_to_repair: Some(prost_types::Duration {
                seconds: 5_400,
                nanos: 0,
            }),
        };
        let clock = Clock {
            zone: chrono_tz::America::Chicago,
        };
        let page = anstream::adapter::strip_str(&page("m-36", &history, Times::Years(clock), 100))
            .to_string();
        for part in [
            "UNIT m-36",
            "130.5, 10.2",
            "2, one in 65.2",
            "1 h 30",
            "again after t-8",
            "Tue 20 Apr 2027 10:10",
        ] {
            assert!(page.contains(part), "missing {part:?} in\n{page}");
        }
        assert_eq!(
            service_grid(&history.services, Times::Plain(clock)).plain(),
            "2027-04-19T10:10:00-05:00\tmoss\t120.2\toil\n"
        );
        assert!(
            grid(&history, Times::Plain(clock))
                .plain()
                .starts_with("t-9\t2027-04-20T10:10:00-05:00\t\t"),
        );
    }
}
