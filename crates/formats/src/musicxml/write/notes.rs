//! Notes and rests with everything attached to them.

use std::collections::BTreeSet;

use ripieno_score::{
    Articulations, Beam, Beams, Edge, Head, Mark, Note, NoteFlags, NoteValue, Part, Pitch, Rest, Stem, TupletRatio,
};

use super::directions::{dynamics, level};
use super::xml::Xml;

/// Facts about a note that only its surroundings tell.
pub(super) struct Context<'a> {
    pub part: &'a Part,
    /// Index of the note in the part.
    pub index: usize,
    /// Its identifier, where notes have one.
    pub id: Option<String>,
    /// Length in ticks.
    pub ticks: i64,
    /// Shares the stem of the note just written.
    pub chord: bool,
    /// The accidental to print, by its MusicXML name.
    pub accidental: Option<&'static str>,
    /// Identifier of the instrument, in parts that have several.
    pub instrument: Option<&'a str>,
    /// Syllables of the part that go on with a word: note and verse.
    pub going_on: &'a BTreeSet<(usize, u8)>,
    /// Ends of tuplets that are written on a rest instead: note, whether it is the start, number.
    pub moved: &'a BTreeSet<(usize, bool, u8)>,
}

/// MusicXML's name for a note value.
pub(super) fn type_name(value: NoteValue) -> &'static str {
    const NAMES: [&str; 14] = [
        "maxima", "long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th",
        "1024th",
    ];
    let index = usize::try_from(i16::from(value.halvings.clamp(-3, 10)) + 3).unwrap_or(0);
    NAMES[index]
}

/// The staff number to write: within the part.
pub(super) fn staff_of(staff: u8, part: &Part) -> u8 {
    staff.clamp(1, part.staves.max(1))
}

pub(super) fn note(xml: &mut Xml, note: &Note, context: &Context<'_>) {
    let mut attributes: Vec<(&str, &str)> = context.id.as_deref().map(|id| ("id", id)).into_iter().collect();
    if note.flags.contains(NoteFlags::HIDDEN) {
        attributes.push(("print-object", "no"));
    }
    let dynamics = velocity(note.velocity);
    attributes.extend(dynamics.as_deref().map(|dynamics| ("dynamics", dynamics)));
    let grace = is_timeless(note);
    xml.element("note", &attributes, |xml| {
        if grace {
            let slash = if note.flags.contains(NoteFlags::SLASHED) { "yes" } else { "no" };
            xml.empty("grace", &[("slash", slash)]);
        }
        // A note of an alternative is shown and not played, which MusicXML says of cue notes alone.
        let silent = note.flags.intersects(NoteFlags::CUE | NoteFlags::OSSIA);
        if silent {
            xml.empty("cue", &[]);
        }
        if context.chord {
            xml.empty("chord", &[]);
        }
        head(xml, note.head);
        if !grace {
            xml.text("duration", context.ticks);
        }
        // A cue note has no tie element; its tied notation stays.
        if !silent {
            ties(xml, "tie", note.flags);
        }
        if let Some(instrument) = context.instrument {
            xml.empty("instrument", &[("id", instrument)]);
        }
        xml.text("voice", note.voice);
        if let Some(value) = note.value {
            shape(xml, value);
        }
        if let Some(accidental) = context.accidental {
            xml.text("accidental", accidental);
        }
        time_modification(xml, note.tuplet);
        let stem = match note.stem {
            Stem::Unset => "",
            Stem::Up => "up",
            Stem::Down => "down",
            Stem::None => "none",
            Stem::Double => "double",
        };
        xml.text_if("stem", stem);
        notehead(xml, note, context);
        if context.part.staves > 1 {
            xml.text("staff", staff_of(note.staff, context.part));
        }
        if !context.chord {
            beams(xml, note.beams);
        }
        notations(xml, note, context);
        lyrics(xml, context);
    });
}

/// Whether a note is written as one without time: a grace note, or one that a damaged file gave no length.
pub(super) const fn is_timeless(note: &Note) -> bool {
    note.flags.contains(NoteFlags::GRACE) || note.duration.is_zero()
}

/// A MIDI velocity in per cent of the default forte, 90, with two decimals (MusicXML 4.0, note element); `None` where there is none.
/// Rounded up, so that the whole number below what is read back is the same velocity.
fn velocity(velocity: u8) -> Option<String> {
    let hundredths = (u32::from(velocity) * 10_000).div_ceil(90);
    (velocity > 0).then(|| format!("{}.{:02}", hundredths / 100, hundredths % 100))
}

/// Writes a rest. In a bar shorter than the metre (`short`) a rest that fills it is written with its value: some readers take
/// one that says it fills the bar for a whole bar of the metre. `tuplets`: ends of tuplets that stand on it.
pub(super) fn rest(xml: &mut Xml, rest: &Rest, part: &Part, ticks: i64, short: bool, tuplets: &[Mark]) {
    let hidden: &[(&str, &str)] = if rest.hidden { &[("print-object", "no")] } else { &[] };
    xml.element("note", hidden, |xml| {
        if rest.cue {
            xml.empty("cue", &[]);
        }
        let whole = rest.whole_bar && !short;
        xml.empty("rest", if whole { &[("measure", "yes")] } else { &[] });
        xml.text("duration", ticks);
        xml.text("voice", rest.voice);
        let value = rest.value.or_else(|| if short { NoteValue::of_length(rest.duration, 3) } else { None });
        if let Some(value) = value.filter(|_| !whole) {
            shape(xml, value);
        }
        time_modification(xml, rest.tuplet);
        if part.staves > 1 {
            xml.text("staff", staff_of(rest.staff, part));
        }
        if rest.fermata || !tuplets.is_empty() {
            xml.element("notations", &[], |xml| {
                tuplets.iter().for_each(|mark| spanning(xml, mark));
                if rest.fermata {
                    xml.empty("fermata", &[]);
                }
            });
        }
    });
}

fn head(xml: &mut Xml, head: Head) {
    match head {
        Head::Pitched(pitch) => xml.element("pitch", &[], |xml| {
            let (octave, alter) = writable(pitch);
            xml.text("step", pitch.step.letter());
            if pitch.cents != 0 {
                let sign = if alter * 100 + i32::from(pitch.cents) < 0 { "-" } else { "" };
                let hundredths = (alter * 100 + i32::from(pitch.cents)).abs();
                xml.text("alter", format!("{sign}{}.{:02}", hundredths / 100, hundredths % 100));
            } else if alter != 0 {
                xml.text("alter", alter);
            }
            xml.text("octave", octave);
        }),
        Head::Unpitched(place) => xml.element("unpitched", &[], |xml| {
            xml.text("display-step", place.step.letter());
            xml.text("display-octave", place.octave.clamp(0, 9));
        }),
    }
}

/// MusicXML has octaves 0 to 9 only; what lies beyond is written as an alteration of a note within.
fn writable(pitch: Pitch) -> (i32, i32) {
    let octave = i32::from(pitch.octave).clamp(0, 9);
    (octave, i32::from(pitch.alter) + 12 * (i32::from(pitch.octave) - octave))
}

fn ties(xml: &mut Xml, name: &str, flags: NoteFlags) {
    if flags.contains(NoteFlags::TIE_STOP) {
        xml.empty(name, &[("type", "stop")]);
    }
    if flags.contains(NoteFlags::TIE_START) {
        xml.empty(name, &[("type", "start")]);
    }
}

fn shape(xml: &mut Xml, value: NoteValue) {
    xml.text("type", type_name(value));
    for _ in 0..value.dots {
        xml.empty("dot", &[]);
    }
}

fn time_modification(xml: &mut Xml, tuplet: Option<TupletRatio>) {
    if let Some(tuplet) = tuplet {
        xml.element("time-modification", &[], |xml| {
            xml.text("actual-notes", tuplet.actual);
            xml.text("normal-notes", tuplet.normal);
        });
    }
}

fn notehead(xml: &mut Xml, note: &Note, context: &Context<'_>) {
    const SHAPES: [&str; 20] = [
        "slash",
        "triangle",
        "diamond",
        "square",
        "cross",
        "x",
        "circle-x",
        "inverted triangle",
        "arrow down",
        "arrow up",
        "circled",
        "slashed",
        "back slashed",
        "normal",
        "cluster",
        "circle dot",
        "left triangle",
        "rectangle",
        "none",
        "other",
    ];
    let named =
        context.part.marks_of(context.index).find_map(|mark| if let Mark::Notehead(name) = mark { Some(name) } else { None });
    match named {
        Some(name) if SHAPES.contains(&name.as_ref()) => xml.text("notehead", name),
        None if note.flags.contains(NoteFlags::SLASH) => xml.text("notehead", "slash"),
        _ => {}
    }
}

fn beams(xml: &mut Xml, beams: Beams) {
    for number in 1..=Beams::LEVELS {
        let Some(beam) = beams.get(number) else { continue };
        let beam = match beam {
            Beam::Begin => "begin",
            Beam::Continue => "continue",
            Beam::End => "end",
            Beam::ForwardHook => "forward hook",
            Beam::BackwardHook => "backward hook",
        };
        xml.text_with("beam", &[("number", &number.to_string())], beam);
    }
}

/// Signs that are one bit in [`Articulations`], by the notation group they belong to and their MusicXML name.
const ARTICULATIONS: [(Articulations, &str); 16] = [
    (Articulations::ACCENT, "accent"),
    (Articulations::STRONG_ACCENT, "strong-accent"),
    (Articulations::STACCATO, "staccato"),
    (Articulations::TENUTO, "tenuto"),
    (Articulations::DETACHED_LEGATO, "detached-legato"),
    (Articulations::STACCATISSIMO, "staccatissimo"),
    (Articulations::SPICCATO, "spiccato"),
    (Articulations::SCOOP, "scoop"),
    (Articulations::PLOP, "plop"),
    (Articulations::DOIT, "doit"),
    (Articulations::FALLOFF, "falloff"),
    (Articulations::BREATH_MARK, "breath-mark"),
    (Articulations::CAESURA, "caesura"),
    (Articulations::STRESS, "stress"),
    (Articulations::UNSTRESS, "unstress"),
    (Articulations::SOFT_ACCENT, "soft-accent"),
];
const ORNAMENTS: [(Articulations, &str); 5] = [
    (Articulations::TRILL, "trill-mark"),
    (Articulations::TURN, "turn"),
    (Articulations::INVERTED_TURN, "inverted-turn"),
    (Articulations::MORDENT, "mordent"),
    (Articulations::INVERTED_MORDENT, "inverted-mordent"),
];
const TECHNIQUES: [(Articulations, &str); 8] = [
    (Articulations::UP_BOW, "up-bow"),
    (Articulations::DOWN_BOW, "down-bow"),
    (Articulations::OPEN_STRING, "open-string"),
    (Articulations::STOPPED, "stopped"),
    (Articulations::OPEN, "open"),
    (Articulations::SNAP_PIZZICATO, "snap-pizzicato"),
    (Articulations::DOUBLE_TONGUE, "double-tongue"),
    (Articulations::TRIPLE_TONGUE, "triple-tongue"),
];

fn notations(xml: &mut Xml, note: &Note, context: &Context<'_>) {
    let is_moved = |mark: &&Mark| matches!(mark, Mark::Tuplet { edge, number, .. } if context.moved.contains(&(context.index, *edge == Edge::Start, *number)));
    let marks: Vec<&Mark> = context.part.marks_of(context.index).filter(|mark| !is_moved(mark)).collect();
    let before = NoteFlags::TIE_START
        | NoteFlags::TIE_STOP
        | NoteFlags::LET_RING
        | NoteFlags::TREMOLO_START
        | NoteFlags::TREMOLO_STOP
        | NoteFlags::HARMONIC;
    if marks.is_empty() && note.articulations.is_empty() && note.tremolo == 0 && !note.flags.intersects(before) {
        return;
    }
    xml.element("notations", &[], |xml| {
        ties(xml, "tied", note.flags);
        if note.flags.contains(NoteFlags::LET_RING) {
            xml.empty("tied", &[("type", "let-ring")]);
        }
        for mark in &marks {
            spanning(xml, mark);
        }
        ornaments(xml, note, &marks);
        technical(xml, note, &marks);
        if ARTICULATIONS.iter().any(|(bit, _)| note.articulations.contains(*bit)) {
            xml.element("articulations", &[], |xml| bits(xml, note.articulations, &ARTICULATIONS));
        }
        for mark in &marks {
            match mark {
                Mark::Dynamic(mark) => dynamics(xml, mark),
                Mark::Other(name) if harmonic_role(mark).is_none() => {
                    xml.text_with("other-notation", &[("type", "single")], name)
                }
                _ => {}
            }
        }
        if note.articulations.contains(Articulations::FERMATA) {
            xml.empty("fermata", &[]);
        }
        if note.articulations.contains(Articulations::ARPEGGIO) {
            xml.empty("arpeggiate", &[]);
        }
        if note.articulations.contains(Articulations::NON_ARPEGGIO) {
            xml.empty("non-arpeggiate", &[("type", "bottom")]);
        }
    });
}

fn bits(xml: &mut Xml, have: Articulations, names: &[(Articulations, &str)]) {
    for (bit, name) in names {
        if have.contains(*bit) {
            xml.empty(name, &[]);
        }
    }
}

const fn edge_name(edge: Edge) -> &'static str {
    match edge {
        Edge::Start => "start",
        Edge::Continue => "continue",
        Edge::Stop => "stop",
    }
}

fn spanning(xml: &mut Xml, mark: &Mark) {
    match mark {
        Mark::Slur { edge, number } => xml.empty("slur", &[("type", edge_name(*edge)), ("number", &level(*number))]),
        Mark::Tuplet { edge, number, bracket } if *edge != Edge::Continue => {
            let with: &[(&str, &str)] =
                &[("type", edge_name(*edge)), ("number", &level(*number)), ("bracket", if *bracket { "yes" } else { "no" })];
            xml.empty("tuplet", if *edge == Edge::Start { with } else { &with[..2] });
        }
        Mark::Glissando { edge, number, straight, text } if *edge != Edge::Continue => {
            let name = if *straight { "slide" } else { "glissando" };
            xml.text_with(name, &[("type", edge_name(*edge)), ("number", &level(*number))], text);
        }
        _ => {}
    }
}

fn ornaments(xml: &mut Xml, note: &Note, marks: &[&Mark]) {
    let tremolo = tremolo(note);
    let lines = || {
        marks.iter().filter_map(|mark| if let Mark::TrillLine { edge, number } = mark { Some((*edge, *number)) } else { None })
    };
    if tremolo.is_none() && lines().next().is_none() && !ORNAMENTS.iter().any(|(bit, _)| note.articulations.contains(*bit)) {
        return;
    }
    xml.element("ornaments", &[], |xml| {
        bits(xml, note.articulations, &ORNAMENTS);
        for (edge, number) in lines() {
            xml.empty("wavy-line", &[("type", edge_name(edge)), ("number", &level(number))]);
        }
        if let Some((kind, strokes)) = tremolo {
            xml.text_with("tremolo", &[("type", kind)], strokes);
        }
    });
}

fn tremolo(note: &Note) -> Option<(&'static str, u8)> {
    let strokes = if note.tremolo == u8::MAX { 0 } else { note.tremolo.min(8) };
    if note.flags.contains(NoteFlags::TREMOLO_START) {
        return Some(("start", strokes));
    }
    if note.flags.contains(NoteFlags::TREMOLO_STOP) {
        return Some(("stop", strokes));
    }
    match note.tremolo {
        0 => None,
        u8::MAX => Some(("unmeasured", 0)),
        _ => Some(("single", strokes)),
    }
}

fn technical(xml: &mut Xml, note: &Note, marks: &[&Mark]) {
    let texts = marks.iter().any(|mark| matches!(mark, Mark::Technique(_) | Mark::Fingering(_)));
    let harmonic = note.flags.contains(NoteFlags::HARMONIC);
    if !texts && !harmonic && !TECHNIQUES.iter().any(|(bit, _)| note.articulations.contains(*bit)) {
        return;
    }
    xml.element("technical", &[], |xml| {
        bits(xml, note.articulations, &TECHNIQUES);
        if harmonic {
            match marks.iter().find_map(|mark| harmonic_role(mark)) {
                Some(role) => xml.element("harmonic", &[], |xml| {
                    xml.empty("artificial", &[]);
                    if role != "artificial" {
                        xml.empty(role, &[]);
                    }
                }),
                None => xml.empty("harmonic", &[]),
            }
        }
        for mark in marks {
            match mark {
                Mark::Technique(text) => xml.text("other-technical", text),
                Mark::Fingering(text) => xml.text("fingering", text),
                _ => {}
            }
        }
    });
}

/// Which note of an artificial harmonic the mark says this is; "artificial" where the file does not tell.
fn harmonic_role(mark: &Mark) -> Option<&'static str> {
    let Mark::Other(name) = mark else { return None };
    ["base-pitch", "touching-pitch", "sounding-pitch", "artificial"].into_iter().find(|role| **name == **role)
}

fn lyrics(xml: &mut Xml, context: &Context<'_>) {
    for mark in context.part.marks_of(context.index) {
        if let Mark::Lyric { verse, text, hyphen } = mark {
            xml.element("lyric", &[("number", &verse.to_string())], |xml| {
                let goes_on = context.going_on.contains(&(context.index, *verse));
                let syllabic = match (goes_on, *hyphen) {
                    (false, false) => "single",
                    (false, true) => "begin",
                    (true, true) => "middle",
                    (true, false) => "end",
                };
                xml.text("syllabic", syllabic);
                xml.text("text", text);
            });
        }
    }
}
