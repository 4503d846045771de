//! A page of paper: systems, title, running head, page number.

use std::collections::BTreeMap;
use std::fmt::Write;

use ripieno_engraving::{Page, STAFF, STYLE, System};
use ripieno_score::{Score, Sounding, Unroll};

use crate::lists::{duration, prints_tempo};
use crate::paper::{PIXELS, Paper};

/// What stands above the music of the first page, and in small on the others.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Title {
    /// Title of the piece.
    pub title: String,
    /// Composer.
    pub composer: String,
    /// Whose part it is, or "Full score, transposed".
    pub reader: String,
    /// How long it lasts: "4:35"; empty where that is not told.
    pub duration: String,
    /// The rights, as the score states them.
    pub rights: String,
}

impl Title {
    /// The title of a score's pages for a reader, as the score names itself.
    #[must_use]
    pub fn of(score: &Score, reader: &str) -> Self {
        let composer = score.about.composer().unwrap_or_default().to_owned();
        let rights = score.about.rights.clone();
        Self { title: score.about.title(), composer, reader: reader.to_owned(), duration: String::new(), rights }
    }

    /// That of the full score, with its duration where tempo marks are printed.
    #[must_use]
    pub fn of_score(score: &Score) -> Self {
        let played = Sounding::new(score, Unroll::AsPlayed);
        let reader = if score.about.concert_pitch { "Full score, at concert pitch" } else { "Full score, transposed" };
        Self { duration: if prints_tempo(score) { duration(&played) } else { String::new() }, ..Self::of(score, reader) }
    }
}

/// Height kept for the title on the first page, in millimetres.
pub(crate) const TITLE: f64 = 32.0;
/// Height kept for the running head on other pages, in millimetres.
pub(crate) const HEAD: f64 = 9.0;
/// Height kept for what stands below the music, in millimetres.
const BELOW: f64 = 5.0;
/// Least space between the ink of two systems, in inner units (a staff is 720 high).
pub(crate) const GAP: f64 = 330.0;
/// Most by which a gap is widened to fill a page.
const MOST_WIDER: f64 = 1300.0;

/// Height left for the music of a page whose head is this high (in millimetres), in pixels.
pub(crate) fn music_height(paper: &Paper, head: f64) -> f64 {
    (paper.height - 2.0 * paper.margin - head - BELOW) * PIXELS
}

/// Which page of how many, from 1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    pub number: usize,
    pub count: usize,
}

impl Place {
    /// Whether the page lies on the right: odd ones do, but the second of two, which lie open side by side.
    fn is_right(self) -> bool {
        if self.count == 2 { self.number == 2 } else { self.number % 2 == 1 }
    }
}

/// Sets systems on a page, each with the numbers of its bars: of all, under them, or `in_margin` of the first, beside its beginning.
/// A page without systems says that its reader has nothing to play.
pub(crate) fn sheet(systems: &[(&System, Vec<String>)], paper: &Paper, title: &Title, place: Place, in_margin: bool) -> Page {
    let Place { number, count } = place;
    let (width, height) = (paper.width * PIXELS, paper.height * PIXELS);
    let scale = paper.staff * PIXELS / STAFF;
    let margin = paper.margin * PIXELS;
    let head = if number == 1 { TITLE } else { HEAD };
    let room = music_height(paper, head);
    let ink: f64 = systems.iter().map(|(system, _)| (system.foot - system.top) * scale).sum();
    #[allow(clippy::cast_precision_loss)] // a handful of systems
    let gaps = systems.len().saturating_sub(1) as f64;
    let spare = (room - ink - gaps * GAP * scale).max(0.0);
    let wider = if gaps > 0.0 { (spare / gaps).min(MOST_WIDER * scale * if number == count { 0.35 } else { 1.0 }) } else { 0.0 };

    let mut signs: BTreeMap<&str, &str> = BTreeMap::new();
    for (system, _) in systems {
        signs.extend(system.signs.iter().map(|(id, drawing)| (id.as_str(), drawing.as_str())));
    }
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" width=\"{width:.2}px\" \
height=\"{height:.2}px\" viewBox=\"0 0 {width:.2} {height:.2}\" version=\"1.1\"><defs>"
    );
    signs.values().for_each(|drawing| svg.push_str(drawing));
    svg.push_str("</defs><style>");
    svg.push_str(STYLE);
    svg.push_str(".music ellipse,.music path,.music polygon,.music polyline,.music rect{stroke:currentColor}</style>");
    words(&mut svg, paper, title, place);
    if systems.is_empty() {
        tacet(&mut svg, paper);
    }
    let mut y = margin + head * PIXELS;
    let mut before: Option<f64> = None;
    for (system, labels) in systems {
        if let Some(foot) = before.filter(|_| !in_margin) {
            divider(&mut svg, margin, (foot + y) / 2.0);
        }
        // The engraver's ink is relative to the top of its page.
        let _ = write!(
            svg,
            "<g class=\"music\" transform=\"translate({margin:.3},{:.3}) scale({scale:.6})\" color=\"#000\" \
font-family=\"Times, serif\">{}",
            y - system.top * scale,
            system.body
        );
        let mut say = |x: f64, y: f64, size: f64, anchor: &str, label: &str| {
            let _ = write!(
                svg,
                "<text class=\"bar-number\" x=\"{x:.0}\" y=\"{y:.0}\" text-anchor=\"{anchor}\" font-size=\"{size:.0}px\" font-style=\"italic\">{}</text>",
                escaped(label)
            );
        };
        for (&x, label) in system.bars.iter().zip(labels) {
            if in_margin {
                // Clear of rehearsal marks and tempi.
                say(x - 60.0, system.staff_top - 90.0, 380.0, "end", label);
            } else {
                say(x + 40.0, system.foot - OVER_FOOT, number_size(paper), "start", label);
            }
        }
        svg.push_str("</g>");
        before = Some(y + (system.foot - system.top) * scale);
        y += (system.foot - system.top) * scale + GAP * scale + wider;
    }
    svg.push_str("</svg>");
    Page { svg, width, height }
}

/// Two strokes at the edge of a score between systems, so that nobody reads two as one (common practice).
fn divider(svg: &mut String, left: f64, middle: f64) {
    for down in [-1.4, 1.4] {
        let (y, x) = (middle + down * PIXELS, left - 2.0 * PIXELS);
        let _ = write!(
            svg,
            "<path class=\"divider\" d=\"M{:.2} {:.2} L{:.2} {:.2}\" stroke=\"#000\" stroke-width=\"{:.2}\"/>",
            x,
            y + 1.2 * PIXELS,
            x + 7.0 * PIXELS,
            y - 1.2 * PIXELS,
            0.8 * PIXELS
        );
    }
}

/// Height of the type of bar numbers under a score, in millimetres: their figures are two thirds of it.
const NUMBERS: f64 = 3.4;
/// From the lowest staff, or all that hangs from it, to the top of the bar numbers, and from their foot to that of the line, in inner units.
const UNDER: f64 = 60.0;
const OVER_FOOT: f64 = 20.0;

/// Size of the type of bar numbers under a score, in inner units.
fn number_size(paper: &Paper) -> f64 {
    NUMBERS / paper.staff * STAFF
}

/// Foot of a system of a score with its row of bar numbers, below all ink.
pub(crate) fn row_of_numbers(system: &System, paper: &Paper) -> f64 {
    system.foot.max(system.staff_foot + 2.0 * UNDER) + UNDER + 0.68 * number_size(paper) + OVER_FOOT
}

/// The one word of a page on which nothing is to be played.
fn tacet(svg: &mut String, paper: &Paper) {
    let (x, y) = (paper.width / 2.0 * PIXELS, (paper.margin + TITLE + 20.0) * PIXELS);
    let _ = write!(
        svg,
        "<text x=\"{x:.2}\" y=\"{y:.2}\" text-anchor=\"middle\" font-family=\"Times, serif\" font-size=\"{:.2}px\" \
font-style=\"italic\">tacet</text>",
        7.0 * PIXELS
    );
}

fn words(svg: &mut String, paper: &Paper, title: &Title, place: Place) {
    let Place { number, count } = place;
    let margin = paper.margin * PIXELS;
    let (left, right, middle) = (margin, (paper.width - paper.margin) * PIXELS, paper.width / 2.0 * PIXELS);
    let mut text = |x: f64, y: f64, anchor: &str, size: f64, weight: &str, words: &str| {
        if !words.is_empty() {
            let _ = write!(
                svg,
                "<text x=\"{x:.2}\" y=\"{:.2}\" text-anchor=\"{anchor}\" font-family=\"Times, serif\" font-size=\"{:.2}px\" \
font-weight=\"{weight}\">{}</text>",
                y * PIXELS,
                size * PIXELS,
                escaped(words)
            );
        }
    };
    if number == 1 {
        text(middle, paper.margin + 8.0, "middle", 7.5, "bold", &title.title);
        // Not bold: the bold face has no flat, and a set of parts looks alike.
        text(left, paper.margin + 20.0, "start", 6.2, "normal", &title.reader);
        text(right, paper.margin + 20.0, "end", 4.5, "normal", &title.composer);
        if !title.duration.is_empty() {
            text(right, paper.margin + 26.0, "end", 3.6, "normal", &format!("Duration {}", title.duration));
        }
        text(middle, paper.height - paper.margin / 2.0, "middle", 3.0, "normal", &title.rights);
    } else {
        // Its number stands on the outer side.
        let (outer, anchor) = if place.is_right() { (right, "end") } else { (left, "start") };
        // Whoever drops the pages knows when they are together again.
        text(outer, paper.margin + 3.0, anchor, 4.5, "bold", &format!("{number}/{count}"));
        let head =
            if title.title.is_empty() { title.reader.clone() } else { format!("{} \u{2013} {}", title.reader, title.title) };
        text(middle, paper.margin + 3.0, "middle", 4.0, "normal", &head);
    }
}

fn escaped(text: &str) -> String {
    let text: String = text.chars().filter(|c| !c.is_control()).collect();
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
