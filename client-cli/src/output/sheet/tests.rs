//! The sheet of the fixed day.

use forenoon_proto::v1::{CrewBreak, SharedUnit};

use super::super::fixture;
use super::*;

fn stripped(width: usize) -> String {
    let text = sheet(&fixture::sheet(), &fixture::plan(), fixture::CLOCK, width);
    anstream::adapter::strip_str(&text).to_string()
}

#[test]
fn a_crew_lead_finds_everything_on_one_page() {
    let page = stripped(96);
    for part in [
        "BLUESTEM",
        "Ada Reed, Bo Lane",
        "Leave 06:50, back 11:10, 2 stops, 20 min over the shift",
        "180 cu ft of 500 cu ft taken",
        "[ ] Walk mower 36  no. WM-8812",
        "LIMITED: no tall grass until the belt is replaced",
        " 1  07:05-08:00  Alder house",
        "drive 15 min",
        "      Weekly mowing · 12 Alder Lane, Larkmoor\n",
        "!! HAZARD  Steel pipe sticks out of the turf by the west gate (back)",
        "MEET       Mrs Finch after the work, 07:30 to 08:15",
        "QUIET      no engine before 07:00",
        "Work       1) Edge the front walk, 120 ft  2) Mow the back lawn  3) Blow off",
        "Clippings  may lie",
        " 2  08:30-10:55 (there 08:15, wait)  Weld lot",
        "DEADLINE   12:00 today, county notice",
        "- Eye and hearing protection for all engine work\n",
        "Care       Keep people away from the discharge side\n",
        "Care       Keep people away from the discharge side. Blade work: face shield, nobody\n                 within 50 feet",
    ] {
        assert!(page.contains(part), "missing {part:?} in\n{page}");
    }
    // The contact is the one to meet, whose number is not in the words: it stands under Call.
    assert!(page.contains("Call       Mrs Finch, 555-0100"), "{page}");
}

#[test]
fn a_caution_of_many_stops_stands_once_with_their_numbers() {
    let mut many = fixture::sheet();
    let third = many.stops[0].clone();
    many.stops.push(third);
    let text = sheet(&many, &fixture::plan(), fixture::CLOCK, 96);
    let page = anstream::adapter::strip_str(&text).to_string();
    assert!(
        page.contains("- Keep people away from the discharge side (stops 1, 2, 3)"),
        "{page}"
    );
    assert_eq!(page.matches("Keep people away").count(), 1);
}

#[test]
fn a_number_stands_once() {
    let mut once = fixture::sheet();
    once.stops[0].meeting = "Mrs Finch (555-0100) between 07:30 and 08:15, after the work".into();
    let page = sheet(&once, &fixture::plan(), fixture::CLOCK, 96);
    assert_eq!(page.matches("555-0100").count(), 1, "{page}");
}

#[test]
fn sheets_keep_to_their_width() {
    for width in [72, 80, 100] {
        let page = stripped(width);
        assert!(
            page.lines()
                .all(|line| line.chars().count() <= width.min(96)),
            "{width}:\n{page}"
        );
    }
}

#[test]
fn scripts_get_a_row_for_each_stop() {
    let lines = grid(&[fixture::sheet()], fixture::CLOCK).plain();
    let second: Vec<&str> = lines.lines().nth(1).unwrap().split('\t').collect();
    assert_eq!(second.len(), 15);
    assert_eq!(&second[..3], ["bluestem", "2", "j-weld"]);
    assert_eq!(second[9], "12:00 today, county notice");
}

#[test]
fn what_is_taken_on_the_way_is_not_loaded_first() {
    let mut sheet = fixture::sheet();
    let units: Vec<String> = (1..=3).map(|n| format!("branches/b/units/u-{n}")).collect();
    for (unit, name) in sheet.units.iter_mut().zip(&units) {
        unit.unit.clone_from(name);
    }
    let call = |load: &[String], unload: &[String]| YardCall {
        load: load.to_vec(),
        unload: unload.to_vec(),
        ..YardCall::default()
    };
    // The second is taken in exchange for the first, and later the first again.
    let calls = vec![
        call(&units[1..2], &units[..1]),
        call(&units[..1], &units[1..2]),
    ];
    sheet.crew_day.as_mut().expect("a day").yard_calls = calls;
    let text = super::sheet(&sheet, &fixture::plan(), fixture::CLOCK, 96);
    let page = anstream::adapter::strip_str(&text).to_string();
    assert!(page.contains("[ ] Walk mower 36"), "{page}");
    assert!(!page.contains("[ ] Powerhead 1"), "{page}");
    for line in [
        "at the yard: take Powerhead 1; put down Walk mower 36",
        "at the yard: take Walk mower 36; put down Powerhead 1",
    ] {
        assert!(page.contains(line), "missing {line:?} in\n{page}");
    }
}

#[test]
fn a_break_is_told_before_the_stops() {
    let mut sheet = fixture::sheet();
    let day = sheet.crew_day.as_mut().expect("a day");
    day.breaks = vec![CrewBreak {
        start_time: day.depart_time,
        end_time: day.return_time,
    }];
    let (begins, ends) = (day.depart_time, day.return_time);
    let text = super::sheet(&sheet, &fixture::plan(), fixture::CLOCK, 96);
    let page = anstream::adapter::strip_str(&text).to_string();
    let hm = |at: &Option<_>| fixture::CLOCK.hm(at.as_ref());
    let line = format!("  {}-{} break", hm(&begins), hm(&ends));
    assert!(
        page.lines().any(|known| known == line),
        "missing {line:?} in\n{page}"
    );
}

#[test]
fn a_unit_that_another_crew_waits_for_says_until_when_it_is_here() {
    let mut sheet = fixture::sheet();
    let unit = "branches/b/units/u-1".to_owned();
    sheet.units[0].unit.clone_from(&unit);
    let day = sheet.crew_day.as_mut().expect("a day");
    day.shared_units = vec![SharedUnit {
        unit,
        to_crew: "branches/b/crews/yarrow".into(),
        until_time: day.return_time,
        ..SharedUnit::default()
    }];
    let text = super::sheet(&sheet, &fixture::plan(), fixture::CLOCK, 96);
    let page = anstream::adapter::strip_str(&text).to_string();
    let line = "  Shared: Walk mower 36 until 11:10, then yarrow";
    assert!(page.lines().any(|known| known == line), "{page}");
}
