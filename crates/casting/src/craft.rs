//! What a teacher would look at first: is the tune there and on top, does the bass carry the chords, are they doubled well, how often does the tune change
//! hands, how many play.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;
use ripieno_texture::{ChordTone, Role};

use crate::cast::Cast;
use crate::lineup::Lineup;
use crate::numbers::number;
use crate::plan::Plan;
use crate::realise::{CastNote, Seat, hangs, sounding};
use crate::sketch::{Sketch, SketchNote, Strand};

/// Counted over a cast.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Craft {
    /// Share of the tune's notes above which nobody sounds.
    pub on_top: f64,
    /// Phrases in which the sketch has a tune and nobody plays it.
    pub without_tune: usize,
    /// The same of the bass.
    pub without_bass: usize,
    /// Beginnings of bass notes under which somebody sounds another tone.
    pub turned_over: usize,
    /// Barlines at which more than two in five of who plays chords have the third; where they have but two tones, more than half.
    pub crowded_thirds: usize,
    /// Sevenths and leading notes of chords that a player leaves although their resolution is there.
    pub hanging: usize,
    /// Phrases in which the tune goes to quite other players than had it.
    pub hand_offs: usize,
    /// Players who sound, on the mean of the barlines.
    pub players_sounding: f64,
}

pub(crate) fn craft(sketch: &Sketch, lineup: &Lineup, cast: &Cast, notes: &BTreeMap<Seat, Vec<CastNote>>) -> Craft {
    let role = |note: &CastNote| sketch.strands[note.line.strand].role;
    let at = |moment: Crotchets| notes.values().filter_map(move |own| sounding(own, moment));
    let mut found = Craft::default();
    let (mut on_top, mut all) = (0usize, 0usize);
    let (mut sum, mut barlines) = (0u32, 0u32);
    let mut carriers: Option<BTreeSet<Seat>> = None;
    for phrase in &cast.plan.phrases {
        let span = Plan::span(sketch, &phrase.bars);
        let present = crate::assign::present(sketch, span);
        let lacks = |wanted: Role| {
            let mut there = present.iter().filter(|&&strand| sketch.strands[strand].role == wanted).peekable();
            there.peek().is_some() && !there.any(|strand| phrase.tasks.iter().any(|task| task.strand == Some(*strand)))
        };
        found.without_tune += usize::from(lacks(Role::Melody));
        found.without_bass += usize::from(lacks(Role::Bass));
        for strand in sketch.strands.iter().filter(|strand| strand.role == Role::Melody) {
            for note in strand.between(span.0, span.1).iter().filter(|note| note.duration.is_positive()) {
                let top = at(note.onset).map(CastNote::key).max();
                let tune = at(note.onset).filter(|other| role(other) == Role::Melody).map(CastNote::key).max();
                all += 1;
                on_top += usize::from(tune.is_some() && tune == top);
            }
        }
        for strand in sketch.strands.iter().filter(|strand| strand.role == Role::Bass) {
            for note in strand.between(span.0, span.1).iter().filter(|note| note.duration.is_positive()) {
                let bass = at(note.onset).filter(|other| role(other) == Role::Bass).map(CastNote::key).min();
                let low = at(note.onset).map(CastNote::key).min();
                let turned = |(bass, low): (i32, i32)| low < bass && (bass - low) % 12 != 0;
                found.turned_over += usize::from(bass.zip(low).is_some_and(turned));
            }
        }
        let now: BTreeSet<Seat> = phrase
            .tasks
            .iter()
            .filter(|task| task.strand.is_some_and(|strand| sketch.strands[strand].role == Role::Melody))
            .flat_map(|task| task.chairs.iter().map(|chair| (task.section, *chair)))
            .collect();
        if !now.is_empty() {
            found.hand_offs += usize::from(carriers.as_ref().is_some_and(|before| before.is_disjoint(&now)));
            carriers = Some(now);
        }
        for bar in phrase.bars.clone() {
            let moment = sketch.bar_start(bar);
            barlines += 1;
            for (seat, own) in notes {
                if sounding(own, moment).is_some() {
                    sum += u32::from(lineup.sections[seat.0].chairs[seat.1].people);
                }
            }
            let chord = sketch.harmony.chord_at(moment);
            let chords: Vec<u8> = at(moment)
                .filter(|note| role(note) == Role::Harmony)
                .filter_map(|note| u8::try_from(note.key().rem_euclid(12)).ok())
                .collect();
            let third = |class: &&u8| chord.is_some_and(|chord| matches!(chord.tone(**class), ChordTone::Third));
            let thirds = chords.iter().filter(third).count();
            // Of two tones that are all there are, half is even.
            let mut tones = chords.clone();
            tones.sort_unstable();
            tones.dedup();
            let even = tones.len() == 2 && thirds * 2 <= chords.len();
            found.crowded_thirds += usize::from(thirds > 1 && thirds * 5 > chords.len() * 2 && !even);
        }
    }
    // Whoever rests for a crotchet has left it.
    let chordal = |note: &CastNote| note.line.voice > 0 && sketch.strands[note.line.strand].is_chordal();
    let goes_on = |pair: &&[CastNote]| {
        pair.iter().all(|note| chordal(note) && note.duration.is_positive()) && pair[1].onset - pair[0].end() < Crotchets::ONE
    };
    let steps = notes.values().flat_map(|own| own.windows(2)).filter(goes_on);
    found.hanging = steps.filter(|pair| hangs(sketch, &pair[0], &pair[1])).count();
    let of = |many: usize| number(many);
    found.on_top = if all == 0 { 1.0 } else { of(on_top) / of(all) };
    found.players_sounding = f64::from(sum) / f64::from(barlines.max(1));
    found
}

/// Whether a chord strand itself has a tone that moves as a voice does from one moment to another, at whatever octave.
pub(crate) fn moves_in(strand: &Strand, from: (Crotchets, i32), to: (Crotchets, i32)) -> bool {
    let there = |at: Crotchets, key: i32| {
        let same = move |other: &i32| (other - key) % 12 == 0;
        strand.sounding(at).map(SketchNote::key).filter(same).collect::<Vec<i32>>()
    };
    let after = there(to.0, to.1);
    there(from.0, from.1).iter().any(|before| after.contains(&(before + to.1 - from.1)))
}
