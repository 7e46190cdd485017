//! The drawing itself: a sheet of A6 in millimetres, black on white with one red band, so that it prints anywhere.

use std::fmt::Write as _;

const WIDTH: f64 = 105.0;
const HEIGHT: f64 = 148.0;
const MARGIN: f64 = 6.0;
const CODE_SIDE: f64 = 31.0;
/// White beside the code: four of its modules and more, as ISO/IEC 18004 wants (from memory).
const QUIET: f64 = 5.0;
/// Where the code begins, from the top.
const CODE_TOP: f64 = 47.0;
/// Width of a usual character of a sans-serif face, as a share of its height. From memory; text is wrapped by it, with
/// room to spare.
const CHARACTER: f64 = 0.52;
/// Letters of a text without a label.
const REST_SIZE: f64 = 4.0;
/// From one line to the next, as a share of the letters' height.
const LINE_STEP: f64 = 1.05;
/// White between the last line, whose letters reach below it, and the cautions.
const GAP: f64 = 1.5;
/// Sizes of letters that are tried, as shares of the usual one.
const LETTER_SHARES: [f64; 5] = [1.0, 0.9, 0.8, 0.7, SMALLEST_SHARE];
/// Letters of 2.4 mm can still be read at arm's length. Common practice, no source.
const SMALLEST_SHARE: f64 = 0.6;

/// A labelled line.
pub(super) struct Line {
    label: String,
    text: String,
    size: f64,
}

impl Line {
    pub(super) fn plain(label: &str, text: &str) -> Self {
        Self {
            label: label.to_owned(),
            text: text.to_owned(),
            size: 4.0,
        }
    }

    pub(super) fn big(label: &str, text: &str) -> Self {
        Self {
            size: 5.2,
            ..Self::plain(label, text)
        }
    }
}

/// A sheet being drawn.
pub(super) struct Sheet {
    svg: String,
    /// Where the next line stands.
    at: f64,
    /// Where the code and its text end.
    code_foot: f64,
}

/// A line with its place.
struct Drawn {
    at: f64,
    size: f64,
    bold: bool,
    text: String,
}

impl Sheet {
    pub(super) fn new() -> Self {
        let mut svg = String::new();
        svg.push_str("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
        svg.push_str(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" width=\"105mm\" height=\"148mm\" \
             viewBox=\"0 0 105 148\" font-family=\"Arial, Helvetica, 'Liberation Sans', sans-serif\">\n",
        );
        svg.push_str("<rect width=\"105\" height=\"148\" fill=\"#fff\"/>\n");
        svg.push_str(
            "<rect x=\"2\" y=\"2\" width=\"101\" height=\"144\" rx=\"3\" fill=\"none\" stroke=\"#000\" \
             stroke-width=\"0.8\"/>\n",
        );
        Self {
            svg,
            at: CODE_TOP,
            code_foot: CODE_TOP + CODE_SIDE,
        }
    }

    /// The band on top, with a ring for the hole.
    pub(super) fn banner(&mut self, word: &str, legend: &str) {
        self.svg.push_str(
            "<circle cx=\"52.5\" cy=\"8.6\" r=\"3\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.5\" \
             stroke-dasharray=\"1 0.8\"/>\n\
             <rect x=\"2.4\" y=\"14\" width=\"100.2\" height=\"19\" fill=\"#b00020\"/>\n",
        );
        self.centred(word, 19.6, 4.2, "#fff");
        self.centred(legend, 30.0, 10.0, "#fff");
    }

    /// The tag's number, large, and whose it is.
    pub(super) fn number(&mut self, number: &str, company: &str) {
        self.text(MARGIN, 42.6, 8.0, true, number);
        let size = 3.6;
        let company = wrap(company, (WIDTH - 60.0) / (size * CHARACTER));
        let first = company.first().map_or("", String::as_str);
        add(
            &mut self.svg,
            format_args!(
                "<text x=\"{}\" y=\"42.2\" font-size=\"{size}\" text-anchor=\"end\">{}</text>\n",
                WIDTH - MARGIN,
                escaped(first)
            ),
        );
    }

    /// The code to scan, on the right, with its text beneath for people without a reader.
    pub(super) fn code(&mut self, modules: &[Vec<bool>], text: &str) {
        let count = modules.len().max(1) as f64;
        let module = CODE_SIDE / count;
        let (left, top) = (WIDTH - MARGIN - CODE_SIDE, CODE_TOP);
        let mut path = String::new();
        for (row, line) in modules.iter().enumerate() {
            for (column, dark) in line.iter().enumerate() {
                if *dark {
                    let (x, y) = (
                        module.mul_add(column as f64, left),
                        module.mul_add(row as f64, top),
                    );
                    add(
                        &mut path,
                        format_args!("M{x:.3} {y:.3}h{module:.3}v{module:.3}h-{module:.3}z"),
                    );
                }
            }
        }
        add(
            &mut self.svg,
            format_args!("<path d=\"{path}\" fill=\"#000\" shape-rendering=\"crispEdges\"/>\n"),
        );
        let size = 2.1;
        let mut y = CODE_TOP + CODE_SIDE + 3.0;
        for line in wrap(text, CODE_SIDE / (size * CHARACTER)) {
            self.text(left, y, size, false, &line);
            y += size * 1.2;
        }
        self.code_foot = y;
    }

    /// Labelled lines: beside the code as long as it is there, then across the sheet. Then a text without a label, cut where
    /// the foot begins. Letters are made smaller where the lines would not fit.
    pub(super) fn lines(&mut self, lines: &[Line], rest: &str, foot: f64) {
        let (top, floor) = (self.at, foot - GAP);
        for share in LETTER_SHARES {
            let mut drawn = Vec::new();
            let mut at = top;
            for line in lines {
                at = self.labelled(line, share, at, &mut drawn);
            }
            // At least two lines are left for the text.
            let told = if rest.is_empty() { 0.0 } else { 2.0 };
            let needed = told * REST_SIZE * share * LINE_STEP;
            if at + needed <= floor || share <= SMALLEST_SHARE {
                self.cut(rest, share, (at, floor), &mut drawn);
                for line in drawn {
                    self.text(MARGIN, line.at, line.size, line.bold, &line.text);
                }
                return;
            }
        }
    }

    /// Where the next line may stand below a labelled one.
    fn labelled(&self, line: &Line, share: f64, at: f64, drawn: &mut Vec<Drawn>) -> f64 {
        let mut at = at + 3.0 * share;
        drawn.push(Drawn {
            at,
            size: 2.6 * share,
            bold: false,
            text: line.label.to_uppercase(),
        });
        let size = line.size * share;
        let mut rest = line.text.clone();
        while let Some((first, others)) = self.split(&rest, size, at) {
            at += size * LINE_STEP;
            drawn.push(Drawn {
                at,
                size,
                bold: line.size > 5.0,
                text: first,
            });
            rest = others;
        }
        at + 0.9 * share
    }

    /// As much of a text as there is room for.
    fn cut(&self, text: &str, share: f64, (at, floor): (f64, f64), drawn: &mut Vec<Drawn>) {
        let size = REST_SIZE * share;
        let mut at = at;
        let mut rest = text.to_owned();
        while let Some((mut first, others)) = self.split(&rest, size, at) {
            at += size * LINE_STEP;
            if at > floor {
                return;
            }
            if at + size * LINE_STEP > floor && !others.is_empty() {
                // In place of the last letter, so that the line grows no longer.
                first.pop();
                first.push('\u{2026}');
            }
            drawn.push(Drawn {
                at,
                size,
                bold: false,
                text: first,
            });
            rest = others;
        }
    }

    /// What of a text fits on a line below a place, and what is left; none where there is no text.
    fn split(&self, text: &str, size: f64, at: f64) -> Option<(String, String)> {
        let beside = size.mul_add(LINE_STEP - 1.0, at) < self.code_foot;
        let width = if beside {
            WIDTH - 2.0 * MARGIN - CODE_SIDE - QUIET
        } else {
            WIDTH - 2.0 * MARGIN
        };
        let mut lines = wrap(text, width / (size * CHARACTER)).into_iter();
        let first = lines.next()?;
        Some((first, lines.collect::<Vec<_>>().join(" ")))
    }

    /// Usual cautions at the foot, and where they begin.
    pub(super) fn cautions(&mut self, cautions: &[&str]) -> f64 {
        let size = 2.7;
        let width = (WIDTH - 2.0 * MARGIN - 3.0) / (size * CHARACTER);
        let wrapped: Vec<Vec<String>> = cautions.iter().map(|text| wrap(text, width)).collect();
        let count: usize = wrapped.iter().map(Vec::len).sum();
        let step = size * 1.22;
        let mut y =
            HEIGHT - 5.0 - step * (count as f64 - 1.0) - 0.6 * (cautions.len() as f64 - 1.0);
        let foot = y - 4.0;
        add(
            &mut self.svg,
            format_args!(
                "<path d=\"M{MARGIN} {foot:.2}H{}\" stroke=\"#000\" stroke-width=\"0.4\"/>\n",
                WIDTH - MARGIN
            ),
        );
        for lines in wrapped {
            for (ix, line) in lines.iter().enumerate() {
                if ix == 0 {
                    self.text(MARGIN, y, size, true, "\u{2022}");
                }
                self.text(MARGIN + 3.0, y, size, false, line);
                y += step;
            }
            y += 0.6;
        }
        foot
    }

    pub(super) fn finish(mut self) -> String {
        self.svg.push_str("</svg>\n");
        self.svg
    }

    fn text(&mut self, x: f64, y: f64, size: f64, bold: bool, text: &str) {
        let weight = if bold { " font-weight=\"bold\"" } else { "" };
        add(
            &mut self.svg,
            format_args!(
                "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"{size}\"{weight}>{}</text>\n",
                escaped(text)
            ),
        );
    }

    fn centred(&mut self, text: &str, y: f64, size: f64, colour: &str) {
        add(
            &mut self.svg,
            format_args!(
                "<text x=\"52.5\" y=\"{y}\" font-size=\"{size}\" font-weight=\"bold\" fill=\"{colour}\" \
                 text-anchor=\"middle\">{}</text>\n",
                escaped(text)
            ),
        );
    }
}

/// Lines of at most so many characters. A word longer than a line is cut.
fn wrap(text: &str, characters: f64) -> Vec<String> {
    let most = whole(characters).max(1);
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for (ix, piece) in letters.chunks(most).enumerate() {
            let piece: String = piece.iter().collect();
            match lines.last_mut() {
                Some(line)
                    if ix == 0 && line.chars().count() + 1 + piece.chars().count() <= most =>
                {
                    line.push(' ');
                    line.push_str(&piece);
                }
                _ => lines.push(piece),
            }
        }
    }
    lines
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
fn whole(characters: f64) -> usize {
    characters.clamp(1.0, 1_000.0).floor() as usize
}

/// Text as XML takes it. Control characters, which XML does not take, are left out.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars().filter(|letter| !letter.is_control()) {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            other => safe.push(other),
        }
    }
    safe
}

fn add(svg: &mut String, words: std::fmt::Arguments<'_>) {
    // Writing to a string does not fail.
    let _ = svg.write_fmt(words);
}
