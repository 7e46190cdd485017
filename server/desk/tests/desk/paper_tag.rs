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
    drawn_with_code(CODE, severity, forbidden, edit)
}

/// What the code says.
const CODE: &str = "branches/north/tagOuts/t-42";

fn drawn_with_code(
    code: &str,
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
        code,
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

/// What 29 CFR 1910.147(c)(5) wants of a tagout device, its words from memory, and what the printed tag keeps. Of an unsafe unit:
/// - (iii): it "shall warn against hazardous conditions if the machine or equipment is energized and shall include a legend
///   such as the following: Do Not Start. Do Not Open. Do Not Close. Do Not Energize. Do Not Operate." Kept.
/// - (ii)(D), identifiable: it "shall indicate the identity of the employee applying the device(s)". Kept.
/// - (ii)(B), standardized: by "color; shape; or size; and additionally, in the case of tagout devices, print and format". Kept: one
///   sheet, one band, the same order.
/// - (ii)(A), durable, and (ii)(C), substantial, with its means of attachment: not the drawing's to keep. Paper in a wet yard wants a
///   cover and a tie; the employer sees to it.
///
/// A limited unit's tag is no tagout device in these terms: it forbids some kinds of work and has none of the legends.
#[test]
fn a_tag_has_the_content_that_the_rule_publishes() {
    const LEGENDS: [&str; 5] = [
        "DO NOT START",
        "DO NOT OPEN",
        "DO NOT CLOSE",
        "DO NOT ENERGIZE",
        "DO NOT OPERATE",
    ];
    let has = |svg: &str| {
        LEGENDS
            .iter()
            .any(|legend| svg.contains(&format!(">{legend}<")))
    };
    let unsafe_one = drawn(Severity::Unsafe, &[]);
    assert!(has(&unsafe_one));
    assert!(on_left(&unsafe_one).contains("APPLIED BY Worker ada, "));
    let limited = drawn(Severity::Reduced, &[TaskKind::CutBrush]);
    assert!(!has(&limited), "it may be started");
    // One format: the same size, the same band, the same labels in the same order.
    let labels = |svg: &str| -> Vec<String> {
        let kept = ["UNIT", "SERIAL NO.", "SYMPTOM", "APPLIED BY", "ASK"];
        let all = texts(svg).into_iter().map(|text| text.3.to_owned());
        all.filter(|words| kept.contains(&words.as_str())).collect()
    };
    assert_eq!(labels(&unsafe_one), labels(&limited));
    assert_eq!(labels(&unsafe_one).len(), 5);
    let head = |svg: &str| svg.lines().nth(1).map(str::to_owned);
    assert_eq!(head(&unsafe_one), head(&limited));
    let band = |svg: &str| {
        svg.lines()
            .find(|line| line.contains("#b00020"))
            .map(str::to_owned)
    };
    assert!(band(&unsafe_one).is_some());
    assert_eq!(band(&unsafe_one), band(&limited));
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

/// The drawing as a camera sees it, so many dots to the millimetre: what is white, and what is not.
struct Picture {
    dark: Vec<bool>,
}

impl Picture {
    const DOTS: f64 = 8.0;
    /// 105 by 148 millimetres.
    const WIDTH: usize = 840;
    const HEIGHT: usize = 1_184;

    /// The band on top and the dark squares of the code, from the drawing's own shapes. Each square is `M x y h w v h h -w z`.
    fn of(svg: &str) -> Self {
        let mut picture = Self {
            dark: vec![false; Self::WIDTH * Self::HEIGHT],
        };
        let paths = svg.lines().filter(|line| line.starts_with("<path d=\"M"));
        for path in paths.filter(|line| line.contains("fill=\"#000\"")) {
            let shape = path.split('"').nth(1).expect("a shape");
            for square in shape.split('M').filter(|square| !square.is_empty()) {
                let figures: Vec<f64> = square
                    .split([' ', 'h', 'v', 'z'])
                    .filter_map(|figure| figure.parse().ok())
                    .collect();
                let [x, y, width, height, _]: [f64; 5] = figures.try_into().expect("a square");
                picture.paint(true, (x, y), (width, height));
            }
        }
        picture.paint(true, (2.4, 14.0), (100.2, 19.0));
        picture
    }

    fn paint(&mut self, dark: bool, (x, y): (f64, f64), (width, height): (f64, f64)) {
        for row in 0..Self::HEIGHT {
            let middle = (row as f64 + 0.5) / Self::DOTS;
            if !(y..y + height).contains(&middle) {
                continue;
            }
            for column in 0..Self::WIDTH {
                let middle = (column as f64 + 0.5) / Self::DOTS;
                if (x..x + width).contains(&middle) {
                    self.dark[row * Self::WIDTH + column] = dark;
                }
            }
        }
    }

    /// What a reader that knows nothing of the drawing makes of the one code on it.
    fn scanned(&self) -> String {
        let mut seen =
            rqrr::PreparedImage::prepare_from_greyscale(Self::WIDTH, Self::HEIGHT, |x, y| {
                if self.dark[y * Self::WIDTH + x] {
                    0
                } else {
                    255
                }
            });
        let codes = seen.detect_grids();
        assert_eq!(codes.len(), 1);
        // Its first corner is the upper one on the left: a reader may put up with a mirrored code, and many do not.
        let [first, ..] = codes[0].bounds;
        let place = [first.x, first.y].map(|dots| f64::from(dots) / Self::DOTS);
        let off = (place[0] - 68.0).abs().max((place[1] - 47.0).abs());
        assert!(off < 1.0, "the code begins at {place:?}");
        let (_, text) = codes[0].decode().expect("a code that can be read");
        text
    }
}

/// Guards the code to scan: a reader of its own makes the tag's name of it, of a short one and of the longest that a branch can
/// have, also where a strip of it is worn off. The words beneath say the same.
#[test]
fn the_code_says_the_tags_name() {
    let long = format!("branches/{}/tagOuts/t-1234567", "north-".repeat(10));
    for code in [CODE, &long] {
        let svg = drawn_with_code(code, Severity::Unsafe, &[], |_, _| ());
        let mut picture = Picture::of(&svg);
        assert_eq!(picture.scanned(), code);
        let right = texts(&svg)
            .into_iter()
            .filter(|text| (text.2 - 2.1).abs() < 0.01);
        let beneath: String = right.map(|text| text.3).collect();
        assert_eq!(beneath, code);
        // The code is 31 mm high and wide, and begins at 68 and 47 mm: a strip right of its left corners.
        picture.paint(false, (80.0, 61.0), (19.0, 31.0 / 8.0));
        assert_eq!(picture.scanned(), code, "worn");
    }
}
