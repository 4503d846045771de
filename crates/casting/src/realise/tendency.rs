//! Tones that have to resolve: sevenths and leading notes.

use ripieno_score::Crotchets;
use ripieno_texture::ChordTone;

use super::{CastNote, Setting};
use crate::sketch::Sketch;
use crate::voicing::hanging;

/// Facts of harmony at a moment, as pitch-class bits.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Tones {
    pub leading: u16,
    pub seventh: u16,
    pub third: u16,
    pub fifth: u16,
}

/// What the tones that sound at a moment are in the chord that is read there.
pub(crate) fn tones(sketch: &Sketch, at: Crotchets, sounding: u16) -> Tones {
    let mut tones = Tones::default();
    let Some(chord) = sketch.harmony.chord_at(at) else { return tones };
    let root = 1u16 << chord.root.class();
    // A reading that does not fit the notes says nothing.
    if sounding & root == 0 {
        return tones;
    }
    for class in 0..12u8 {
        let mask = 1u16 << class;
        match chord.tone(class) {
            ChordTone::Third => tones.third |= mask & sounding,
            ChordTone::Fifth => tones.fifth |= mask & sounding,
            ChordTone::Seventh => tones.seventh |= mask & sounding,
            _ => {}
        }
    }
    if let Some(key) = sketch.harmony.key_at(at) {
        let tonic = key.tonic.class();
        let leading = (tonic + 11) % 12;
        let dominant = [(tonic + 7) % 12, leading].contains(&chord.root.class());
        if dominant {
            tones.leading = (1u16 << leading) & sounding;
        }
    }
    tones
}

/// What the tones of the sketch at a moment are, and all that sound there as pitch-class bits.
pub(super) fn tones_of(sketch: &Sketch, at: Crotchets) -> (Tones, u16) {
    let all = sketch.strands.iter().fold(0, |have, strand| have | strand.classes_at(at));
    (tones(sketch, at, all), all)
}

/// Whether a player who goes from one chord note to the next leaves a seventh or leading note hanging: the chord changes, and the tone to which it resolves is there.
pub(crate) fn hangs(sketch: &Sketch, from: &CastNote, to: &CastNote) -> bool {
    let last = from.end() - Crotchets::new(1, 960).unwrap_or(Crotchets::ZERO);
    let root = |at: Crotchets| sketch.harmony.chord_at(at).map(|chord| chord.root.class());
    if root(last) == root(to.onset) {
        return false;
    }
    let (tones, _) = tones_of(sketch, last);
    let chordal = sketch.strands.iter().filter(|strand| strand.is_chordal());
    let next = chordal.fold(0, |have, strand| have | strand.classes_at(to.onset));
    hanging(tones.seventh, tones.leading, next, from.key(), to.key())
}

/// In how many steps from a moment on, up to the first note that begins after another, a player's chord notes leave something hanging.
pub(super) fn hanging_steps(setting: &Setting<'_>, own: &[CastNote], from: Crotchets, to: Crotchets) -> usize {
    let first = own.partition_point(|note| note.end() < from);
    let near = own[first..].windows(2).take_while(|pair| pair[0].onset <= to);
    near.filter(|pair| pair[0].line.voice > 0 && pair[1].line.voice > 0 && hangs(setting.sketch, &pair[0], &pair[1])).count()
}
