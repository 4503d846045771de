//! Range and register, by level and dynamic.

use ripieno_instruments::catalogue::Build;
use ripieno_instruments::{Family, Instrument, Section, catalogue};
use ripieno_score::{ChangeKind, ClefSign, NoteFlags};
use ripieno_texture::Techniques;

use super::Found;
use crate::kind::{Kind, Severity};
use crate::level::Level;
use crate::limits::Limits;
use crate::view::{PartView, View};

/// Notes shorter than this are over before anybody hears how soft they were, in seconds.
const HELD: f64 = 0.5;

/// The top of the piccolo trumpet (catalogue).
const PICCOLO_TRUMPET: u8 = 93;

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    // Instruments the players may take up without the file saying where.
    let also: Vec<Limits> = part.also.iter().filter_map(|instrument| Limits::of(instrument, None, view.level)).collect();
    let bass = bass_trombone(part).and_then(|instrument| Limits::of(instrument, None, view.level));
    for row in part.rows() {
        let (Some(key), Some(limits)) = (view.key(row), part.limits(row)) else { continue };
        let note = view.note(row);
        if note.is_some_and(|note| note.flags.intersects(NoteFlags::SLASH | NoteFlags::HARMONIC)) {
            continue;
        }
        let name = limits.instrument.name();
        if !limits.possible.contains(key) {
            if also.iter().any(|other| other.possible.contains(key)) {
                continue;
            }
            let (side, end) = if key < limits.possible.low() {
                ("below", ripieno_score::MidiKey::try_from(i32::from(limits.possible.low())))
            } else {
                ("above", ripieno_score::MidiKey::try_from(i32::from(limits.possible.high())))
            };
            let end = end.map_or_else(|_| String::new(), |end| end.pitch().to_string());
            let reason = format!(
                "{} is {side} what {} {} {name} player has ({end})",
                view.full_name(row),
                if view.level == Level::Amateur { "an" } else { "a" },
                view.level
            );
            // What lies above an ordinary trumpet is played on a small one.
            let small = view.level == Level::Professional
                && limits.instrument.id == "trumpet"
                && key > limits.possible.high()
                && key <= PICCOLO_TRUMPET;
            let bass = bass.as_ref().is_some_and(|other| other.possible.contains(key));
            let remedy = if bass { NEEDS_BASS.to_owned() } else { remedy(view, part, row, key, limits) };
            // Old notation is read an octave away by every player: a question, no fault.
            let old = old_octave(view, part, row, key, limits).is_some();
            let severity = if early(limits) || small || bass || old { Severity::Caution } else { Severity::Fault };
            found.rows((Kind::Range, severity), part, None, &[row], reason, remedy);
            found.sourced(limits.compass_source);
        } else if !limits.comfortable.contains(key) && !also.iter().any(|other| other.comfortable.contains(key)) {
            let reason = if key < limits.comfortable.low() {
                format!("{} lies below the usual compass of the {name} ({})", view.full_name(row), limits.comfortable)
            } else {
                format!("{} lies above the usual compass of the {name} ({})", view.full_name(row), limits.comfortable)
            };
            let usual = match (limits.instrument.id.as_str(), key < limits.comfortable.low()) {
                ("double-bass", true) => {
                    "Ask for basses with a fifth string or extension, or give it an octave higher in cue size"
                }
                ("flute", true) => "Ask whether the player has a B foot",
                (_, true) => "Ask the player, or give the note to a lower instrument",
                (_, false) => "Ask the player, or give the passage to a higher instrument",
            };
            let bass = bass.as_ref().is_some_and(|other| other.comfortable.contains(key));
            let usual = if bass { NEEDS_BASS } else { usual };
            let remedy = old_octave(view, part, row, key, limits).unwrap_or(usual);
            // Professional sections have basses that go down to C, and old instruments differ from one to the next.
            let extension =
                limits.instrument.id == "double-bass" && key < limits.comfortable.low() && view.level == Level::Professional;
            // Choirs have voices that reach a tone farther.
            let beyond = limits.comfortable.low().saturating_sub(key).max(key.saturating_sub(limits.comfortable.high()));
            let voice = limits.instrument.family == Family::Voice && beyond <= 2;
            let severity = if extension || voice || bass || early(limits) { Severity::Note } else { Severity::Caution };
            found.rows((Kind::Register, severity), part, None, &[row], reason, remedy);
            found.sourced(limits.compass_source);
        } else {
            by_dynamic(view, part, row, key, limits, found);
        }
    }
    if part.instrument.section == Section::Horns && !part.numbers.is_empty() {
        pairs(view, part, found);
    }
}

const NEEDS_BASS: &str = "The third player needs a bass trombone: say so in the part's name";

/// The third trombone is a bass trombone in most orchestras, whatever the part calls it (common practice): its low notes are no cause for alarm.
fn bass_trombone(part: &PartView<'_>) -> Option<&'static Instrument> {
    let is_third = part.instrument.section == Section::Trombones && part.numbers.as_slice() == [3];
    catalogue().by_id("bass-trombone").filter(|_| is_third)
}

/// Whether the instrument is of early music, whose compass nobody can promise.
fn early(limits: &Limits) -> bool {
    limits.instrument.build == Build::Early
}

/// The clef a note is written under.
fn clef_at(view: &View<'_>, part: &PartView<'_>, row: usize) -> Option<ClefSign> {
    let place = (view.bar(row), view.place(row));
    let before = part.part.changes.partition_point(|change| (change.bar, change.at) <= place);
    part.part.changes[..before].iter().rev().find_map(|change| match change.kind {
        ChangeKind::Clef(clef) => Some(clef.sign),
        _ => None,
    })
}

/// What old scores write in another octave: horns in the bass clef too low, cellos in the treble clef too high.
fn old_octave(view: &View<'_>, part: &PartView<'_>, row: usize, key: u8, limits: &Limits) -> Option<&'static str> {
    let (own, clef) = (limits.instrument, clef_at(view, part, row));
    let range = limits.comfortable;
    if own.section == Section::Horns && clef == Some(ClefSign::F) && key < range.low() {
        Some("Old scores write horns in the bass clef an octave too low: if so, write it an octave higher")
    } else if own.id == "cello" && clef == Some(ClefSign::G) && key > range.high() {
        Some("Old scores write cellos in the treble clef an octave too high: if so, write it an octave lower")
    } else {
        None
    }
}

fn remedy(view: &View<'_>, part: &PartView<'_>, row: usize, key: u8, limits: &Limits) -> String {
    if let Some(old) = old_octave(view, part, row, key, limits) {
        return old.to_owned();
    }
    let octave = if key < limits.possible.low() { key.saturating_add(12) } else { key.saturating_sub(12) };
    if part.transposition_at(ripieno_score::BarIndex(0), ripieno_score::Crotchets::ZERO).is_none()
        && limits.instrument.default_transposition().semitones != 0
    {
        "Check the transposition of the part: the file states none".to_owned()
    } else if limits.possible.contains(octave) {
        let way = if key < limits.possible.low() { "higher" } else { "lower" };
        format!("Write it an octave {way}, check clef and transposition, or give it to another instrument")
    } else if view.level == Level::Professional {
        "A slip of the pen? Check octave, clef and transposition".to_owned()
    } else {
        "Rewrite it for this level or give it to another instrument".to_owned()
    }
}

fn by_dynamic(view: &View<'_>, part: &PartView<'_>, row: usize, key: u8, limits: &Limits, found: &mut Found<'_, '_>) {
    let Some(level) = view.level_of(row) else { return };
    let (start, end) = view.seconds[row];
    if limits.dynamics_source.is_empty() || end - start < HELD || view.has(row, Techniques::MUTED) {
        return;
    }
    let name = limits.instrument.name();
    // At p the register reaches a minor third farther than at pp.
    let margin = if level.0 <= 2.0 { 0 } else { 3 };
    if level.0 <= 3.0 && (key > limits.soft.high() + margin || key + margin < limits.soft.low()) {
        let side = if key < limits.soft.low() { "low" } else { "high" };
        let reason = format!("{} at {} is {side} for a soft {name}", view.full_name(row), level.mark());
        found.rows(
            (Kind::SoftRegister, Severity::Caution),
            part,
            None,
            &[row],
            reason,
            "Allow a louder dynamic, or give it to an instrument that is soft there",
        );
    } else if level.0 >= 7.0 && key < limits.loud.low() {
        let reason = format!("{} at {} will not be loud on the {name}", view.full_name(row), level.mark());
        found.rows((Kind::LoudRegister, Severity::Note), part, None, &[row], reason, "Double it, or write it higher");
    } else if level.0 >= 7.0 && key > limits.loud.high() && limits.instrument.family == Family::Woodwind {
        let reason = format!("{} at {} will be thin on the {name}", view.full_name(row), level.mark());
        found.rows((Kind::LoudRegister, Severity::Note), part, None, &[row], reason, "Double it, or write it lower");
    }
}

/// Horns sit in pairs: the first and third play high, the second and fourth low.
fn pairs(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    for strand in &part.strands {
        let Some(number) = strand.player else { continue };
        for event in strand.events.iter().filter(|event| !event.shared) {
            let Some(key) = view.key(event.row) else { continue };
            if number.is_multiple_of(2) && key > 72 {
                let reason = format!("{} lies high for a low horn player", view.full_name(event.row));
                found.rows(
                    (Kind::HornPair, Severity::Note),
                    part,
                    strand.player,
                    &[event.row],
                    reason,
                    "Give it to the first or third horn if they are free",
                );
            } else if !number.is_multiple_of(2) && key < 41 {
                let reason = format!("{} lies low for a high horn player", view.full_name(event.row));
                found.rows(
                    (Kind::HornPair, Severity::Note),
                    part,
                    strand.player,
                    &[event.row],
                    reason,
                    "Give it to the second or fourth horn if they are free",
                );
            }
        }
    }
}
