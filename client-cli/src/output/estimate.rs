//! An estimate with its working, line by line: a quote one could defend.

use forenoon_proto::v1::{Estimate, TaskEstimate, TaskKind};

use super::grid::Grid;
use super::measure::figure;
use super::{exposure, paint, text};
use crate::names::ids;
use crate::parse::money;
use crate::parse::word::{phrase_of, word_of};

/// Columns for a label of the working.
const LABEL_WIDTH: usize = 34;
/// Columns for an amount.
const AMOUNT_WIDTH: usize = 12;

/// The page.
pub fn page(title: &str, estimate: &Estimate, width: usize) -> String {
    let mut lines = Vec::new();
    let crew = format!(
        "{} on site",
        text::count(
            usize::try_from(estimate.crew_size).unwrap_or_default(),
            "worker"
        )
    );
    lines.push(paint::strong(&text::ends(title, &crew, width)));
    lines.push(format!(
        "Time on site: {} min, half of all visits take no longer; nine in ten are done within {} min.",
        figure(tenth(estimate.median_minutes)),
        figure(tenth(estimate.ninth_decile_minutes)),
    ));
    lines.push(format!(
        "A plan sets aside {} min for it.",
        figure(tenth(estimate.planned_minutes))
    ));
    for notice in &estimate.notices {
        lines.extend(
            text::hanging("  ! ", notice, width)
                .iter()
                .map(|line| paint::heed(line)),
        );
    }
    lines.push(String::new());
    lines.push(paint::strong("THE WORK, IN ITS ORDER"));
    for (index, task) in estimate.tasks.iter().enumerate() {
        task_lines(index + 1, task, width, &mut lines);
    }
    price(estimate, &mut lines);
    if let Some(told) = &estimate.exposure {
        lines.push(String::new());
        lines.push(paint::strong("EXPOSURE"));
        lines.extend(exposure::words("    ", told, width));
        lines.extend(exposure::working(told, width));
    }
    if !estimate.cautions.is_empty() {
        lines.push(String::new());
        lines.push(paint::strong("CARE"));
        for caution in &estimate.cautions {
            lines.extend(text::hanging("  - ", caution, width));
        }
    }
    lines.push(String::new());
    lines.push(paint::faint(
        "It informs; it certifies nothing. Local codes and the makers' manuals decide.",
    ));
    lines.join("\n") + "\n"
}

/// Minutes to a tenth.
fn tenth(minutes: f64) -> f64 {
    (minutes * 10.0).round() / 10.0
}

fn task_lines(number: usize, task: &TaskEstimate, width: usize, lines: &mut Vec<String>) {
    let wanted = task.task.as_ref();
    let mut what = phrase_of::<TaskKind>(wanted.map_or(0, |task| task.kind));
    if let Some(wanted) = wanted {
        if !wanted.area_id.is_empty() {
            text::add(&mut what, format_args!(", {}", wanted.area_id));
        }
        if wanted.passes > 1 {
            text::add(&mut what, format_args!(", {} passes", wanted.passes));
        }
    }
    if !task.units.is_empty() {
        text::add(
            &mut what,
            format_args!(", with {}", ids(&task.units, " + ")),
        );
    }
    let minutes = format!("{:.1} min", task.median_minutes);
    lines.push(text::ends(&format!("{number:>2}  {what}"), &minutes, width));
    if !task.learned.is_empty() {
        lines.extend(text::hanging("      ", &task.learned, width));
    }
    for factor in &task.factors {
        let source = if factor.source.is_empty() {
            String::new()
        } else {
            format!("  [{}]", factor.source)
        };
        let first = format!("      {} ", text::fit(&factor.label, LABEL_WIDTH));
        let words = text::hanging(&first, &format!("{}{source}", factor.value), width);
        lines.extend(words.iter().map(|line| paint::faint(line)));
    }
}

fn price(estimate: &Estimate, lines: &mut Vec<String>) {
    let Some(price) = &estimate.price else {
        return;
    };
    lines.push(String::new());
    lines.push(paint::strong("THE PRICE"));
    let amount = |label: &str, amount: &str| {
        format!(
            "    {}{amount:>AMOUNT_WIDTH$}",
            text::fit(label, LABEL_WIDTH)
        )
    };
    for line in &estimate.price_lines {
        lines.push(amount(
            &line.label,
            &line.amount.as_ref().map(money::show).unwrap_or_default(),
        ));
    }
    lines.push(format!("    {}", "─".repeat(LABEL_WIDTH + AMOUNT_WIDTH)));
    lines.push(paint::strong(&amount("price", &money::show(price))));
    if let Some(earned) = &estimate.earned_per_worker_hour {
        lines.push(amount(
            "earned by an hour of one worker",
            &money::show(earned),
        ));
    }
}

/// The working as rows: one for each line of each task, then the price.
pub fn grid(estimate: &Estimate) -> Grid {
    let mut grid = Grid::new(&["part", "number", "what", "label", "value", "source"]);
    for (index, task) in estimate.tasks.iter().enumerate() {
        let kind = word_of::<TaskKind>(task.task.as_ref().map_or(0, |task| task.kind));
        let number = (index + 1).to_string();
        let mut row = |label: &str, value: &str, source: &str| {
            grid.row(["work", &number, &kind, label, value, source].map(str::to_owned));
        };
        row("median minutes", &format!("{:.2}", task.median_minutes), "");
        for factor in &task.factors {
            row(&factor.label, &factor.value, &factor.source);
        }
        if !task.learned.is_empty() {
            row("learned", &task.learned, "");
        }
    }
    let mut row = |part: &str, label: &str, value: &str| {
        grid.row([part, "", "", label, value, ""].map(str::to_owned));
    };
    row(
        "time",
        "median minutes",
        &format!("{:.2}", estimate.median_minutes),
    );
    row(
        "time",
        "ninth decile minutes",
        &format!("{:.2}", estimate.ninth_decile_minutes),
    );
    row(
        "time",
        "planned minutes",
        &format!("{:.2}", estimate.planned_minutes),
    );
    row(
        "time",
        "waiting minutes",
        &format!("{:.2}", estimate.waiting_minutes),
    );
    if let Some(told) = &estimate.exposure {
        for (label, value) in [
            ("noise dose percent", told.noise_dose_percent),
            ("regulation dose percent", told.regulation_dose_percent),
            (
                "recommendation dose percent",
                told.recommendation_dose_percent,
            ),
            ("vibration m/s2", told.vibration),
            ("vibration points", told.vibration_points),
        ] {
            row("exposure", label, &format!("{value:.2}"));
        }
    }
    for line in &estimate.price_lines {
        row(
            "price",
            &line.label,
            &line.amount.as_ref().map(money::show).unwrap_or_default(),
        );
    }
    if let Some(price) = &estimate.price {
        row("price", "price", &money::show(price));
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::*;
    use forenoon_proto::google::r#type::Money;
    use forenoon_proto::v1::{Exposure, Factor, PriceLine, Task};

    fn dollars(units: i64) -> Money {
        Money {
            currency_code: "USD".into(),
            units,
            nanos: 0,
        }
    }

    #[test]
    fn every_line_of_the_working_is_there_with_its_source() {
        let estimate = Estimate {
            tasks: vec![TaskEstimate {
                task: Some(Task {
                    kind: TaskKind::SecondPass.into(),
                    area_id: "front".into(),
                    passes: 2,
                    ..Task::default()
                }),
                units: vec!["branches/n/units/m-36".into()],
                median_minutes: 12.34,
                log_deviation: 0.2,
                factors: vec![Factor {
                    label: "width through the gate".into(),
                    value: "36 in".into(),
                    source: "site record".into(),
                }],
                learned: "rate 11 min; this site x1.12 from 6 visits".into(),
            }],
            median_minutes: 27.46,
            ninth_decile_minutes: 35.0,
            crew_size: 1,
            price_lines: vec![PriceLine {
                label: "labour".into(),
                amount: Some(dollars(18)),
            }],
            price: Some(dollars(70)),
            earned_per_worker_hour: Some(dollars(153)),
            notices: vec!["Too tall for one cut.".into()],
            cautions: vec!["Eye protection.".into()],
            exposure: Some(Exposure {
                text: "One worker: noise 31 % of a day's dose.".into(),
                caution: "For planning only.".into(),
                ..Exposure::default()
            }),
            planned_minutes: 26.71,
            waiting_minutes: 0.0,
        };
        let page = anstream::adapter::strip_str(&page("First cut", &estimate, 80)).to_string();
        for part in [
            "First cut                                                       1 worker on site",
            "Time on site: 27.5 min",
            "within 35 min",
            "! Too tall for one cut.",
            "A plan sets aside 26.7 min",
            "this site x1.12 from 6 visits",
            "One worker: noise 31 %",
            "For planning only.",
            " 1  second pass, front, 2 passes, with m-36                             12.3 min",
            "width through the gate             36 in  [site record]",
            "labour                                  $18.00",
            "price                                   $70.00",
            "earned by an hour of one worker        $153.00",
            "- Eye protection.",
            "certifies nothing",
        ] {
            assert!(page.contains(part), "missing {part:?} in\n{page}");
        }
        assert_eq!(
            grid(&estimate).plain().lines().nth(1),
            Some("work\t1\tsecond-pass\twidth through the gate\t36 in\tsite record")
        );
    }
}
