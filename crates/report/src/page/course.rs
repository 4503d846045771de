//! The course of the piece: tempo, metre, keys, chords.

use std::fmt::Write;

use ripieno_score::NoteValue;
use ripieno_study::Study;
use ripieno_texture::{ChordSpan, KeySpan, Mode, Quality};

use super::text::{Row, cited, count_of, escaped, signs, table};
use crate::words::whole;

/// Keys below this mean probability are told as doubtful. The figure is not calibrated; set where rivals come as near.
pub(crate) const DOUBTFUL_KEY: f32 = 0.4;
/// Chords below this confidence are more often wrong than right.
const DOUBTFUL_CHORD: f32 = 0.5;

/// "4 min 05 s".
pub(super) fn minutes(seconds: f64) -> String {
    let seconds = seconds.round();
    format!("{:.0} min {:02.0} s", (seconds / 60.0).floor(), seconds % 60.0)
}

/// A metronome mark in words: "dotted crotchet = 84".
pub(crate) fn metronome(beat: NoteValue, per_minute: f64) -> String {
    let name = match beat.halvings {
        -1 => "breve",
        0 => "semibreve",
        1 => "minim",
        2 => "crotchet",
        3 => "quaver",
        4 => "semiquaver",
        _ => "beat",
    };
    let dots = match beat.dots {
        0 => "",
        1 => "dotted ",
        _ => "double-dotted ",
    };
    format!("{dots}{name} = {}", whole(per_minute))
}

/// Tempi and metres.
pub(super) fn tempo(study: &Study) -> String {
    let tempo = &study.sounding.tempo;
    let mut marks = study.tempo_marks();
    // Steps of playback alone, such as a written-out ritardando, are listed only where the page says nothing.
    if marks.iter().any(|mark| !mark.words.is_empty() || mark.metronome.is_some()) {
        marks.retain(|mark| !mark.words.is_empty() || mark.metronome.is_some());
    }
    let end = study.sounding.length();
    let start = |mark: &ripieno_study::TempoMark| study.sounding.bars.get(mark.bar as usize).map(|bar| bar.start + mark.at);
    let rows: Vec<Row> = marks
        .iter()
        .enumerate()
        .filter_map(|(index, mark)| {
            let from = start(mark)?;
            let to = marks.get(index + 1).and_then(start).unwrap_or(end);
            let bars: Vec<u32> = study.bars_between(from, to).collect();
            let printed = mark.metronome.map_or_else(String::new, |(beat, per_minute)| metronome(beat, per_minute));
            Some(
                vec![
                    cited(&study.cite(&bars[..1])),
                    escaped(&mark.words),
                    printed,
                    if tempo.assumed { String::new() } else { whole(tempo.tempo(from)) },
                    count_of(study, &bars),
                    minutes(tempo.seconds(to) - tempo.seconds(from)),
                ]
                .into(),
            )
        })
        .collect();
    let mut out = String::new();
    if rows.is_empty() {
        out.push_str("<p>The score gives no tempo.</p>\n");
    } else {
        let columns = [
            ("From bar", "bars"),
            ("Tempo, as printed", ""),
            ("Metronome mark", ""),
            ("Crotchets a minute in the file", "number"),
            ("Bars", "number"),
            ("Lasts", "number"),
        ];
        out.push_str(&table(&columns, &rows, 30));
        if tempo.assumed {
            out.push_str("<p class=\"quiet\">The file gives no speed; durations take two crotchets a second.</p>\n");
        } else {
            out.push_str(
                "<p class=\"quiet\">Crotchets a minute are what the file plays at, which the page need not print; words such as \
ritardando change them only where the file does.</p>\n",
            );
        }
    }
    let metres = study.metres();
    let bars = u32::try_from(study.sounding.bars.len()).unwrap_or(u32::MAX);
    let mut told: Vec<(String, Vec<u32>)> = Vec::new();
    for (index, (from, metre)) in metres.iter().enumerate() {
        let to = metres.get(index + 1).map_or(bars, |next| next.0);
        match told.iter_mut().find(|(known, _)| *known == metre.to_string()) {
            Some((_, known)) => known.extend(*from..to),
            None => told.push((metre.to_string(), (*from..to).collect())),
        }
    }
    let rows: Vec<Row> =
        told.iter().map(|(metre, bars)| vec![escaped(metre), count_of(study, bars), cited(&study.cite(bars))].into()).collect();
    if !rows.is_empty() {
        out.push_str(&table(&[("Metre", ""), ("Bars", "number"), ("Where", "bars")], &rows, 30));
    }
    let letters = study.rehearsal_marks();
    if letters.is_empty() {
        out.push_str("<p class=\"quiet\">No rehearsal letters or numbers in the file.</p>\n");
    } else {
        let links: Vec<String> =
            letters.iter().map(|(bar, text)| format!("<b>{}</b> {}", escaped(text), cited(&study.cite(&[*bar])))).collect();
        let _ = writeln!(out, "<p>Rehearsal marks, with their bars: {}.</p>", links.join(" · "));
    }
    out
}

/// "E♭ major".
pub(crate) fn key_words(key: &KeySpan) -> String {
    format!("{} {}", signs(&key.tonic.to_string()), crate::music::mode(key.mode))
}

/// A key as it stands over the map: capital for major, small for minor, in brackets where doubtful.
pub(crate) fn key_short(key: &KeySpan) -> String {
    let name = signs(&key.tonic.to_string());
    let name = if key.mode == Mode::Minor { name.to_lowercase() } else { name };
    if key.confidence < DOUBTFUL_KEY { format!("({name})") } else { name }
}

/// Local keys, each once with its bars; doubtful ones apart.
pub(super) fn keys(study: &Study) -> String {
    if study.harmony.keys.is_empty() {
        return String::new();
    }
    let mut bars: Vec<(String, Vec<u32>)> = Vec::new();
    let mut doubtful: Vec<String> = Vec::new();
    for key in &study.harmony.keys {
        let name = key_words(key);
        let span: Vec<u32> = study.bars_between(key.onset, key.end).collect();
        if key.confidence < DOUBTFUL_KEY {
            doubtful.push(format!("{name} {}", cited(&study.cite(&span))));
            continue;
        }
        match bars.iter_mut().find(|(known, _)| *known == name) {
            Some((_, known)) => known.extend(span),
            None => bars.push((name, span)),
        }
    }
    let rows: Vec<Row> = bars
        .into_iter()
        .map(|(name, mut here)| {
            here.sort_unstable();
            here.dedup();
            vec![name, count_of(study, &here), cited(&study.cite(&here))].into()
        })
        .collect();
    let mut out = String::from(
        "<p>Local keys in the order in which they first appear; a bar in which the key changes stands with both. Read from the notes alone: expect \
errors where the music modulates quickly or opens away from its tonic.</p>\n",
    );
    out.push_str(&table(&[("Key", ""), ("Bars", "number"), ("Where", "bars")], &rows, 30));
    if !doubtful.is_empty() {
        let _ = write!(
            out,
            "<details><summary>{} doubtful passages, where other keys come as near</summary>\n<p>{}.</p></details>\n",
            doubtful.len(),
            doubtful.join(" · ")
        );
    }
    out
}

/// Chords in order, by key.
pub(super) fn chords(study: &Study) -> String {
    let harmony = &study.harmony;
    if harmony.chords.is_empty() {
        return String::new();
    }
    let sure = harmony.chords.iter().filter(|chord| chord.confidence >= DOUBTFUL_CHORD).count();
    let mut rows: Vec<Row> = Vec::new();
    let mut next = 0;
    for key in &harmony.keys {
        let end = harmony.chords.partition_point(|chord| chord.onset < key.end);
        let here = &harmony.chords[next.min(end)..end];
        next = end;
        let bars: Vec<u32> = study.bars_between(key.onset, key.end).collect();
        let name = key_words(key);
        let name = if key.confidence < DOUBTFUL_KEY { format!("<span class=\"quiet\">{name}?</span>") } else { name };
        rows.push(vec![cited(&study.cite(&bars)), name, running(study, here)].into());
    }
    format!(
        "<p>{sure} of {} chords are told with a confidence of one half or more; the others stand as <span class=\"quiet\">?</span>, since they are more often wrong than \
right. Letters: root, m minor, ° diminished, ø half-diminished, + augmented, 7 and maj7 sevenths, after the stroke the bass where it is not the root. \
All with their confidence in <code>chords.csv</code>.</p>\n{}",
        harmony.chords.len(),
        table(&[("Bars", "bars"), ("Key", ""), ("Chords, with the bar in which each begins", "")], &rows, 12)
    )
}

/// "1 E♭ · 3 A♭/C B♭7": chords in order, each bar number once.
fn running(study: &Study, chords: &[ChordSpan]) -> String {
    let mut out = String::new();
    let (mut bar, mut doubted) = (u32::MAX, false);
    for chord in chords {
        let here = study.bars_between(chord.onset, chord.end).start;
        let doubtful = chord.confidence < DOUBTFUL_CHORD;
        if here == bar && doubtful && doubted {
            continue;
        }
        if here != bar {
            let dot = if bar == u32::MAX { "" } else { " · " };
            let _ = write!(out, "{dot}<small>{}</small>", cited(&study.cite(&[here])));
        }
        (bar, doubted) = (here, doubtful);
        out.push(' ');
        if doubtful {
            out.push_str("<span class=\"quiet\">?</span>");
        } else {
            let _ = write!(out, "<b class=\"chord\">{}</b>", escaped(&symbol(chord)));
        }
    }
    out
}

/// A chord as musicians jot it down (common practice).
fn symbol(chord: &ChordSpan) -> String {
    let suffix = match chord.quality {
        Quality::Major => "",
        Quality::Minor => "m",
        Quality::DominantSeventh => "7",
        Quality::DiminishedSeventh => "°7",
        Quality::HalfDiminishedSeventh => "ø7",
        Quality::Diminished => "°",
        Quality::MinorSeventh => "m7",
        Quality::MajorSeventh => "maj7",
        Quality::Augmented => "+",
        Quality::AugmentedSixth => " augmented sixth",
        Quality::MinorMajorSeventh => "m(maj7)",
        _ => "?",
    };
    let bass =
        chord.bass.filter(|bass| *bass != chord.root).map_or_else(String::new, |bass| format!("/{}", signs(&bass.to_string())));
    format!("{}{suffix}{bass}", signs(&chord.root.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metronome_marks_in_words() {
        assert_eq!(metronome(NoteValue { halvings: 2, dots: 1 }, 84.0), "dotted crotchet = 84");
        assert_eq!(metronome(NoteValue { halvings: 1, dots: 0 }, 66.5), "minim = 66.5");
        assert_eq!(minutes(245.2), "4 min 05 s");
        assert_eq!(minutes(119.7), "2 min 00 s");
    }
}
