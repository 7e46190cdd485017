//! Faults of data, each with its place.

use super::grid::Grid;
use crate::import::fault::Fault;

/// Faults as rows, in the order of files, lines and columns.
pub fn grid(faults: &[Fault]) -> Grid {
    let mut sorted: Vec<&Fault> = faults.iter().collect();
    sorted.sort_by(|left, right| left.place.cmp(&right.place));
    let mut grid = Grid::new(&["file", "line", "column", "reason"]);
    for fault in sorted {
        let place = &fault.place;
        let number = |number: u64| {
            if number == 0 {
                String::new()
            } else {
                number.to_string()
            }
        };
        let column = match (place.column.as_str(), place.column_number) {
            ("", 0) => String::new(),
            ("", number) => number.to_string(),
            (name, 0) => name.to_owned(),
            (name, number) => format!("{name} ({number})"),
        };
        grid.row([
            place.file.to_string(),
            number(place.line),
            column,
            fault.reason.clone(),
        ]);
    }
    grid
}

/// Faults as JSON.
pub fn json(faults: &[Fault]) -> String {
    let list: Vec<_> = faults
        .iter()
        .map(|fault| {
            serde_json::json!({
                "file": &*fault.place.file,
                "line": fault.place.line,
                "column": fault.place.column,
                "columnNumber": fault.place.column_number,
                "reason": fault.reason,
            })
        })
        .collect();
    format!("{:#}\n", serde_json::json!({ "faults": list }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::import::fault::Place;

    #[test]
    fn faults_come_in_the_order_of_their_places() {
        let file = "units.csv".into();
        let cell = Place {
            column: "kind".into(),
            column_number: 3,
            ..Place::line(&file, 2)
        };
        let faults = [
            Fault::new(Place::line(&file, 10), "too short"),
            Fault::new(cell, "no such kind"),
            Fault::new(Place::file(&file), "is odd"),
        ];
        assert_eq!(
            grid(&faults).plain(),
            "units.csv\t\t\tis odd\nunits.csv\t2\tkind (3)\tno such kind\nunits.csv\t10\t\ttoo short\n"
        );
        let value: serde_json::Value = serde_json::from_str(&json(&faults)).unwrap();
        assert_eq!(value["faults"][1]["columnNumber"], 3);
    }
}
