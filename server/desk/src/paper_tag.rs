//! A tag to print on a sheet of A6 and hang on the unit.
//!
//! Its content follows the terms of 29 CFR 1910.147(c)(5) for tagout devices: it warns and carries a legend such as "Do
//! not operate" (iii), shows who applied it (ii)(D), and tells whom to ask. (c)(7)(ii) of the same says what a tag is
//! not: it holds nothing, and people who trust it as if it did are in danger. So the tag says that too. It informs and
//! certifies nothing; lockout, and the tags that belong to it, follow the employer's own energy control procedure.

mod sheet;

use chrono_tz::Tz;
use forenoon_store::entity::{tag_out, unit};
use forenoon_store::value::{Severity, Symptom, TaskKind};
use qrcode::types::QrError;
use qrcode::{Color, EcLevel, QrCode};

use sheet::{Line, Sheet};

/// What a tag is drawn from.
#[derive(Clone, Copy, Debug)]
pub struct PaperTag<'a> {
    /// Whose yard it is.
    pub company: &'a str,
    /// Where its clock stands.
    pub zone: Tz,
    /// The tag.
    pub tag: &'a tag_out::Model,
    /// The unit it hangs on.
    pub unit: &'a unit::Model,
    /// Who applied it, where known.
    pub applied_by: Option<&'a str>,
    /// What the code to scan says.
    pub code: &'a str,
}

/// The most characters of a name, an address or a serial number on a tag.
const NAME_MAX: usize = 50;
/// Usual cautions on every tag.
const CAUTIONS: [&str; 4] = [
    "Leave this tag on. Only a mechanic takes it off, after an inspection.",
    "A tag is no lock. Before any work on the unit: engine off, key or spark plug lead or battery out, all parts at \
     rest, stored energy released.",
    "Do not carry on with the fault, and do not lend the unit out.",
    "The maker's manual and local codes go first. This tag informs; it certifies nothing.",
];

/// Draws a tag, SVG 1.1, 105 by 148 millimetres.
///
/// # Errors
/// Where the code's text is longer than a code can hold.
pub fn draw(paper: &PaperTag<'_>) -> Result<String, QrError> {
    let tag = paper.tag;
    let (legend, word) = match tag.severity {
        Severity::Unsafe => ("DO NOT OPERATE", "OUT OF SERVICE"),
        Severity::Reduced => ("LIMITED USE", "NOT FOR ALL WORK"),
    };
    let mut sheet = Sheet::new();
    sheet.banner(word, legend);
    sheet.number(&tag.id, paper.company);
    sheet.code(&modules(paper.code)?, paper.code);
    let foot = sheet.cautions(&CAUTIONS);
    // What nobody may miss comes first; the description takes what room is left.
    sheet.lines(&lines(paper), &tag.description, foot);
    Ok(sheet.finish())
}

/// What every tag must show.
fn lines(paper: &PaperTag<'_>) -> Vec<Line> {
    let tag = paper.tag;
    let mut lines = vec![
        Line::big("Unit", &shortened(&paper.unit.display_name)),
        Line::plain("Serial no.", &shortened(&paper.unit.serial_number)),
        Line::big("Symptom", symptom(tag.symptom)),
    ];
    let forbidden = forbidden_words(tag);
    if !forbidden.is_empty() {
        lines.push(Line::big("Not to be used to", &forbidden));
    }
    let when = tag
        .create_time
        .with_timezone(&paper.zone)
        .format("%a %-d %b %Y, %H:%M")
        .to_string();
    let applied = paper
        .applied_by
        .map_or_else(|| when.clone(), |who| format!("{}, {when}", shortened(who)));
    lines.push(Line::plain("Applied by", &applied));
    let contact = tag.contact.as_ref().map_or_else(String::new, |contact| {
        [&contact.display_name, &contact.phone, &contact.email]
            .into_iter()
            .filter(|part| !part.is_empty())
            .map(|part| shortened(part))
            .collect::<Vec<_>>()
            .join(", ")
    });
    lines.push(Line::plain("Ask", &contact));
    lines
}

/// A name as it fits on a tag; the record has all of it.
fn shortened(text: &str) -> String {
    if text.chars().count() <= NAME_MAX {
        return text.to_owned();
    }
    let mut short: String = text.chars().take(NAME_MAX - 1).collect();
    short.push('\u{2026}');
    short
}

/// The symptom in words.
pub const fn symptom(symptom: Symptom) -> &'static str {
    match symptom {
        Symptom::NoStart => "does not start",
        Symptom::PowerLoss => "stalls, or has no power",
        Symptom::Vibration => "shakes more than it should",
        Symptom::Leak => "leaks",
        Symptom::Guard => "a guard, shield or safety switch is missing or does not work",
        Symptom::CuttingPart => "a blade, head or belt is bent, loose, cracked or worn",
        Symptom::RunningGear => "a tyre, wheel, hitch or light",
        Symptom::Overheating => "overheats or smokes",
        Symptom::Other => "told below",
    }
}

/// What a limited unit must not be used to do, in words; empty for an unsafe one.
pub fn forbidden_words(tag: &tag_out::Model) -> String {
    let words: Vec<&str> = tag
        .forbidden_tasks
        .0
        .iter()
        .map(|kind| match kind {
            TaskKind::WalkBefore | TaskKind::WalkAfter => "walk a site",
            TaskKind::KnockDown => "knock tall growth down",
            TaskKind::CutBrush => "cut brush",
            TaskKind::Edge => "edge",
            TaskKind::Trim => "trim",
            TaskKind::Mow => "mow",
            TaskKind::SecondPass => "mow a second time",
            TaskKind::Collect => "collect",
            TaskKind::BlowOff => "blow off",
        })
        .collect();
    words.join(", ")
}

/// The dark modules of a code, row by row. Level Q: a quarter of it may be dirty or torn.
fn modules(text: &str) -> Result<Vec<Vec<bool>>, QrError> {
    let code = QrCode::with_error_correction_level(text, EcLevel::Q)?;
    let width = code.width().max(1);
    Ok(code
        .to_colors()
        .chunks(width)
        .map(|row| row.iter().map(|module| *module == Color::Dark).collect())
        .collect())
}
