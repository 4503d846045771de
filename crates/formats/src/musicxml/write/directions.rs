//! Dynamics, hairpins, words, tempo and the other signs outside the notes.

use ripieno_score::{Direction, DirectionKind, DynamicMark, Edge, Jump, NoteValue, Part, Swell};

use super::super::chord_symbols::{Symbol, kind_named};
use super::super::jumps::{in_words, same_kind};
use super::hairpins::Drawn;
use super::notes::{staff_of, type_name};
use super::xml::Xml;

/// Dynamics MusicXML has an element for.
const DYNAMICS: [&str; 26] = [
    "p", "pp", "ppp", "pppp", "ppppp", "pppppp", "f", "ff", "fff", "ffff", "fffff", "ffffff", "mp", "mf", "sf", "sfp", "sfpp",
    "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp",
];

/// Writes one direction that stands `offset` ticks after the current position; a hairpin drawn so.
pub(super) fn write(xml: &mut Xml, part: &Part, direction: &Direction, hairpin: Drawn, offset: i64) {
    if let DirectionKind::PlaybackTempo { crotchets_per_minute } = direction.kind {
        return xml.element("sound", &[("tempo", &decimal(crotchets_per_minute))], |xml| offset_element(xml, offset));
    }
    if let DirectionKind::ChordSymbol(text) = &direction.kind
        && let Some(symbol) = Symbol::of(text)
    {
        return chord_symbol(xml, part, direction, &symbol, offset);
    }
    let placement = placement(direction);
    xml.element("direction", placement, |xml| {
        xml.element("direction-type", &[], |xml| kind(xml, &direction.kind, hairpin));
        offset_element(xml, offset);
        if let Some(voice) = direction.voice {
            xml.text("voice", voice);
        }
        if part.staves > 1 {
            xml.text("staff", staff_of(direction.staff, part));
        }
    });
}

fn placement(direction: &Direction) -> &'static [(&'static str, &'static str)] {
    match direction.above {
        Some(true) => &[("placement", "above")],
        Some(false) => &[("placement", "below")],
        None => &[],
    }
}

/// `<harmony>` reads back to the same text: what stands between root and bass is its kind.
fn chord_symbol(xml: &mut Xml, part: &Part, direction: &Direction, symbol: &Symbol<'_>, offset: i64) {
    xml.element("harmony", placement(direction), |xml| {
        let note = |xml: &mut Xml, name: &str, (step, alter): (char, i8)| {
            xml.element(name, &[], |xml| {
                xml.text(&format!("{name}-step"), step);
                if alter != 0 {
                    xml.text(&format!("{name}-alter"), alter);
                }
            });
        };
        note(xml, "root", symbol.root);
        xml.text_with("kind", &[("text", symbol.kind)], kind_named(symbol.kind));
        if let Some(bass) = symbol.bass {
            note(xml, "bass", bass);
        }
        offset_element(xml, offset);
        if part.staves > 1 {
            xml.text("staff", staff_of(direction.staff, part));
        }
    });
}

fn offset_element(xml: &mut Xml, offset: i64) {
    if offset != 0 {
        xml.text_with("offset", &[("sound", "yes")], offset);
    }
}

fn kind(xml: &mut Xml, kind: &DirectionKind, hairpin: Drawn) {
    match kind {
        DirectionKind::Dynamic(mark) => dynamics(xml, mark),
        DirectionKind::HairpinStart { .. } if hairpin.dashes => dashes(xml, "start", hairpin.level),
        DirectionKind::HairpinStop { .. } if hairpin.dashes => dashes(xml, "stop", hairpin.level),
        DirectionKind::HairpinStart { swell, niente, .. } => {
            let swell = if *swell == Swell::Crescendo { "crescendo" } else { "diminuendo" };
            wedge(xml, swell, hairpin.level, *niente);
        }
        DirectionKind::HairpinStop { niente, .. } => wedge(xml, "stop", hairpin.level, *niente),
        DirectionKind::Words(text) => xml.text("words", text),
        DirectionKind::Metronome { beat, per_minute, text } => metronome(xml, *beat, *per_minute, text.as_deref()),
        DirectionKind::Rehearsal(text) => xml.text("rehearsal", text),
        DirectionKind::OctaveShift { edge, octaves, number } => {
            // MusicXML names the direction in which the notes are moved on the page: down for 8va.
            let way = match edge {
                Edge::Start if *octaves < 0 => "up",
                Edge::Start => "down",
                Edge::Continue => "continue",
                Edge::Stop => "stop",
            };
            let size = (7 * u32::from(octaves.unsigned_abs().clamp(1, 3)) + 1).to_string();
            xml.empty("octave-shift", &[("type", way), ("size", &size), ("number", &level(*number))]);
        }
        DirectionKind::Pedal(edge) => {
            let edge = match edge {
                Edge::Start => "start",
                Edge::Continue => "change",
                Edge::Stop => "stop",
            };
            xml.empty("pedal", &[("type", edge)]);
        }
        DirectionKind::PlaybackTempo { .. } => {}
        DirectionKind::HarpPedals(text) | DirectionKind::ChordSymbol(text) | DirectionKind::Other(text) => {
            xml.text("other-direction", text);
        }
    }
}

/// `<dynamics>` with the mark in it; also used on notes.
pub(super) fn dynamics(xml: &mut Xml, mark: &DynamicMark) {
    let name = match mark {
        DynamicMark::Level(level) => level.mark(),
        DynamicMark::Attack(text) | DynamicMark::AttackThen(text, _) | DynamicMark::Other(text) => text,
    };
    xml.element(
        "dynamics",
        &[],
        |xml| {
            if DYNAMICS.contains(&name) { xml.empty(name, &[]) } else { xml.text("other-dynamics", name) }
        },
    );
}

fn wedge(xml: &mut Xml, way: &str, number: u8, niente: bool) {
    let number = level(number);
    let with: &[(&str, &str)] = &[("type", way), ("number", &number), ("niente", "yes")];
    xml.empty("wedge", if niente { with } else { &with[..2] });
}

/// Dashes after the words that stand before them.
fn dashes(xml: &mut Xml, way: &str, number: u8) {
    xml.empty("dashes", &[("type", way), ("number", &level(number))]);
}

fn metronome(xml: &mut Xml, beat: NoteValue, per_minute: f64, text: Option<&str>) {
    xml.element("metronome", &[], |xml| {
        xml.text("beat-unit", type_name(beat));
        for _ in 0..beat.dots {
            xml.empty("beat-unit-dot", &[]);
        }
        let number = decimal(per_minute);
        xml.text("per-minute", text.unwrap_or(&number));
    });
}

/// Signs of navigation: those aimed at stand at the bar's start, those that send elsewhere at its end. Where words among the
/// bar's `directions` already say it, only what playback needs is added.
pub(super) fn jumps(xml: &mut Xml, jumps: &[Jump], directions: &[Direction], at_start: bool) {
    let said = |jump: &Jump| {
        directions.iter().any(|direction| {
            let DirectionKind::Words(text) = &direction.kind else { return false };
            in_words(text).is_some_and(|said| same_kind(&said, jump))
        })
    };
    let label = |label: &str, usual: &str| if label.is_empty() { usual.to_owned() } else { label.to_owned() };
    for jump in jumps {
        let (aim, sign, words, attribute, value) = match jump {
            Jump::Segno(name) => (true, Some("segno"), "", "segno", label(name, "segno")),
            Jump::Coda(name) => (true, Some("coda"), "", "coda", label(name, "coda")),
            Jump::ToCoda(name) => (false, None, "To Coda", "tocoda", label(name, "coda")),
            Jump::Fine => (false, None, "Fine", "fine", "yes".to_owned()),
            Jump::DaCapo => (false, None, "D.C.", "dacapo", "yes".to_owned()),
            Jump::DalSegno(name) => (false, None, "D.S.", "dalsegno", label(name, "segno")),
        };
        if aim != at_start {
            continue;
        }
        if said(jump) {
            xml.empty("sound", &[(attribute, &value)]);
            continue;
        }
        xml.element("direction", &[("placement", "above")], |xml| {
            xml.element("direction-type", &[], |xml| match sign {
                Some(sign) => xml.empty(sign, &[]),
                None => xml.text("words", words),
            });
            xml.empty("sound", &[(attribute, &value)]);
        });
    }
}

/// A number that pairs spanning signs, within the 1 to 16 MusicXML allows.
pub(super) fn level(number: u8) -> String {
    number.clamp(1, 16).to_string()
}

/// A decimal number as XML Schema takes it, without needless digits.
fn decimal(value: f64) -> String {
    let text = format!("{:.6}", if value.is_finite() { value } else { 0.0 });
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
