//! How chords are laid out, and lines thickened, so that the harmony is the sketch's: laws over sketches and line-ups. Rules are common practice from memory unless a source stands beside them.
#![allow(clippy::unwrap_used, clippy::panic)]

mod written;

use ripieno_casting::{Cast, CastNote, Habits, Lineup, Options, Plan, Sketch, cast};
use ripieno_score::Crotchets;
use ripieno_texture::{ChordTone, Role};
use written::{Staff, lineup, sketch};

/// A tune of dotted rhythms over dominants and their keys, in minor and major, with altered tones.
fn minor() -> Sketch {
    sketch(
        -2,
        &[
            Staff(
                "Melody",
                "mf",
                "G4:3 A4:1 Bb4:2 D5:2 | C5:3 Bb4:1 A4:4 | Bb4:3 C5:1 D5:2 G5:2 | F5:2 E5:2 F5:4 | F5:3 Eb5:1 D5:2 C5:2 | Eb5:3 D5:1 C5:2 G4:2 | Bb4:2 D5:2 C5:2 A4:2 | Bb4:8",
            ),
            Staff(
                "Chords",
                "mf",
                "G3,Bb3,D4:4 G3,Bb3,D4:4 | A3,C4,F#4:4 A3,C4,F#4:4 | G3,Bb3,D4:4 B3,D4,F4:4 | Bb3,E4,G4:4 A3,C4,F4:4 | Bb3,D4,F4:4 Ab3,D4,F4:4 | C4,Eb4,G4:4 C4,Eb4,G4:4 | Bb3,D4,F4:4 A3,Eb4,F4:4 | Bb3,D4,F4:8",
            ),
            Staff(
                "Bass",
                "mf",
                "G2:2 D2:2 G2:2 G2:2 | D3:2 C3:2 D3:2 D2:2 | G2:4 G2:2 B2:2 | C3:2 C3:2 F2:4 | Bb2:4 Bb2:4 | C3:2 G2:2 C3:2 Eb3:2 | F2:4 F2:4 | Bb2:8",
            ),
        ],
    )
}

fn planned(sketch: &Sketch, lineup: &Lineup, plan: &str) -> Cast {
    let plan = Plan::from_toml("p.toml", plan, sketch, lineup).unwrap();
    cast(sketch, lineup, &plan, &Habits::usual(), &Options::default())
}

/// Whether a note is a tone of the chord that sounds at a moment, by what the sketch's chords and bass have there and the chord that is read from them.
fn is_chord_tone(sketch: &Sketch, note: &CastNote, at: Crotchets) -> bool {
    let class = |key: i32| key.rem_euclid(12);
    let ground = sketch.strands.iter().filter(|strand| strand.is_chordal() || strand.role == Role::Bass);
    let has = ground
        .flat_map(|strand| &strand.notes)
        .any(|other| other.onset <= at && at < other.end() && class(other.key()) == class(note.key()));
    let read = sketch
        .harmony
        .chord_at(at)
        .is_some_and(|chord| !matches!(chord.tone(u8::try_from(class(note.key())).unwrap()), ChordTone::Foreign));
    has || read
}

/// Thirds below a tune go to tones of the chord on the beats, with the chord's accidentals, and stay below the tune; between beats most are thirds.
#[test]
fn thirds_below_a_tune_fit_the_chords() {
    let sketch = minor();
    for (section, players, octave) in
        [("Trumpets in C", 3, 0), ("Horns in F", 2, -1), ("Clarinets in Bb", 4, 0), ("Euphoniums", 2, -1), ("Violins 1", 12, 0)]
    {
        let lineup = lineup(&[("Flutes", 2), (section, players), ("Trombones", 3), ("Tuba", 1)]);
        let section_at = lineup.find(section).unwrap();
        let plan = format!(
            "[[phrase]]\nbars = \"1-8\"\nfill = true\n[[phrase.task]]\nsection = \"{section}\"\nrole = \"melody\"\noctave = {octave}\nthickening = \"diatonic\"\n"
        );
        let done = planned(&sketch, &lineup, &plan);
        let (mut on_beats, mut thirds, mut between) = (0, 0, 0);
        let top = done.notes_of((section_at, 0));
        for chair in 1..lineup.sections[section_at].chairs.len() {
            for note in done.notes_of((section_at, chair)).iter().filter(|note| note.line.voice > 0) {
                let tune = top.iter().find(|tune| tune.onset == note.onset).unwrap();
                assert!(note.key() < tune.key(), "{section} {chair}: {} under {} at {}", note.pitch, tune.pitch, note.onset);
                if note.onset.denominator() == 1 {
                    assert!(is_chord_tone(&sketch, note, note.onset), "{section} {chair}: {} at {}", note.pitch, note.onset);
                    on_beats += 1;
                } else if note.line.voice == 1 {
                    thirds += usize::from((3..=4).contains(&(tune.key() - note.key())));
                    between += 1;
                }
            }
        }
        assert!(on_beats > 20 && thirds * 10 >= between * 8 && between > 3, "{section}: {on_beats}, {thirds} of {between}");
    }
}
