//! The HTML report.

use std::fmt::Write;

use ripieno_pictures::{palette, register_chart, role_map};
use ripieno_score::{Crotchets, Sounding};
use ripieno_study::{BarSpans, Measured, Study};
use ripieno_texture::{Role, Statement, Theme};

use crate::words::{capital, counted, key_name, percent};
use crate::{map, music};

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("script.js");

/// The study as one HTML document.
#[must_use]
pub fn report(study: &Study) -> String {
    let title = escaped(&study.title());
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
<title>{title} – study</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n"
    );
    heading(&mut out, study);
    roles(&mut out, study);
    melody(&mut out, study);
    themes(&mut out, study);
    keys(&mut out, study);
    tutti(&mut out, study);
    presence(&mut out, study);
    registers(&mut out, study);
    who(&mut out, study);
    findings(&mut out, study);
    let _ = write!(out, "</main>\n<script>\n{SCRIPT}</script>\n</body>\n</html>\n");
    out
}

fn heading(out: &mut String, study: &Study) {
    let _ = writeln!(out, "<h1>{}</h1>", escaped(&study.title()));
    if let Some(composer) = study.score.about.composer() {
        let _ = writeln!(out, "<p>{}</p>", escaped(composer));
    }
    let bars = study.sounding.bars.len();
    let _ = writeln!(
        out,
        "<p class=\"quiet\">{}, {}, {}{}. Read from {} ({}). Bars are cited by their printed numbers, each once in page order; \
pitches are sounding, C4 being middle C. Every figure links to its bars on the map.</p>",
        counted(study.score.parts.len(), "part"),
        counted(bars, "bar"),
        counted(study.sounding.notes.len(), "note"),
        duration(&study.sounding),
        escaped(&study.file),
        study.format,
    );
}

fn duration(sounding: &Sounding) -> String {
    let seconds = sounding.tempo.seconds(sounding.length()).round();
    let assumed = if sounding.tempo.assumed { " if a crotchet lasts half a second (the score gives no tempo)" } else { "" };
    if sounding.length() == Crotchets::ZERO {
        String::new()
    } else {
        format!(", {:.0} min {:02.0} s without repeats{assumed}", (seconds / 60.0).floor(), seconds % 60.0)
    }
}

fn roles(out: &mut String, study: &Study) {
    out.push_str(
        "<h2 id=\"map\">Who does what</h2>\n<p>Rows are parts in score order, columns are bars. Two lines on one staff are drawn one above \
the other. Rest the pointer on a stretch for its role, how sure it is, and the facts that decided. The percentage is how often \
people who annotate scores would put such a line in the role's group (melody, rhythm or harmony); it does not vouch for the finer \
choice within the group. A role you know better can be set with <code>ripieno correct</code>.</p>\n<ul class=\"legend\">\n",
    );
    let shown = |role: &Role| study.roles.roles.spans.iter().any(|span| span.role() == *role);
    for role in Role::ALL.into_iter().filter(|role| *role != Role::Tacet && shown(role)) {
        let fill = palette::fill(role);
        let _ = writeln!(
            out,
            "<li><svg width=\"26\" height=\"14\" aria-hidden=\"true\"><rect width=\"26\" height=\"14\" fill=\"{fill}\"/></svg>{}</li>",
            role.name()
        );
    }
    let _ = writeln!(
        out,
        "</ul>\n<div class=\"scroll\" tabindex=\"0\" aria-label=\"Role map, scrolls sideways\">\n{}</div>",
        role_map(&map::role_map(study))
    );
}

/// The melody from carrier to carrier.
fn melody(out: &mut String, study: &Study) {
    let melody = &study.roles.roles.melody;
    if melody.is_empty() {
        return;
    }
    out.push_str(
        "<h2 id=\"melody\">Who has the melody</h2>\n<p>The main line from carrier to carrier, with those who play it too, in unison or \
octaves.</p>\n<table>\n<thead><tr><th>Bars</th><th>Carrier</th><th>With</th></tr></thead>\n<tbody>\n",
    );
    for carried in melody {
        let bars: Vec<u32> = carried.bars.clone().collect();
        let with: Vec<String> =
            carried.parts.iter().filter(|&&part| part != carried.part).map(|&part| map::part_name(study, part)).collect();
        let _ = writeln!(
            out,
            "<tr><td class=\"bars\">{}</td><td>{}</td><td>{}</td></tr>",
            cited(&study.cite(&bars)),
            escaped(&map::part_name(study, carried.part)),
            escaped(&with.join(", ")),
        );
    }
    out.push_str("</tbody>\n</table>\n");
}

/// Local keys, each once with its bars.
fn keys(out: &mut String, study: &Study) {
    if study.harmony.keys.is_empty() {
        return;
    }
    let mut bars: Vec<(String, Vec<u32>)> = Vec::new();
    for key in &study.harmony.keys {
        let name = format!("{} {}", signs(&key.tonic.to_string()), music::mode(key.mode));
        let span = study.bars_between(key.onset, key.end);
        match bars.iter_mut().find(|(known, _)| *known == name) {
            Some((_, known)) => known.extend(span),
            None => bars.push((name, span.collect())),
        }
    }
    out.push_str(
        "<h2 id=\"keys\">In which key</h2>\n<p>Local keys in the order in which they first appear; a bar in which the key changes stands \
with both. About four fifths of the time agree with annotators; chord by chord, with confidence, in <code>chords.csv</code>.</p>\n\
<table>\n<thead><tr><th>Key</th><th class=\"number\">Bars</th><th>Where</th></tr></thead>\n<tbody>\n",
    );
    for (name, mut here) in bars {
        here.sort_unstable();
        here.dedup();
        let spans = study.cite(&here);
        let _ = writeln!(
            out,
            "<tr><td>{name}</td><td class=\"number\">{}</td><td class=\"bars\">{}</td></tr>",
            linked(&spans.count().to_string(), &spans),
            cited(&spans)
        );
    }
    out.push_str("</tbody>\n</table>\n");
}

/// Flats and sharps as musicians write them, behind the letter.
fn signs(name: &str) -> String {
    let (letter, rest) = name.split_at(name.chars().next().map_or(0, char::len_utf8));
    format!("{letter}{}", rest.replace('b', "\u{266d}").replace('#', "\u{266f}"))
}

/// Recurring ideas: first those that are sung, then figures.
fn themes(out: &mut String, study: &Study) {
    if study.themes.is_empty() {
        return;
    }
    out.push_str(
        "<h2 id=\"themes\">What comes back</h2>\n<p>Ideas that return, possibly at another pitch, slower or faster, or in part. A theme may be \
told as several where its statements share too little.</p>\n",
    );
    let sung = |theme: &&Theme| {
        let sings = |s: &&Statement| study.roles.roles.sings(s.part, s.onset, s.end);
        theme.statements.iter().filter(sings).count() * 2 >= theme.statements.len()
    };
    let (sung, figures): (Vec<&Theme>, Vec<&Theme>) = study.themes.iter().partition(sung);
    for (heading, list, shown) in [("Melodies", sung, 12), ("Accompanying figures", figures, 6)] {
        if list.is_empty() {
            continue;
        }
        let _ = writeln!(out, "<h3>{heading}</h3>");
        list.iter().take(shown).for_each(|each| theme(out, study, each));
        if let Some(more) = list.len().checked_sub(shown).filter(|&more| more > 0) {
            let _ = writeln!(out, "<p class=\"quiet\">{more} more, with fewer notes, in <code>themes.csv</code>.</p>");
        }
    }
}

fn theme(out: &mut String, study: &Study, theme: &Theme) {
    let first = theme.statements.iter().map(|s| study.bars_between(s.onset, s.end).start).min();
    let _ = writeln!(
        out,
        "<details><summary>Theme {}: {}, first in bar {}</summary>\n<table>\n<thead><tr><th>Bars</th><th>Carrier</th><th>With</th>\
<th class=\"number\">Semitones from the first full form</th><th class=\"number\">Note values</th></tr></thead>\n<tbody>",
        theme.id,
        counted(theme.statements.len(), "statement"),
        first.map_or_else(String::new, |bar| study.bar_label(bar)),
    );
    for statement in &theme.statements {
        let bars: Vec<u32> = study.bars_between(statement.onset, statement.end).collect();
        let _ = writeln!(
            out,
            "<tr><td class=\"bars\">{}</td><td>{}</td><td>{}</td><td class=\"number\">{:+}</td><td class=\"number\">&times;&nbsp;{}</td></tr>",
            cited(&study.cite(&bars)),
            escaped(&map::part_name(study, statement.part)),
            escaped(&music::with(study, statement)),
            statement.transposition,
            statement.time_scale,
        );
    }
    out.push_str("</tbody>\n</table>\n</details>\n");
}

fn tutti(out: &mut String, study: &Study) {
    out.push_str(
        "<h2 id=\"tutti\">Everybody together</h2>\n<p>Bars in which every section of the body sounds at some moment of the bar.</p>\n\
<table>\n<thead><tr><th>Who</th><th class=\"number\">Bars</th><th>Where</th><th>Sections that all sound</th></tr></thead>\n<tbody>\n",
    );
    for body in &study.tutti {
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td class=\"number\">{}</td><td class=\"bars\">{}</td><td class=\"quiet\">{}</td></tr>",
            capital(&escaped(&body.whom)),
            linked(&body.bars.count().to_string(), &body.bars),
            cited(&body.bars),
            escaped(&body.members.join(", ")),
        );
    }
    out.push_str("</tbody>\n</table>\n");
}

fn presence(out: &mut String, study: &Study) {
    out.push_str(
        "<h2 id=\"presence\">Who plays how much</h2>\n<p>Share of bars: a bar counts when something of the group sounds in it. Share of time: \
the time in which something of the group sounds, players together counted once.</p>\n<table>\n<thead><tr><th>Family, section</th>\
<th class=\"number\">Bars</th><th class=\"number\">of bars</th><th class=\"number\">of time</th><th>Where</th></tr></thead>\n<tbody>\n",
    );
    let row = |out: &mut String, class: &str, name: &str, measured: &Measured| {
        let spans = study.cite(&measured.presence.bars);
        let _ = writeln!(
            out,
            "<tr{class}><td>{}</td><td class=\"number\">{}</td><td class=\"number\">{}</td><td class=\"number\">{}</td><td class=\"bars\">{}</td></tr>",
            capital(&escaped(name)),
            linked(&spans.count().to_string(), &spans),
            linked(&percent(measured.presence.share_of_bars), &spans),
            linked(&percent(measured.presence.share_of_time), &spans),
            cited(&spans),
        );
    };
    for (family, measured) in study.groups.families.iter().zip(&study.of_families) {
        row(out, "", family.name, measured);
        let inside: Vec<_> =
            study.groups.sections.iter().zip(&study.of_sections).filter(|(section, _)| section.family == family.family).collect();
        if inside.len() > 1 || inside.iter().any(|(section, _)| section.name != family.name) {
            inside.iter().for_each(|(section, measured)| row(out, " class=\"sub\"", section.name, measured));
        }
    }
    out.push_str("</tbody>\n</table>\n");
}

fn registers(out: &mut String, study: &Study) {
    let chart = map::register_chart(study);
    if chart.bars.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "<h2 id=\"register\">How high and low</h2>\n<p>Thin: from the lowest to the highest sounding note. Thick: half of the playing time \
lies there. Upright stroke: the middle by time.</p>\n<div class=\"scroll\" tabindex=\"0\" aria-label=\"Register chart\">\n{}</div>",
        register_chart(&chart)
    );
}

fn who(out: &mut String, study: &Study) {
    out.push_str(
        "<h2 id=\"parts\">Who is in this score</h2>\n<table>\n<thead><tr><th>Part</th><th>Instrument</th><th>Family</th><th class=\"number\">Players</th>\
<th>Lowest</th><th>Highest</th><th class=\"number\">Bars</th></tr></thead>\n<tbody>\n",
    );
    for (index, part) in study.score.parts.iter().enumerate() {
        let (identity, measured) = (&study.groups.parts[index], &study.of_parts[index]);
        let extreme = |pick: fn(&Measured) -> Option<(String, u32)>| {
            pick(measured).map_or_else(String::new, |(name, bar)| {
                let spans = study.cite(&[bar]);
                format!("{name} <span class=\"quiet\">bar {}</span>", cited(&spans))
            })
        };
        let spans = study.cite(&measured.presence.bars);
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td>{}</td><td>{}</td><td class=\"number\">{}</td><td>{}</td><td>{}</td><td class=\"number\">{}</td></tr>",
            escaped(if part.name.is_empty() { "(no name)" } else { &part.name }),
            identity.instrument.map_or_else(|| "<span class=\"quiet\">not recognised</span>".to_owned(), |i| escaped(i.name())),
            identity.family.name(),
            part.players.to_string().replace('-', "–"),
            extreme(|m| m.register.as_ref().map(|r| (key_name(r.lowest.key), r.lowest.bar))),
            extreme(|m| m.register.as_ref().map(|r| (key_name(r.highest.key), r.highest.bar))),
            linked(&spans.count().to_string(), &spans),
        );
    }
    out.push_str("</tbody>\n</table>\n");
}

fn findings(out: &mut String, study: &Study) {
    out.push_str("<h2 id=\"reading\">What the reader noticed</h2>\n");
    if study.findings.is_empty() {
        out.push_str("<p>Nothing: the file was read as it stands.</p>\n");
        return;
    }
    out.push_str("<ul class=\"findings\">\n");
    for finding in &study.findings {
        let _ = writeln!(out, "<li>{}</li>", escaped(&finding.to_string()));
    }
    out.push_str("</ul>\n");
}

/// Text that leads to bars on the map.
fn linked(text: &str, bars: &BarSpans) -> String {
    if bars.spans.is_empty() {
        return escaped(text);
    }
    let spans: Vec<String> = bars.spans.iter().map(|(span, ..)| format!("{}-{}", span.first, span.last)).collect();
    format!("<a href=\"#bars-{}\">{}</a>", spans.join("_"), escaped(text))
}

/// Each span as a link of its own; long lists fold after the first dozen.
fn cited(bars: &BarSpans) -> String {
    const SHOWN: usize = 12;
    let links: Vec<String> = bars
        .spans
        .iter()
        .map(|(span, first, last)| {
            let text = if span.first == span.last { escaped(first) } else { format!("{}–{}", escaped(first), escaped(last)) };
            format!("<a href=\"#bars-{}-{}\">{text}</a>", span.first, span.last)
        })
        .collect();
    if links.len() <= SHOWN + 3 {
        return links.join(", ");
    }
    let (shown, folded) = links.split_at(SHOWN);
    format!("{}<details><summary>and {} more</summary>{}</details>", shown.join(", "), folded.len(), folded.join(", "))
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
