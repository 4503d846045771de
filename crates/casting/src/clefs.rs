//! Which clef a part is read in, and where it changes.
//!
//! A player's usual clef stays unless notes lie more than two ledger lines off it for a while; then, at a rest or a barline, another that the catalogue names
//! for the instrument takes over. That trombones, bassoons and cellos change to the tenor clef when they stay high, and that horns read the bass clef only
//! for what lies low on many ledger lines, is common practice (handbooks agree; from memory); the prices are ours.

use ripieno_instruments::catalogue::{Clef as CatalogueClef, Instrument};
use ripieno_instruments::{Family, Section};
use ripieno_score::{Bar, BarIndex, Change, ChangeKind, Clef, ClefSign, Crotchets, Note, NoteFlags, Part, Pitch};

use crate::notate::bar_of;

/// Price of another clef after a rest, at a barline, and elsewhere: to be read, announced and given up again.
const AFTER_A_REST: u32 = 8;
const AT_A_BARLINE: u32 = 12;
const ELSEWHERE: u32 = 40;
/// Price of a note in a clef that is not the usual one: twice as much for each further one in the catalogue's order.
const UNUSUAL: u32 = 1;
/// Ledger lines that nobody minds.
const EASY: u32 = 2;

/// The clefs in which the instrument is written, the usual one first.
fn known(instrument: &Instrument) -> Vec<Clef> {
    let of = |clef: &CatalogueClef| match clef {
        CatalogueClef::Pitched { sign, line, octave } => {
            let sign = match sign {
                'F' => ClefSign::F,
                'C' => ClefSign::C,
                _ => ClefSign::G,
            };
            Some(Clef { sign, line: i8::try_from(*line).unwrap_or(2), octaves: *octave })
        }
        _ => None,
    };
    let found: Vec<Clef> = instrument.clefs.iter().filter_map(of).collect();
    if found.is_empty() { vec![Clef { sign: ClefSign::G, line: 2, octaves: 0 }] } else { found }
}

/// Of these the ones between which a player changes without a change of key: where the other stands for another transposition (bass clarinet in the bass
/// clef, euphonium in the treble clef) the usual one stays throughout. Horns' bass clef is the modern one, transposed alike.
fn changing(instrument: &Instrument, known: &[Clef]) -> Vec<Clef> {
    let usual = known[0];
    let bowed = instrument.family == Family::Strings;
    let horn = instrument.section == Section::Horns;
    let goes = |clef: &Clef| match (usual.sign, clef.sign) {
        _ if *clef == usual => true,
        (ClefSign::F, ClefSign::C) => clef.line == 4,
        (ClefSign::F | ClefSign::C, ClefSign::G) => bowed,
        (ClefSign::G, ClefSign::F) => horn,
        _ => false,
    };
    known.iter().copied().filter(goes).collect()
}

/// Steps of the staff from C0.
fn steps(pitch: Pitch) -> i32 {
    i32::from(pitch.octave) * 7 + pitch.step as i32
}

/// The note on the middle line, in steps of the staff from C0.
fn middle(clef: Clef) -> i32 {
    let own = match clef.sign {
        // G4, F3 and C4 on their lines.
        ClefSign::F => 3 * 7 + 3,
        ClefSign::C => 4 * 7,
        _ => 4 * 7 + 4,
    };
    own + 7 * i32::from(clef.octaves) + 2 * (3 - i32::from(clef.line))
}

/// Ledger lines of a note.
pub(crate) fn ledgers(clef: Clef, pitch: Pitch) -> u32 {
    (steps(pitch) - middle(clef)).unsigned_abs().saturating_sub(4) / 2
}

fn price(clef: Clef, pitch: Pitch) -> u32 {
    2 * ledgers(clef, pitch).saturating_sub(EASY).min(8).pow(2)
}

/// The clefs of a part whose notes stand: at its start, and where it changes.
pub(crate) fn clefs(part: &Part, bars: &[Bar], instrument: &Instrument) -> Vec<Change> {
    let known = known(instrument);
    let mut notes: Vec<(Crotchets, Crotchets, Pitch)> = part
        .notes
        .iter()
        .filter(|note| note.bar.at() < bars.len() && !note.flags.contains(NoteFlags::GRACE))
        .filter_map(|note: &Note| {
            let from = bars[note.bar.at()].start + note.at;
            Some((from, from + note.duration, note.pitch()?))
        })
        .collect();
    notes.sort_by_key(|&(from, to, pitch)| (from, to, steps(pitch)));
    let change = |at: Crotchets, clef: Clef| {
        let bar = bar_of(bars, at);
        let start = bars.get(bar).map_or(Crotchets::ZERO, |bar| bar.start);
        let kind = ChangeKind::Clef(clef);
        Change { bar: BarIndex(u32::try_from(bar).unwrap_or(0)), at: at - start, staff: None, kind }
    };
    let choice = changing(instrument, &known);
    // Best price up to each note for each clef of it, and the clef before.
    let mut best: Vec<Vec<(u32, usize)>> = Vec::with_capacity(notes.len());
    let mut sounded = Crotchets::ZERO;
    for (n, &(from, to, pitch)) in notes.iter().enumerate() {
        let moved = if from > sounded {
            AFTER_A_REST
        } else if bars[bar_of(bars, from)].start == from {
            AT_A_BARLINE
        } else {
            ELSEWHERE
        };
        // Notes that begin together, or while another is held, are read in one clef.
        let bound = n > 0 && (notes[n - 1].0 == from || sounded > from);
        sounded = sounded.max(to);
        let row = (0..choice.len())
            .map(|clef| {
                let unusual = UNUSUAL * u32::try_from(clef).unwrap_or(1);
                let own = price(choice[clef], pitch) + unusual;
                let Some(before) = best.last() else { return (own + unusual * AFTER_A_REST, clef) };
                let stay = (before[clef].0, clef);
                let others =
                    (0..choice.len()).filter(|&other| other != clef && !bound).map(|other| (before[other].0 + moved, other));
                let (least, from) = others.fold(stay, |least, other| if other.0 < least.0 { other } else { least });
                (least + own, from)
            })
            .collect();
        best.push(row);
    }
    let mut clef = best.last().and_then(|row| (0..row.len()).min_by_key(|&clef| (row[clef].0, clef))).unwrap_or(0);
    let mut found = Vec::new();
    for n in (1..notes.len()).rev() {
        let before = best[n][clef].1;
        if before != clef {
            found.push(change(notes[n].0, choice[clef]));
        }
        clef = before;
    }
    let at_start = choice.get(clef).copied().unwrap_or(known[0]);
    found.push(change(Crotchets::ZERO, at_start));
    found.reverse();
    found
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test stops at the first surprise
mod tests {
    use ripieno_instruments::catalogue::catalogue;
    use ripieno_score::{Head, Step};

    use super::*;

    /// Clefs by bar, of crotchets in common time.
    fn of(instrument: &str, keys: &[(Step, i8)]) -> Vec<(u32, ClefSign, i8)> {
        let instrument = catalogue().by_id(instrument).unwrap();
        let bars: Vec<Bar> =
            (0..16).map(|bar| Bar::new(bar.to_string(), Crotchets::whole(4 * bar), Crotchets::whole(4))).collect();
        let note = |(at, &(step, octave)): (u32, &(Step, i8))| Note {
            bar: BarIndex(at / 4),
            at: Crotchets::whole(i64::from(at % 4)),
            duration: Crotchets::ONE,
            head: Head::Pitched(Pitch::new(step, 0, octave)),
            ..Note::default()
        };
        let part = Part { notes: (0..).zip(keys).map(note).collect(), ..Part::default() };
        let found = clefs(&part, &bars, instrument);
        found
            .into_iter()
            .filter_map(
                |change| if let ChangeKind::Clef(clef) = change.kind { Some((change.bar.0, clef.sign, clef.line)) } else { None },
            )
            .collect()
    }

    /// Ledger lines as on any staff: middle C has one below the treble and one above the bass clef, and lies on the middle line of the alto clef.
    #[test]
    fn ledger_lines_are_counted() {
        let clef = |sign, line| Clef { sign, line, octaves: 0 };
        let c = Pitch::new(Step::C, 0, 4);
        assert_eq!([clef(ClefSign::G, 2), clef(ClefSign::F, 4), clef(ClefSign::C, 3)].map(|clef| ledgers(clef, c)), [1, 1, 0]);
        assert_eq!(ledgers(clef(ClefSign::F, 4), Pitch::new(Step::B, 0, 4)), 4);
        assert_eq!(ledgers(clef(ClefSign::G, 2), Pitch::new(Step::F, 0, 3)), 3);
    }

    /// Common practice, from memory: a horn around written B3 reads the treble clef, one that stays near C3 and below the bass clef.
    #[test]
    fn horns_read_the_treble_clef() {
        let low =
            [(Step::G, 4), (Step::B, 3), (Step::G, 3), (Step::B, 3), (Step::C, 4), (Step::A, 3), (Step::F, 3), (Step::B, 3)];
        assert_eq!(of("horn", &low.repeat(4)), [(0, ClefSign::G, 2)]);
        let pedal = [(Step::C, 3), (Step::G, 2), (Step::C, 3), (Step::G, 2)];
        assert_eq!(of("horn", &pedal.repeat(4)), [(0, ClefSign::F, 4)]);
    }

    /// Common practice, from memory: trombones that stay above F4 go to the tenor clef and come back.
    #[test]
    fn trombones_change_to_the_tenor_clef_and_back() {
        let (low, high) = ([(Step::D, 3), (Step::A, 3)].repeat(8), [(Step::A, 4), (Step::B, 4)].repeat(8));
        let all = [low.clone(), high, low.clone()].concat();
        assert_eq!(of("trombone", &all), [(0, ClefSign::F, 4), (4, ClefSign::C, 4), (8, ClefSign::F, 4)]);
        // For one high note nobody changes.
        let once = [low.clone(), vec![(Step::B, 4)], low].concat();
        assert_eq!(of("trombone", &once), [(0, ClefSign::F, 4)]);
        // Its bass clef would transpose otherwise.
        assert_eq!(of("bass-clarinet", &[(Step::C, 3), (Step::E, 3)].repeat(8)), [(0, ClefSign::G, 2)]);
    }
}
