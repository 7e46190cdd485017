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
        Self { svg, at: CODE_TOP }
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
    }

    /// Labelled lines: beside the code as long as it is there, then across the sheet.
    pub(super) fn lines(&mut self, lines: &[Line]) {
        for line in lines {
            if !line.label.is_empty() {
                self.at += 3.0;
                let at = self.at;
                self.text(MARGIN, at, 2.6, false, &line.label.to_uppercase());
            }
            let mut rest: Vec<String> = line.text.split_whitespace().map(str::to_owned).collect();
            while !rest.is_empty() && self.at < 113.0 {
                self.at = line.size.mul_add(1.05, self.at);
                let beside = self.at - line.size < CODE_TOP + CODE_SIDE + 8.0;
                let width = if beside {
                    WIDTH - 2.0 * MARGIN - CODE_SIDE - QUIET
                } else {
                    WIDTH - 2.0 * MARGIN
                };
                let fitting = wrap(&rest.join(" "), width / (line.size * CHARACTER));
                let Some(first) = fitting.first() else {
                    break;
                };
                let at = self.at;
                self.text(MARGIN, at, line.size, line.size > 5.0, first);
                rest = fitting
                    .iter()
                    .skip(1)
                    .flat_map(|line| line.split_whitespace())
                    .map(str::to_owned)
                    .collect();
            }
            self.at += 0.9;
        }
    }

    /// Usual cautions at the foot.
    pub(super) fn cautions(&mut self, cautions: &[&str]) {
        let size = 2.7;
        let width = (WIDTH - 2.0 * MARGIN - 3.0) / (size * CHARACTER);
        let wrapped: Vec<Vec<String>> = cautions.iter().map(|text| wrap(text, width)).collect();
        let count: usize = wrapped.iter().map(Vec::len).sum();
        let step = size * 1.22;
        let mut y =
            HEIGHT - 5.0 - step * (count as f64 - 1.0) - 0.6 * (cautions.len() as f64 - 1.0);
        add(
            &mut self.svg,
            format_args!(
                "<path d=\"M{MARGIN} {0:.2}H{1}\" stroke=\"#000\" stroke-width=\"0.4\"/>\n",
                y - 4.0,
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
