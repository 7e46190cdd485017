//! The tag to print.

use forenoon_desk::paper_tag::{PaperTag, draw};
use forenoon_store::value::{Contact, ForbiddenTasks, Severity, TaskKind};

use crate::fixture::{inputs, tag};

fn drawn(severity: Severity, forbidden: &[TaskKind]) -> String {
    let inputs = inputs();
    let (_, mut tag) = tag("walk-21", severity);
    tag.id = String::from("t-42");
    tag.description = String::from("Shakes <badly> & smells of fuel");
    tag.forbidden_tasks = ForbiddenTasks(forbidden.to_vec());
    tag.contact = Some(Contact {
        display_name: "Worker ada".to_owned(),
        phone: "555-0100".to_owned(),
        email: String::new(),
    });
    tag.create_time = "2027-04-20T15:10:00Z".parse().expect("an instant");
    let unit = inputs
        .units
        .iter()
        .find(|unit| unit.id == "walk-21")
        .expect("the unit");
    draw(&PaperTag {
        company: "Larkmoor Grounds",
        zone: chrono_tz::America::Chicago,
        tag: &tag,
        unit,
        applied_by: Some("Worker ada"),
        code: "branches/north/tagOuts/t-42",
    })
    .expect("a drawing")
}

/// What 29 CFR 1910.147(c)(5) wants of a tagout device: a legend that warns, (iii), and who applied it, (ii)(D); and
/// beside it what the crew and the bench want to know. With `FORENOON_TAG_DRAWING` the drawing is written there, to be
/// looked at.
#[test]
fn a_tag_warns_and_says_who_applied_it_and_whom_to_ask() {
    let svg = drawn(Severity::Unsafe, &[]);
    for words in [
        ">DO NOT OPERATE<",
        ">t-42<",
        ">walk-21<",
        "shakes more",
        "&lt;badly&gt; &amp;",
        "Worker ada, Tue 20 Apr 2027, 10:10",
        "Worker ada, 555-0100",
        "Only a mechanic takes it off",
        "A tag is no lock.",
        "it certifies nothing",
    ] {
        assert!(svg.contains(words), "missing {words:?} in\n{svg}");
    }
    if let Some(path) = std::env::var_os("FORENOON_TAG_DRAWING") {
        std::fs::write(path, &svg).expect("written");
    }
}

/// A limited unit's tag says what it must not do, and not that it must do nothing.
#[test]
fn a_limited_units_tag_says_what_it_must_not_do() {
    let svg = drawn(
        Severity::Reduced,
        &[TaskKind::KnockDown, TaskKind::CutBrush],
    );
    assert!(svg.contains(">LIMITED USE<") && !svg.contains("DO NOT OPERATE"));
    assert!(svg.contains("knock tall growth") && svg.contains("cut brush"));
}
