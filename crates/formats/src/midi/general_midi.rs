//! Names of General MIDI programs and percussion keys.
//!
//! After "General MIDI System Level 1" (MIDI Manufacturers Association, 1991), tables 1 and 2, entered from memory.

use ripieno_score::{Pitch, Step};

/// Names of programs 1 to 128, at index 0 to 127.
const PROGRAMS: [&str; 128] = [
    "Acoustic Grand Piano", "Bright Acoustic Piano", "Electric Grand Piano", "Honky-tonk Piano",
    "Electric Piano 1", "Electric Piano 2", "Harpsichord", "Clavinet",
    "Celesta", "Glockenspiel", "Music Box", "Vibraphone",
    "Marimba", "Xylophone", "Tubular Bells", "Dulcimer",
    "Drawbar Organ", "Percussive Organ", "Rock Organ", "Church Organ",
    "Reed Organ", "Accordion", "Harmonica", "Tango Accordion",
    "Acoustic Guitar (nylon)", "Acoustic Guitar (steel)", "Electric Guitar (jazz)", "Electric Guitar (clean)",
    "Electric Guitar (muted)", "Overdriven Guitar", "Distortion Guitar", "Guitar Harmonics",
    "Acoustic Bass", "Electric Bass (finger)", "Electric Bass (pick)", "Fretless Bass",
    "Slap Bass 1", "Slap Bass 2", "Synth Bass 1", "Synth Bass 2",
    "Violin", "Viola", "Cello", "Contrabass",
    "Tremolo Strings", "Pizzicato Strings", "Orchestral Harp", "Timpani",
    "String Ensemble 1", "String Ensemble 2", "Synth Strings 1", "Synth Strings 2",
    "Choir Aahs", "Voice Oohs", "Synth Voice", "Orchestra Hit",
    "Trumpet", "Trombone", "Tuba", "Muted Trumpet",
    "French Horn", "Brass Section", "Synth Brass 1", "Synth Brass 2",
    "Soprano Sax", "Alto Sax", "Tenor Sax", "Baritone Sax",
    "Oboe", "English Horn", "Bassoon", "Clarinet",
    "Piccolo", "Flute", "Recorder", "Pan Flute",
    "Blown Bottle", "Shakuhachi", "Whistle", "Ocarina",
    "Lead 1 (square)", "Lead 2 (sawtooth)", "Lead 3 (calliope)", "Lead 4 (chiff)",
    "Lead 5 (charang)", "Lead 6 (voice)", "Lead 7 (fifths)", "Lead 8 (bass and lead)",
    "Pad 1 (new age)", "Pad 2 (warm)", "Pad 3 (polysynth)", "Pad 4 (choir)",
    "Pad 5 (bowed)", "Pad 6 (metallic)", "Pad 7 (halo)", "Pad 8 (sweep)",
    "FX 1 (rain)", "FX 2 (soundtrack)", "FX 3 (crystal)", "FX 4 (atmosphere)",
    "FX 5 (brightness)", "FX 6 (goblins)", "FX 7 (echoes)", "FX 8 (sci-fi)",
    "Sitar", "Banjo", "Shamisen", "Koto",
    "Kalimba", "Bagpipe", "Fiddle", "Shanai",
    "Tinkle Bell", "Agogo", "Steel Drums", "Woodblock",
    "Taiko Drum", "Melodic Tom", "Synth Drum", "Reverse Cymbal",
    "Guitar Fret Noise", "Breath Noise", "Seashore", "Bird Tweet",
    "Telephone Ring", "Helicopter", "Applause", "Gunshot",
];

/// Names of percussion keys 35 to 81.
const PERCUSSION: [&str; 47] = [
    "Acoustic Bass Drum", "Bass Drum 1", "Side Stick", "Acoustic Snare", "Hand Clap", "Electric Snare",
    "Low Floor Tom", "Closed Hi-Hat", "High Floor Tom", "Pedal Hi-Hat", "Low Tom", "Open Hi-Hat",
    "Low-Mid Tom", "Hi-Mid Tom", "Crash Cymbal 1", "High Tom", "Ride Cymbal 1", "Chinese Cymbal",
    "Ride Bell", "Tambourine", "Splash Cymbal", "Cowbell", "Crash Cymbal 2", "Vibraslap",
    "Ride Cymbal 2", "Hi Bongo", "Low Bongo", "Mute Hi Conga", "Open Hi Conga", "Low Conga",
    "High Timbale", "Low Timbale", "High Agogo", "Low Agogo", "Cabasa", "Maracas",
    "Short Whistle", "Long Whistle", "Short Guiro", "Long Guiro", "Claves", "Hi Wood Block",
    "Low Wood Block", "Mute Cuica", "Open Cuica", "Mute Triangle", "Open Triangle",
];

/// Name of a program, 0 to 127.
pub(super) fn program_name(program: u8) -> &'static str {
    PROGRAMS.get(usize::from(program)).copied().unwrap_or("")
}

/// Name of a percussion key, where the standard gives one.
pub(super) fn percussion_name(key: u8) -> Option<&'static str> {
    PERCUSSION.get(usize::from(key.checked_sub(35)?)).copied()
}

/// Where a percussion key goes on a staff of its own: the middle line.
pub(super) const MIDDLE_LINE: Pitch = Pitch::new(Step::B, 0, 4);

/// Where a percussion key goes on a five-line staff shared by several instruments: drum-kit places by common
/// practice, others spread by key so that different instruments stay apart.
pub(super) fn percussion_place(key: u8) -> Pitch {
    let (step, octave) = match key {
        35 | 36 => (Step::F, 4),
        37..=40 => (Step::C, 5),
        41 | 43 => (Step::A, 4),
        42 | 46 => (Step::G, 5),
        44 => (Step::D, 4),
        45 | 47 => (Step::D, 5),
        48 | 50 => (Step::E, 5),
        49 | 55 | 57 => (Step::A, 5),
        51 | 53 | 59 => (Step::F, 5),
        52 => (Step::B, 5),
        _ => {
            let place = 30 + i32::from(key % 9);
            let step = Step::ALL.get(usize::try_from(place.rem_euclid(7)).unwrap_or(0)).copied().unwrap_or(Step::B);
            (step, i8::try_from(place.div_euclid(7)).unwrap_or(4))
        }
    };
    Pitch::new(step, 0, octave)
}
