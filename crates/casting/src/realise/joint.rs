//! Where one phrase leads into the next: whoever is still needed for the chord there takes up the tune at the barline, and leaves its upbeat to those who are free.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;

use super::chords::between_of;
use super::{CastNote, PhraseCast, Seat, Setting};
use crate::coverage::heard;

/// Takes the upbeat before `bar` from players without whom a chord of the phrase before would lack a tone, and from those who would cross a chair of their section that still has a note of that
/// phrase, where others have it too and no person has set it.
pub(crate) fn leave_upbeats(setting: &Setting<'_>, before: &PhraseCast, bar: Crotchets, done: &mut PhraseCast) {
    let begins = |notes: &Vec<CastNote>| notes.first().map(|note| note.onset).filter(|&at| at < bar);
    let Some(from) = done.notes.values().filter_map(begins).min() else { return };
    let lacks = |done: &PhraseCast| -> u32 {
        let joined = joined(before, done);
        heard(setting.sketch, &[(from, bar)], &joined).iter().map(|one| one.missing.count_ones()).sum()
    };
    let mut least = lacks(done);
    let seats: Vec<Seat> = done.notes.iter().filter(|(_, notes)| begins(notes).is_some()).map(|(seat, _)| *seat).collect();
    for seat in seats {
        let crossing = crosses_at_joint(setting, &joined(before, done), seat, &done.notes[&seat], bar);
        let needed = least > 0 && before.notes.contains_key(&seat);
        if !needed && !crossing {
            continue;
        }
        let own = &done.notes[&seat];
        let upbeat = || own.iter().filter(|note| note.onset < bar);
        let has = |note: &CastNote, other: &CastNote| (other.onset, other.line) == (note.onset, note.line);
        let others = done.notes.iter().filter(|(other, _)| **other != seat);
        let shared = others.into_iter().any(|(_, other)| upbeat().all(|note| other.iter().any(|one| has(note, one))));
        // What is held over the barline goes on.
        if !shared || upbeat().any(|note| note.end() > bar) || setting.sets(seat, (from, bar)) {
            continue;
        }
        let mut without = done.clone();
        without.notes.insert(seat, own.iter().filter(|note| note.onset >= bar).copied().collect());
        let left = lacks(&without);
        if left < least || crossing && left == least {
            (*done, least) = (without, left);
        }
    }
    done.notes.retain(|_, notes| !notes.is_empty());
}

/// Whether a player's upbeat lies above a higher chair's note, or below a lower one's.
fn crosses_at_joint(
    setting: &Setting<'_>,
    joined: &BTreeMap<Seat, Vec<CastNote>>,
    seat: Seat,
    own: &[CastNote],
    bar: Crotchets,
) -> bool {
    own.iter().filter(|note| note.onset < bar).any(|note| {
        let (low, high) = between_of(setting.lineup, joined, seat, note.onset, note.end());
        low.is_some_and(|low| note.key() < low) || high.is_some_and(|high| note.key() > high)
    })
}

/// What sounds where two phrases meet: whoever begins the second has left the first.
fn joined(before: &PhraseCast, done: &PhraseCast) -> BTreeMap<Seat, Vec<CastNote>> {
    let mut all = before.notes.clone();
    for (seat, notes) in &done.notes {
        let Some(first) = notes.iter().map(|note| note.onset).min() else { continue };
        let own = all.entry(*seat).or_default();
        own.retain(|note| note.onset < first);
        own.iter_mut().filter(|note| note.end() > first).for_each(|note| note.duration = first - note.onset);
        own.extend(notes);
    }
    all
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use ripieno_formats::{Limits, read};
    use ripieno_texture::Role;

    use super::{CastNote, Crotchets, PhraseCast, Setting, leave_upbeats};
    use crate::lineup::Lineup;
    use crate::realise::{LineId, LockedNote};
    use crate::sketch::Sketch;
    use crate::voicing::{Search, Weights};

    /// A bar of chords in crotchets, in the last of which the tune has its upbeat.
    fn sketch() -> Sketch {
        let note = |step: char, octave: u8, chord: &str| {
            format!(
                "<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration><type>quarter</type></note>"
            )
        };
        let rests = "<note><rest/><duration>1</duration><type>quarter</type></note>".repeat(3);
        let chord = note('C', 4, "") + &note('E', 4, "<chord/>") + &note('G', 4, "<chord/>");
        let part = |id: &str, first: &str, second: &str| {
            let start = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
            format!(
                "<part id=\"{id}\"><measure number=\"1\">{start}{first}</measure><measure number=\"2\">{second}</measure></part>"
            )
        };
        let tune = part("A", &(rests + &note('G', 4, "")), &note('C', 5, "").repeat(4));
        let chords = part("B", &chord.repeat(4), &chord.repeat(4));
        let names = "<score-part id=\"A\"><part-name>Melody</part-name></score-part><score-part id=\"B\"><part-name>Chords</part-name></score-part>";
        let text = format!("<score-partwise version=\"4.0\"><part-list>{names}</part-list>{tune}{chords}</score-partwise>");
        Sketch::by_names(read("sketch.musicxml", text.as_bytes(), &Limits::default()).unwrap().score).unwrap()
    }

    /// A note of a line, its key spelled as it may be.
    fn note(strand: usize, voice: usize, at: i64, length: i64, key: i32) -> CastNote {
        CastNote {
            onset: Crotchets::whole(at),
            duration: Crotchets::whole(length),
            pitch: crate::voicing::spelled(&[None; 12], key),
            line: LineId { strand, voice },
            breath: false,
            held: false,
            like: None,
        }
    }

    #[test]
    fn whoever_is_needed_leaves_the_upbeat_unless_it_is_set() {
        let sketch = sketch();
        let lineup = Lineup::from_toml("l.toml", "[[section]]\nname = \"Trumpets\"\nplayers = 3\n").unwrap();
        let (tune, chords) = (sketch.strand(Role::Melody).unwrap(), sketch.strand(Role::Harmony).unwrap());
        let chord = |voice: usize, key: i32| (0..4).map(|at| note(chords, voice, at, 1, key)).collect::<Vec<_>>();
        let before = PhraseCast {
            notes: [((0, 0), chord(1, 67)), ((0, 1), chord(2, 64)), ((0, 2), chord(3, 60))].into(),
            ..PhraseCast::default()
        };
        let line = || vec![note(tune, 0, 3, 1, 67), note(tune, 0, 4, 4, 72)];
        let played = |locks: &[LockedNote]| {
            let (weights, search) = (Weights::default(), Search::default());
            let setting = Setting { sketch: &sketch, lineup: &lineup, weights, search, locks };
            let mut done = PhraseCast { notes: [((0, 0), line()), ((0, 1), line())].into(), ..PhraseCast::default() };
            leave_upbeats(&setting, &before, Crotchets::whole(4), &mut done);
            done.notes[&(0, 1)].len()
        };
        assert_eq!(played(&[]), 1);
        let lock =
            |from: i64, to: i64| LockedNote { seat: (0, 1), from: Crotchets::whole(from), to: Crotchets::whole(to), key: 67 };
        assert_eq!(played(&[lock(3, 4)]), 2);
        // A note set elsewhere does not matter.
        assert_eq!(played(&[lock(4, 8)]), 1);
    }

    #[test]
    fn no_upbeat_crosses_who_still_has_a_chord() {
        let sketch = sketch();
        let lineup = Lineup::from_toml(
            "l.toml",
            "[[section]]\nname = \"Trumpets\"\nplayers = 2\n[[section]]\nname = \"Horns\"\nplayers = 2\n",
        )
        .unwrap();
        let (tune, chords) = (sketch.strand(Role::Melody).unwrap(), sketch.strand(Role::Harmony).unwrap());
        let chord = |voice: usize, key: i32| (0..4).map(|at| note(chords, voice, at, 1, key)).collect::<Vec<_>>();
        let line = || vec![note(tune, 0, 3, 1, 67), note(tune, 0, 4, 4, 72)];
        // Every tone of the chord is there without the second trumpet, who had a doubled one.
        let before = PhraseCast {
            notes: [((0, 0), chord(1, 64)), ((0, 1), chord(2, 64)), ((1, 0), chord(3, 67)), ((1, 1), chord(4, 60))].into(),
            ..PhraseCast::default()
        };
        let (weights, search) = (Weights::default(), Search::default());
        let setting = Setting { sketch: &sketch, lineup: &lineup, weights, search, locks: &[] };
        let mut done = PhraseCast { notes: [((0, 1), line()), ((1, 0), line())].into(), ..PhraseCast::default() };
        leave_upbeats(&setting, &before, Crotchets::whole(4), &mut done);
        assert_eq!((done.notes[&(0, 1)].len(), done.notes[&(1, 0)].len()), (1, 2));
    }
}
