//! What is held into a phrase has to be carried there too: a strand is cut where a phrase begins, so that whoever has it in the phrase has the rest of the note.
//!
//! Who had the beginning and goes on with the strand holds on ([`crate::Cast::notes_of`] ties the two); somebody else strikes it anew (common practice where a pedal is handed over). What ends
//! within a crotchet of the joint is the end of the phrase before and stays with who holds it.

use std::borrow::Cow;

use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::plan::Plan;
use crate::realise::span_of;
use crate::sketch::{Sketch, SketchNote, Strand};

/// What lasts less than this into a phrase belongs to the phrase before (ours).
const STAYS: Crotchets = Crotchets::ONE;

/// The sketch with its strands cut where phrases of a plan begin. Its page and its sound stay as they are.
pub(crate) fn held_over<'a>(sketch: &'a Sketch, plan: &Plan) -> Cow<'a, Sketch> {
    let joint = |at: usize| {
        let phrase = &plan.phrases[at];
        let follows = at.checked_sub(1).is_some_and(|before| plan.phrases[before].bars.end == phrase.bars.start);
        span_of(sketch, phrase, Role::Harmony, follows).0
    };
    let mut joints: Vec<Crotchets> = (0..plan.phrases.len()).map(joint).collect();
    joints.sort_unstable();
    joints.dedup();
    if !sketch.strands.iter().any(|strand| strand.notes.iter().any(|note| next_joint(&joints, note).is_some())) {
        return Cow::Borrowed(sketch);
    }
    let mut held = sketch.clone();
    held.strands.iter_mut().for_each(|strand| *strand = cut(strand, &joints));
    Cow::Owned(held)
}

/// The first joint over which a note is held.
fn next_joint(joints: &[Crotchets], note: &SketchNote) -> Option<Crotchets> {
    let next = joints.partition_point(|joint| *joint <= note.onset);
    joints.get(next).copied().filter(|joint| note.end() - *joint >= STAYS)
}

fn cut(strand: &Strand, joints: &[Crotchets]) -> Strand {
    let mut notes: Vec<SketchNote> = Vec::with_capacity(strand.notes.len());
    let mut octaves = strand.octaves.clone();
    for note in &strand.notes {
        let mut rest = *note;
        while let Some(joint) = next_joint(joints, &rest) {
            notes.push(SketchNote { duration: joint - rest.onset, ..rest });
            rest = SketchNote { onset: joint, duration: rest.end() - joint, held: true, ..rest };
            let doubled = strand.octaves.iter().filter(|(at, _)| *at == note.onset);
            octaves.extend(doubled.map(|(_, octave)| (joint, *octave)));
        }
        notes.push(rest);
    }
    octaves.sort_unstable();
    octaves.dedup();
    Strand::new(strand.name.clone(), strand.role, strand.part, notes, octaves)
}
