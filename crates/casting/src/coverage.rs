//! Which tones of the sketch's chords nobody sounds.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::NoteName;

use crate::notate::bar_of;
use crate::plan::Plan;
use crate::realise::{CastNote, Seat, sounding};
use crate::sketch::{LONGEST, Sketch};

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
            let classes = sounds.fold(0u16, |have, note| have | 1 << note.key().rem_euclid(12));
            found.push(Heard { strand, at, wanted, missing: wanted & !classes });
        }
    }
    found
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
            let here = strand.between(lack.at - LONGEST, lack.at + Crotchets::new(1, 960).unwrap_or(Crotchets::ZERO));
            for note in here.iter().filter(|note| note.end() > lack.at && missing(note.key())) {
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
