//! Cases as rows.

use forenoon_proto::v1::{Case, CaseKind};

use super::clock::Times;
use super::grid::Grid;
use crate::names::id;
use crate::parse::word::word_of;

/// Cases as rows.
pub fn cases(cases: &[Case], times: Times) -> Grid {
    let mut grid = Grid::new(&[
        "case", "kind", "job", "opened", "what", "cause", "by", "hazard", "return", "closed",
    ]);
    for case in cases {
        grid.row([
            id(&case.name).to_owned(),
            word_of::<CaseKind>(case.kind),
            id(&case.job).to_owned(),
            times.at(case.create_time.as_ref()),
            case.description.clone(),
            case.cause.clone(),
            case.reported_by.clone(),
            case.hazard_id.clone(),
            id(&case.return_job).to_owned(),
            case.resolution.clone(),
        ]);
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::super::clock::Clock;
    use super::*;

    #[test]
    fn a_case_tells_what_came_of_it() {
        let clock = Clock {
            zone: chrono_tz::America::Chicago,
        };
        let case = Case {
            name: "branches/n/cases/c-7".into(),
            kind: CaseKind::Callback.into(),
            job: "branches/n/jobs/j-1".into(),
            description: "strip left".into(),
            cause: "mower too wide".into(),
            create_time: Some("2027-04-20T15:10:00Z".parse().unwrap()),
            return_job: "branches/n/jobs/return-7".into(),
            ..Case::default()
        };
        let plain = cases(&[case], Times::Plain(clock)).plain();
        let cells: Vec<&str> = plain.trim_end_matches('\n').split('\t').collect();
        assert_eq!(cells.len(), 10);
        assert_eq!(cells[..3], ["c-7", "callback", "j-1"]);
        assert_eq!(cells[3], "2027-04-20T10:10:00-05:00");
        assert_eq!(cells[8..], ["return-7", ""]);
    }
}
