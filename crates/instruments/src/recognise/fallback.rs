//! Guessing a part whose name does not help, from the surest clue to the poorest.

use super::points::{Context, clue_points};
use super::reason::{Reason, ReasonKind, list};
use super::{Clues, StaffLabel};
use crate::catalogue::{Catalogue, Clef, Instrument};

pub(crate) fn fallback(
    catalogue: &'static Catalogue,
    staff: Option<StaffLabel>,
    clues: &Clues<'_>,
    context: &Context,
) -> (&'static Instrument, f32, Reason) {
    let best_of = |list: Vec<&'static Instrument>| {
        list.into_iter().max_by(|a, b| {
            let points = |item: &Instrument| clue_points(item, clues, context);
            points(a).total_cmp(&points(b)).then(b.order.cmp(&a.order))
        })
    };
    if let Some(item) = best_of(catalogue.by_sound(clues.sound_id)).filter(|_| !clues.sound_id.is_empty()) {
        let why = format!("Its sound {} is that of the {}.", clues.sound_id, item.name());
        return (item, 0.85, Reason::new(ReasonKind::Sound, why));
    }
    if let Some(item) = catalogue.by_kern(clues.kern_code) {
        let why = format!("Its Humdrum code *I{} is that of the {}.", clues.kern_code, item.name());
        return (item, 0.9, Reason::new(ReasonKind::KernCode, why));
    }
    // A longer sound than the standard has, or one of a kind we do not keep: the nearest one above it.
    let mut sound = clues.sound_id;
    while let Some((shorter, _)) = sound.rsplit_once('.') {
        if let Some(item) = best_of(catalogue.by_sound(shorter)) {
            let why = format!("Its sound {} is a kind of {}.", clues.sound_id, item.name());
            return (item, 0.6, Reason::new(ReasonKind::Sound, why));
        }
        sound = shorter;
    }
    if clues.midi_channel10
        && let Some(item) = catalogue.by_id("percussion")
    {
        let why = "It plays on the MIDI percussion channel.";
        return (item, 0.6, Reason::new(ReasonKind::Midi, why));
    }
    if let Some((program, item)) = clues.midi_program.filter(|p| *p != 1).and_then(|p| Some((p, catalogue.by_program(p)?))) {
        let why = format!("Its MIDI program {program} is the {}.", item.name());
        return (item, 0.55, Reason::new(ReasonKind::Midi, why));
    }
    let of_staff = match staff {
        Some(StaffLabel::RightHand | StaffLabel::LeftHand) => Some(("piano", "Its name is that of a hand at a keyboard.")),
        Some(StaffLabel::Pedal | StaffLabel::Manual) => Some(("organ", "Its name is that of a staff of an organ.")),
        _ => None,
    };
    if let Some((item, why)) = of_staff.and_then(|(id, why)| Some((catalogue.by_id(id)?, why))) {
        return (item, 0.5, Reason::new(ReasonKind::Name, why));
    }
    if clues.clef == Some(Clef::Percussion)
        && let Some(item) = catalogue.by_id("percussion")
    {
        return (item, 0.5, Reason::new(ReasonKind::Clef, "It has a percussion clef."));
    }
    let piano = clues.midi_program.and_then(|p| catalogue.by_program(p));
    if clues.clef.is_some() || clues.written_range.is_some() || clues.transposition.is_some() {
        // Without a name only instruments that most scores have are worth a guess.
        let common = catalogue.all().iter().filter(|item| item.weight >= 8 && item.pitched).collect();
        if let Some(item) = best_of(common) {
            let mut rests = Vec::new();
            rests.extend(clues.clef.map(|clef| format!("clef {clef}")));
            rests.extend(clues.written_range.map(|range| format!("compass {range}")));
            rests.extend(clues.transposition.map(|i| format!("transposition {:+} semitones", i.semitones())));
            let why = format!("A guess from its {}.", list(&rests, "and"));
            let kind = if clues.written_range.is_some() { ReasonKind::Compass } else { ReasonKind::Clef };
            return (item, 0.25, Reason::new(kind, why));
        }
    }
    if let Some(item) = piano {
        let why = "Only its MIDI program 1 is known, which files have when nobody chose.";
        return (item, 0.2, Reason::new(ReasonKind::Midi, why));
    }
    // The catalogue always holds this row; its tests say so.
    let item = catalogue.by_id("unspecified").unwrap_or(&catalogue.all()[0]);
    (item, 0.0, Reason::new(ReasonKind::Unknown, "Nothing else is known about it."))
}
