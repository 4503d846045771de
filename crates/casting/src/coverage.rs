//! Which tones of the sketch's chords nobody sounds.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::NoteName;

use crate::notate::bar_of;
use crate::plan::Plan;
use crate::realise::{CastNote, Seat, sounding};
use crate::sketch::Sketch;

/// The place of a key's pitch class among twelve.
fn class(key: i32) -> usize {
    usize::try_from(key.rem_euclid(12)).unwrap_or(0)
}

/// A moment at which a chord strand begins a note: what it has from there, and what of it nobody sounds, as pitch-class bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Heard {
    /// Index into [`Sketch::strands`].
    pub strand: usize,
    /// When.
    pub at: Crotchets,
    /// The tones of the strand.
    pub wanted: u16,
    /// Those that nobody sounds.
    pub missing: u16,
}

/// Every such moment of the chord strands in spans that do not overlap, strand by strand.
pub(crate) fn heard(sketch: &Sketch, spans: &[(Crotchets, Crotchets)], notes: &BTreeMap<Seat, Vec<CastNote>>) -> Vec<Heard> {
    let mut found = Vec::new();
    for (strand, chords) in sketch.strands.iter().enumerate().filter(|(_, strand)| strand.is_chordal()) {
        for (at, wanted) in spans.iter().flat_map(|&span| chords.moments(span)) {
            let sounds = notes.values().filter_map(|own| sounding(own, at));
            let classes = sounds.fold(0u16, |have, note| have | 1 << class(note.key()));
            found.push(Heard { strand, at, wanted, missing: wanted & !classes });
        }
    }
    found
}

/// Of the time for which notes of the sketch last within spans, the share for which somebody sounds their pitch class: from the notes alone, without asking who has which strand.
pub(crate) fn time_sounded(sketch: &Sketch, spans: &[(Crotchets, Crotchets)], notes: &BTreeMap<Seat, Vec<CastNote>>) -> f64 {
    let mut played: [Vec<(Crotchets, Crotchets)>; 12] = Default::default();
    for note in notes.values().flatten().filter(|note| note.duration.is_positive()) {
        played[class(note.key())].push((note.onset, note.end()));
    }
    let played = played.map(joined);
    let planned = joined(spans.to_vec());
    let (mut wanted, mut sounded) = (0.0, 0.0);
    for note in sketch.strands.iter().flat_map(|strand| &strand.notes) {
        for span in within(&planned, (note.onset, note.end())) {
            wanted += (span.1 - span.0).to_f64();
            sounded += within(&played[class(note.key())], span).map(|(from, to)| (to - from).to_f64()).sum::<f64>();
        }
    }
    if wanted > 0.0 { sounded / wanted } else { 1.0 }
}

/// Stretches of time in order, those that touch joined.
fn joined(mut spans: Vec<(Crotchets, Crotchets)>) -> Vec<(Crotchets, Crotchets)> {
    spans.sort_unstable();
    let mut found: Vec<(Crotchets, Crotchets)> = Vec::with_capacity(spans.len());
    for span in spans {
        match found.last_mut() {
            Some(last) if span.0 <= last.1 => last.1 = last.1.max(span.1),
            _ => found.push(span),
        }
    }
    found
}

/// What of joined stretches lies within a span.
fn within(joined: &[(Crotchets, Crotchets)], (from, to): (Crotchets, Crotchets)) -> impl Iterator<Item = (Crotchets, Crotchets)> {
    let first = joined.partition_point(|span| span.1 <= from);
    joined[first..].iter().take_while(move |span| span.0 < to).map(move |span| (span.0.max(from), span.1.min(to)))
}

/// The spans of a plan's phrases.
pub(crate) fn spans(sketch: &Sketch, plan: &Plan) -> Vec<(Crotchets, Crotchets)> {
    plan.phrases.iter().map(|phrase| Plan::span(sketch, &phrase.bars)).collect()
}

/// What is missing, strand by strand, with its bars and tones: "bars 8, 11–12: nobody sounds B flat, D of “Chords” (5 of 72 chord tones)". A strand that nobody has is told of elsewhere.
pub(crate) fn told(sketch: &Sketch, plan: &Plan, heard: &[Heard]) -> Vec<String> {
    let carried = |one: &&Heard| {
        plan.phrases.iter().any(|phrase| {
            let (from, to) = Plan::span(sketch, &phrase.bars);
            from <= one.at && one.at < to && phrase.tasks.iter().any(|task| task.strand == Some(one.strand))
        })
    };
    let mut found = Vec::new();
    for own in heard.chunk_by(|a, b| a.strand == b.strand) {
        let lacks: Vec<&Heard> = own.iter().filter(|one| one.missing != 0).filter(carried).collect();
        let Some(first) = lacks.first() else { continue };
        let strand = &sketch.strands[first.strand];
        let (mut bars, mut names): (Vec<std::ops::Range<usize>>, Vec<String>) = (Vec::new(), Vec::new());
        for lack in &lacks {
            let bar = bar_of(&sketch.score.bars, lack.at);
            match bars.last_mut() {
                Some(last) if bar < last.end => {}
                Some(last) if bar == last.end => last.end = bar + 1,
                _ => bars.push(bar..bar + 1),
            }
            let missing = |key: i32| lack.missing >> key.rem_euclid(12) & 1 == 1;
            for note in strand.sounding(lack.at).filter(|note| missing(note.key())) {
                let name = NoteName::of(note.pitch).to_string();
                if !names.contains(&name) {
                    names.push(name);
                }
            }
        }
        let of = |bars: &std::ops::Range<usize>| match bars.len() {
            1 => sketch.bar_name(bars.start),
            _ => format!("{}–{}", sketch.bar_name(bars.start), sketch.bar_name(bars.end - 1)),
        };
        let one = bars.len() == 1 && bars[0].len() == 1;
        let bars: Vec<String> = bars.iter().map(of).collect();
        let sum = |of: fn(&Heard) -> u16, all: &mut dyn Iterator<Item = &Heard>| all.map(|one| of(one).count_ones()).sum::<u32>();
        found.push(format!(
            "bar{} {}: nobody sounds {} of “{}” ({} of its {} chord tones)",
            if one { "" } else { "s" },
            bars.join(", "),
            names.join(", "),
            strand.name,
            sum(|one| one.missing, &mut lacks.iter().copied()),
            sum(|one| one.wanted, &mut own.iter()),
        ));
    }
    found
}
