//! The tag to print.

use forenoon_desk::paper_tag::{PaperTag, draw};
use forenoon_store::entity::{tag_out, unit};
use forenoon_store::value::{Contact, ForbiddenTasks, Severity, Symptom, TaskKind};

use crate::fixture::{inputs, tag};

fn drawn(severity: Severity, forbidden: &[TaskKind]) -> String {
    drawn_with(severity, forbidden, |_, _| ())
}

fn drawn_with(
    severity: Severity,
    forbidden: &[TaskKind],
    edit: impl Fn(&mut tag_out::Model, &mut unit::Model),
) -> String {
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
    let unit = inputs.units.iter().find(|unit| unit.id == "walk-21");
    let mut unit = unit.expect("the unit").clone();
    edit(&mut tag, &mut unit);
    draw(&PaperTag {
        company: "Larkmoor Grounds",
        zone: chrono_tz::America::Chicago,
        tag: &tag,
        unit: &unit,
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
        "Worker ada, 555-0100",
        "Only a mechanic takes it off",
        "A tag is no lock.",
        "it certifies nothing",
    ] {
        assert!(svg.contains(words), "missing {words:?} in\n{svg}");
    }
    let applied = "Worker ada, Tue 20 Apr 2027, 10:10";
    assert!(on_left(&svg).contains(applied), "no {applied:?} in\n{svg}");
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

/// The words drawn, each with its place from the left and from the top and the height of its letters.
fn texts(svg: &str) -> Vec<(f64, f64, f64, &str)> {
    let figure = |line: &str, name: &str| -> f64 {
        let rest = line
            .split_once(&format!("{name}=\""))
            .expect("the figure")
            .1;
        let figure = rest.split_once('"').expect("its end").0;
        figure.parse().expect("a figure")
    };
    svg.lines()
        .filter(|line| line.starts_with("<text"))
        .map(|line| {
            let words = line.split_once('>').expect("words").1;
            let words = words.trim_end_matches("</text>");
            let place = (figure(line, " x"), figure(line, " y"));
            (place.0, place.1, figure(line, "font-size"), words)
        })
        .collect()
}

/// What stands on the left, line after line.
fn on_left(svg: &str) -> String {
    let texts = texts(svg);
    let lines = texts.iter().filter(|text| text.0 < 7.0).map(|text| text.3);
    lines.collect::<Vec<_>>().join(" ")
}

/// Guards what nobody may miss against a long description and long names: forbidden work, who applied it and whom to ask are
/// told whole, the description ends in an ellipsis, and no line is printed over another.
#[test]
fn a_long_description_pushes_nothing_off_the_tag() {
    let told = "it shook and then it smelled of fuel ".repeat(30);
    let all = [
        TaskKind::KnockDown,
        TaskKind::CutBrush,
        TaskKind::Edge,
        TaskKind::Trim,
        TaskKind::Mow,
        TaskKind::SecondPass,
        TaskKind::Collect,
        TaskKind::BlowOff,
    ];
    for symptom in [Symptom::Guard, Symptom::CuttingPart, Symptom::Other] {
        for name in ["Walk 21", &"Name of a mower ".repeat(12)] {
            let svg = drawn_with(Severity::Reduced, &all, |tag, unit| {
                tag.symptom = symptom;
                tag.description = told.chars().take(1_000).collect();
                unit.display_name = name.to_owned();
                unit.serial_number = "0123456789".repeat(10);
            });
            let texts = texts(&svg);
            let whole = on_left(&svg);
            for words in [
                "NOT TO BE USED TO knock tall growth down, cut brush, edge, trim, mow, mow a second time, collect, blow off",
                "APPLIED BY Worker ada, Tue 20 Apr 2027, 10:10",
                "ASK Worker ada, 555-0100 it shook",
                "\u{2026}",
            ] {
                assert!(whole.contains(words), "missing {words:?} in\n{svg}");
            }
            let first_caution = texts.iter().position(|text| text.3 == "\u{2022}");
            let cautions = texts[first_caution.expect("cautions")].1;
            let mut last = 0.0;
            let lines = texts
                .iter()
                .filter(|text| text.0 < 7.0 && text.3 != "\u{2022}");
            for (_, y, size, words) in lines {
                assert!(y - last >= size * 0.9, "{words:?} over another in\n{svg}");
                assert!(*y < cautions - 4.0, "{words:?} over the cautions in\n{svg}");
                last = *y;
            }
        }
    }
}
