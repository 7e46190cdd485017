//! The mechanics' list and the tag itself.

use forenoon_proto::v1::{
    BenchItem, Photo, ServiceDue, Severity, Symptom, TagOut, TagOutState, TaskKind,
};

use super::clock::{Clock, Times};
use super::grid::Grid;
use super::sheet::contact_words;
use super::{paint, text};
use crate::names::id;
use crate::parse::word::{phrase_of, word_of};

/// Tag-outs as rows.
pub fn grid(tags: &[TagOut], times: Times) -> Grid {
    let mut grid = Grid::new(&[
        "tag", "unit", "name", "symptom", "severity", "state", "since", "back", "ask",
    ]);
    for tag in tags {
        grid.row([
            id(&tag.name).to_owned(),
            id(&tag.unit).to_owned(),
            tag.unit_display_name.clone(),
            word_of::<Symptom>(tag.symptom),
            word_of::<Severity>(tag.severity),
            word_of::<TagOutState>(tag.state),
            times.at(tag.create_time.as_ref()),
            times.at(tag.expected_return_time.as_ref()),
            contact_words(tag.contact.as_ref()),
        ]);
    }
    grid
}

/// The queue as rows, the most wanted first. People are told beside the time whether it is too late; scripts have the times.
pub fn queue_grid(items: &[BenchItem], photos: &[Photo], times: Times) -> Grid {
    let for_scripts = matches!(times, Times::Plain(_));
    let mut headings = vec![
        "tag",
        "unit",
        "symptom",
        "state",
        "wanted",
        "jobs stuck",
        "stops",
        "back",
        "hours",
        "ask",
        "photos",
    ];
    // A line for people has no room for one more: they find it beside the jobs that are stuck.
    headings.extend(for_scripts.then_some("left out"));
    let mut grid = Grid::new(&headings);
    for item in items {
        let tag = item.tag_out.clone().unwrap_or_default();
        let back = times.at(tag.expected_return_time.as_ref());
        let stuck = item.jobs_without_substitute.to_string();
        let left_out = item.jobs_left_out.to_string();
        let mut cells = vec![
            id(&tag.name).to_owned(),
            id(&tag.unit).to_owned(),
            word_of::<Symptom>(tag.symptom),
            word_of::<TagOutState>(tag.state),
            times.at(item.next_need_time.as_ref()),
            if for_scripts || item.jobs_left_out == 0 {
                stuck
            } else {
                format!("{stuck}, {left_out} left out")
            },
            item.planned_stops.to_string(),
            match (item.late, back.is_empty()) {
                _ if for_scripts => back,
                (true, true) => "not known".to_owned(),
                (true, false) => format!("{back}, late"),
                (false, _) => back,
            },
            format!("{:.1}", item.hours_since_service),
            contact_words(tag.contact.as_ref()),
            photos
                .iter()
                .filter(|photo| photo.subject == tag.name)
                .count()
                .to_string(),
        ];
        cells.extend(for_scripts.then_some(left_out));
        grid.row(cells);
    }
    grid
}

/// Units whose service is due or near, in sentences; nothing where there are none.
pub fn services_page(due: &[ServiceDue]) -> String {
    let mut text = String::new();
    for service in due {
        let name = format!("{} ({})", service.unit_display_name, id(&service.unit));
        let line = if service.hours_left <= 0.0 {
            let kept = if service.kept_in { ", stays in" } else { "" };
            paint::alarm(&format!(
                "Service of {name} is {:.1} h overdue{kept}",
                -service.hours_left
            ))
        } else {
            paint::heed(&format!("Service of {name} in {:.1} h", service.hours_left))
        };
        text.push('\n');
        text.push_str(&line);
    }
    if !text.is_empty() {
        text.push('\n');
    }
    text
}

/// One tag with its story, and the photographs of it.
pub fn page(tag: &TagOut, photos: &[Photo], clock: Clock, width: usize) -> String {
    let mut lines = Vec::new();
    let state = phrase_of::<TagOutState>(tag.state);
    let title = text::ends(&format!("TAG {}", id(&tag.name)), &state, width);
    lines.push(match tag.state() {
        TagOutState::Released => paint::well(&title),
        _ => paint::alarm(&title),
    });
    let mut add = |label: &str, words: &str| {
        if !words.trim().is_empty() {
            lines.extend(text::hanging(
                &format!("  {}", text::fit(label, 12)),
                words,
                width,
            ));
        }
    };
    add(
        "unit",
        &format!("{} ({})", tag.unit_display_name, id(&tag.unit)),
    );
    let forbidden: Vec<String> = tag
        .forbidden_tasks
        .iter()
        .map(|kind| phrase_of::<TaskKind>(*kind))
        .collect();
    // Of one that got worse it is told since when: what it did before then was right.
    let since = match &tag.severity_time {
        Some(worse) => format!(" since {}", clock.day_hm(Some(worse))),
        None => String::new(),
    };
    let limits = format!("limited{since}, not to be used to {}", forbidden.join(", "));
    let out = format!("unsafe{since}, must not be used");
    add("again after", id(&tag.reopens));
    add("symptom", &phrase_of::<Symptom>(tag.symptom));
    add("", &tag.description);
    add(
        "use",
        match tag.severity() {
            Severity::Reduced => &limits,
            Severity::Unsafe | Severity::Unspecified => &out,
        },
    );
    add("tagged", &clock.day_hm(tag.create_time.as_ref()));
    add("found by", id(&tag.found_by));
    add("at job", id(&tag.job));
    add("ask", &contact_words(tag.contact.as_ref()));
    add("diagnosis", &tag.diagnosis);
    add("back", &clock.day_hm(tag.expected_return_time.as_ref()));
    add("repair", &signed(&tag.repair, &tag.repaired_by));
    add("inspection", &signed(&tag.inspection, &tag.inspected_by));
    let released = clock.day_hm(tag.release_time.as_ref());
    add("released", &signed(&released, &tag.released_by));
    if let Some(inform) = &tag.inform {
        let contact = contact_words(inform.contact.as_ref());
        let who = if inform.worker.is_empty() {
            contact
        } else {
            id(&inform.worker).to_owned()
        };
        add("INFORM", &format!("{who}: {}", inform.text));
    }
    for (index, photo) in photos.iter().enumerate() {
        add(if index == 0 { "photos" } else { "" }, &photo.sha256);
    }
    if let Some(step) = next_step(tag) {
        lines.push(format!("  Next: {step}"));
    }
    lines.join("\n") + "\n"
}

fn signed(words: &str, worker: &str) -> String {
    if words.is_empty() || worker.is_empty() {
        words.to_owned()
    } else {
        format!("{words} ({})", id(worker))
    }
}

/// The command that takes the tag on, for a mechanic to fill in.
fn next_step(tag: &TagOut) -> Option<String> {
    let short = id(&tag.name);
    match tag.state() {
        TagOutState::Tagged => Some(format!(
            "forenoon diagnose {short} --by MECHANIC \"what is wrong\""
        )),
        TagOutState::Diagnosed | TagOutState::WaitingForParts => Some(format!(
            "forenoon repair {short} --by MECHANIC \"what was done\""
        )),
        TagOutState::Repaired => Some(format!(
            "forenoon inspect {short} --by MECHANIC --passed \"what was inspected\""
        )),
        TagOutState::Inspected => Some(format!("forenoon release {short} --by MECHANIC")),
        TagOutState::Released | TagOutState::Unspecified => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use forenoon_proto::v1::{Contact, Inform};

    #[test]
    fn a_released_tag_says_whom_to_inform() {
        let clock = Clock {
            zone: chrono_tz::America::Chicago,
        };
        let released = |inform: Option<Inform>| {
            let tag = TagOut {
                name: "branches/n/tagOuts/t-42".into(),
                state: TagOutState::Released.into(),
                released_by: "branches/n/workers/fern".into(),
                inform,
                ..TagOut::default()
            };
            anstream::adapter::strip_str(&page(&tag, &[], clock, 80)).to_string()
        };
        let text = "tell them that the tag is off";
        let told = released(Some(Inform {
            worker: "branches/n/workers/ada".into(),
            text: text.into(),
            ..Inform::default()
        }));
        assert!(
            told.contains(&format!("  INFORM      ada: {text}")),
            "{told}"
        );
        let told = released(Some(Inform {
            contact: Some(Contact {
                display_name: "the office".into(),
                ..Contact::default()
            }),
            text: text.into(),
            ..Inform::default()
        }));
        assert!(
            told.contains(&format!("  INFORM      the office: {text}")),
            "{told}"
        );
        assert!(!released(None).contains("INFORM"));
    }

    #[test]
    fn a_tag_tells_its_story_and_the_next_step() {
        let clock = Clock {
            zone: chrono_tz::America::Chicago,
        };
        let tag = TagOut {
            name: "branches/n/tagOuts/t-42".into(),
            unit: "branches/n/units/m-36".into(),
            unit_display_name: "Walk mower 36".into(),
            symptom: Symptom::Vibration.into(),
            description: "Shakes at idle".into(),
            severity: Severity::Unsafe.into(),
            found_by: "branches/n/workers/ada".into(),
            contact: Some(Contact {
                display_name: "Ada Reed".into(),
                phone: "555-0101".into(),
                ..Contact::default()
            }),
            state: TagOutState::Repaired.into(),
            diagnosis: "Bent blade".into(),
            repair: "New blade".into(),
            repaired_by: "branches/n/workers/moss".into(),
            create_time: Some("2027-04-20T15:10:00Z".parse().unwrap()),
            ..TagOut::default()
        };
        let photos = ["ab".repeat(32), "cd".repeat(32)].map(|sha256| Photo {
            subject: tag.name.clone(),
            sha256,
            ..Photo::default()
        });
        let page = anstream::adapter::strip_str(&page(&tag, &photos, clock, 80)).to_string();
        assert!(
            page.contains(&format!(
                "  photos      {}\n              {}\n",
                photos[0].sha256, photos[1].sha256
            )),
            "{page}"
        );
        for part in [
            "TAG t-42",
            "unit        Walk mower 36 (m-36)",
            "unsafe, must not be used",
            "tagged      Tue 20 Apr 10:10",
            "repair      New blade (moss)",
            "Next: forenoon inspect t-42 --by MECHANIC --passed",
        ] {
            assert!(page.contains(part), "missing {part:?} in\n{page}");
        }
        assert_eq!(
            grid(std::slice::from_ref(&tag), Times::Plain(clock)).plain(),
            "t-42\tm-36\tWalk mower 36\tvibration\tunsafe\trepaired\t2027-04-20T10:10:00-05:00\t\tAda Reed, 555-0101\n"
        );
        let worse = TagOut {
            severity_time: Some("2027-04-20T16:05:00Z".parse().unwrap()),
            ..tag.clone()
        };
        let told = super::page(&worse, &[], clock, 80);
        let told = anstream::adapter::strip_str(&told).to_string();
        let words = "unsafe since Tue 20 Apr 11:05, must not be used";
        assert!(told.contains(words), "{told}");
        let item = BenchItem {
            tag_out: Some(tag),
            late: true,
            jobs_left_out: 3,
            next_need_time: Some("2027-04-21T12:00:00Z".parse().unwrap()),
            ..BenchItem::default()
        };
        let queue = |times| {
            let plain = queue_grid(std::slice::from_ref(&item), &photos, times).plain();
            plain
                .trim_end()
                .split('\t')
                .map(str::to_owned)
                .collect::<Vec<_>>()
        };
        let row = queue(Times::Plain(clock));
        assert_eq!(
            (row[4].as_str(), row[7].as_str()),
            ("2027-04-21T07:00:00-05:00", "")
        );
        assert_eq!((row[10].as_str(), row[11].as_str()), ("2", "3"));
        let row = queue(Times::Days(clock));
        assert_eq!(
            (row[5].as_str(), row[7].as_str()),
            ("0, 3 left out", "not known")
        );
        assert_eq!(row.len(), 11, "as many as a line has room for");
    }
}
