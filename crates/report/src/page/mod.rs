//! The report: one page, from what the score does to how each figure was found.

mod balance;
mod course;
mod map;
mod melody;
mod noteworthy;
mod playing;
mod practice;
mod text;
mod together;
mod who;

use std::fmt::Write;

use ripieno_pictures::definitions;
use ripieno_score::{Crotchets, Sounding};
use ripieno_study::Study;

use crate::words::counted;
pub(crate) use course::{key_short, metronome};
use text::escaped;
pub(crate) use together::layout_words;
pub(crate) use who::assumed;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("script.js");

/// A section of the page; one without a body is left out.
struct Section {
    /// Target of links.
    id: String,
    /// Heading, and entry in the contents.
    title: String,
    /// HTML.
    body: String,
    /// Whether it belongs under the section before it.
    sub: bool,
}

impl Section {
    fn new(id: &str, title: &str, body: String) -> Self {
        Self { id: id.to_owned(), title: title.to_owned(), body, sub: false }
    }
}

/// The study as one HTML document.
#[must_use]
pub fn report(study: &Study) -> String {
    let title = escaped(&study.title());
    let mut sections = sections(study);
    sections.retain(|section| !section.body.is_empty());
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
<title>{title} – study</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n{}",
        definitions()
    );
    contents(&mut out, &title, &sections);
    out.push_str("<main>\n");
    heading(&mut out, study);
    for section in &sections {
        let level = if section.sub { 3 } else { 2 };
        let _ = write!(
            out,
            "<section id=\"{}\">\n<h{level}>{}</h{level}>\n{}</section>\n",
            section.id,
            escaped(&section.title),
            section.body
        );
    }
    let _ =
        write!(out, "</main>\n<div id=\"tip\" role=\"tooltip\" hidden></div>\n<script>\n{SCRIPT}</script>\n</body>\n</html>\n");
    out
}

/// In the order in which a reader asks: what stands out in words, then pictures, then tables, then how it was found.
fn sections(study: &Study) -> Vec<Section> {
    let mut sections = vec![
        Section::new("findings", "What stands out", noteworthy::findings(study)),
        Section::new("moments", "Where to look", noteworthy::moments(study)),
        Section::new("map", "Who does what", map::roles(study)),
        Section::new("melody", "Who has the melody", melody::melody(study)),
        Section::new("register", "How high and low", who::registers(study)),
        Section::new("dynamics", "How loud", playing::dynamics(study)),
        Section::new("balance", "Is it heard", balance::balance(study)),
        Section::new("tutti", "Everybody together", together::tutti(study)),
        Section::new("doublings", "Who doubles whom", together::doublings(study)),
        Section::new("ways", "Ways of playing", playing::ways(study)),
        Section::new("themes", "What comes back", melody::themes(study)),
        Section::new("course", "Tempo and metre", course::tempo(study)),
        Section::new("keys", "In which key", course::keys(study)),
        Section::new("chords", "Chord by chord", course::chords(study)),
    ];
    sections.extend(practice::measures(study));
    sections.push(Section::new("reasons", "Every role with its reasons", map::reasons(study)));
    sections.push(Section::new("parts", "Who is in this score", who::parts(study)));
    sections.push(Section::new("reading", "What the reader noticed", who::findings(study)));
    sections
}

/// The bar at the top that stays: contents, the way back, all folds.
fn contents(out: &mut String, title: &str, sections: &[Section]) {
    let _ = write!(
        out,
        "<nav class=\"way\" aria-label=\"Around this page\">\n<details id=\"contents\"><summary>Contents</summary>\n<ol>\n"
    );
    for section in sections {
        let sub = if section.sub { " class=\"sub\"" } else { "" };
        let _ = writeln!(out, "<li{sub}><a href=\"#{}\">{}</a></li>", section.id, escaped(&section.title));
    }
    let _ = write!(
        out,
        "</ol>\n</details>\n<span class=\"title\">{title}</span>\n<button id=\"back\" type=\"button\" hidden>Back</button>\n\
<button id=\"unfold\" type=\"button\">Open all folds</button>\n</nav>\n"
    );
}

fn heading(out: &mut String, study: &Study) {
    let _ = writeln!(out, "<h1>{}</h1>", escaped(&study.title()));
    if let Some(composer) = study.score.about.composer() {
        let _ = writeln!(out, "<p>{}</p>", escaped(composer));
    }
    let _ = writeln!(
        out,
        "<p class=\"quiet\">{}, {}, {}{}. Read from {} ({}). Bars are cited by their printed numbers, each once in page order; \
pitches are sounding, C4 being middle C. Every figure links to its bars on the map; <em>Back</em> at the top returns to where you were.</p>",
        counted(study.score.parts.len(), "part"),
        counted(study.sounding.bars.len(), "bar"),
        if study.is_chart() { "no notes".to_owned() } else { counted(study.sounding.notes.len(), "note") },
        duration(&study.sounding),
        escaped(&study.file),
        study.format,
    );
}

fn duration(sounding: &Sounding) -> String {
    let assumed = if sounding.tempo.assumed { " if a crotchet lasts half a second (the score gives no tempo)" } else { "" };
    if sounding.length() == Crotchets::ZERO {
        return String::new();
    }
    let seconds = sounding.tempo.seconds(sounding.length());
    format!(", {} without repeats{assumed}", course::minutes(seconds))
}
