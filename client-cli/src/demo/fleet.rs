//! The machines and tools of the demo's yard.

mod sorts;

use forenoon_proto::v1::{Absence, Unit};

use super::book::Book;
use super::dice::{Dice, Stream};
use super::measure::{cubic_feet, dollars, inches, instant, later};
use sorts::{SORTS, SPLINE, SQUARE, Sort};

/// Writes the fleet, with its absences on the first day.
pub(super) fn write(book: &mut Book, seed: u64) {
    let mut dice = Dice::new(seed, Stream::Fleet);
    for sort in &SORTS {
        for number in 1..=sort.count {
            let id = format!("{}-{number}", sort.id);
            let mut unit = sort.unit(number, &mut dice);
            unit.absences = absences(book, &id);
            book.unit(&id, unit);
        }
    }
}

impl Sort {
    fn unit(&self, number: u32, dice: &mut Dice) -> Unit {
        let coupling = match self.coupling {
            SQUARE => ", square 26",
            SPLINE => ", spline 24",
            _ => "",
        };
        let run_hours = if self.most_hours == 0 {
            0.0
        } else {
            f64::from(dice.between(20, self.most_hours))
        };
        Unit {
            display_name: format!("{}{coupling}, no. {number}", self.name),
            serial_number: format!("{}-{:03}", self.serial, 100 + 7 * number),
            model: self.model.to_owned(),
            kind: self.kind.into(),
            capabilities: self.capability.map(i32::from).into_iter().collect(),
            coupling: self.coupling.to_owned(),
            cutting_width: some(self.cut).and_then(inches),
            machine_width: some(self.wide).and_then(inches),
            max_slope_percent: self.slope_percent,
            load_space: some(self.takes).and_then(cubic_feet),
            carries: some(self.carries).and_then(cubic_feet),
            bag: some(self.bag).and_then(cubic_feet),
            purchase_price: dollars(self.dollars),
            run_hours,
            service_interval_hours: self.service_hours,
            noise_dba: self.noise_dba,
            vibration: self.vibration,
            ..Unit::default()
        }
    }
}

fn some(value: f64) -> Option<f64> {
    (value > 0.0).then_some(value)
}

/// What is not there on the first day: two mowers on the bench, a blade head being ground until noon, a
/// blower on loan from noon on.
fn absences(book: &Book, id: &str) -> Vec<Absence> {
    let day = book.first_day;
    let away = |from, to, reason: &str| {
        vec![Absence {
            start_time: from,
            end_time: to,
            reason: reason.to_owned(),
        }]
    };
    match id {
        "walk-36-5" => away(
            instant(day, 0, 0),
            instant(later(day, 2), 12, 0),
            "yearly service",
        ),
        "bag-21-2" => away(
            instant(day, 0, 0),
            instant(later(day, 1), 0, 0),
            "new drive belt, part on its way",
        ),
        "blade-sp-1" => away(
            instant(day, 0, 0),
            instant(day, 12, 0),
            "blade being ground",
        ),
        "blower-9" => away(
            instant(day, 12, 0),
            instant(later(day, 1), 0, 0),
            "lent to the school board",
        ),
        _ => Vec::new(),
    }
}
