//! One data token of a `**kern` spine: a note, a chord or a rest with everything attached to it.
//!
//! Source: Humdrum Representation Reference, `**kern`, table of signifiers and "context dependencies": the order of
//! signifiers is free, but digits, pitch letters with their accidentals, and repeated signs stand together.

use ripieno_score::{Articulations, NoteFlags, Pitch, Stem, Step};

use super::duration::{self, Recip};
use super::signifiers::{Meaning, Signifiers};

/// What a token asks to sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A pitch, as it sounds.
    Pitched(Pitch),
    /// Percussion without pitch: a place on the staff.
    Unpitched(Pitch),
    /// A rest.
    Rest,
}

/// Whether the note takes time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Grace {
    /// It does.
    No,
    /// `q`: an acciaccatura.
    Slashed,
    /// `qq` or `Q`: small notes without the stroke.
    Plain,
}

/// A sign for which [`Sub`] has no field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    /// A slur begins; the number counts elision marks.
    SlurOpen(u8),
    /// A slur of that elision level ends.
    SlurClose(u8),
    /// A phrase begins.
    PhraseOpen,
    /// A phrase ends.
    PhraseClose,
    /// A glissando leads away from this note.
    GlissandoOpen,
    /// A glissando arrives at it.
    GlissandoClose,
    /// `z`.
    Sforzando,
    /// `"`.
    Pizzicato,
    /// `U`.
    ConSordino,
    /// `O`: an ornament that has no signifier.
    Ornament,
    /// `I`: an articulation that has no signifier.
    Articulation,
}

/// A note or rest of a token.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sub {
    pub kind: Kind,
    pub duration: Option<Recip>,
    pub grace: Grace,
    pub flags: NoteFlags,
    pub articulations: Articulations,
    pub stem: Stem,
    /// Beams that begin, end, and hook forward and backward.
    pub beams: [u8; 4],
    /// The reciprocal value of a tremolo's strokes; 0 for none.
    pub tremolo: u16,
    /// Whether the tremolo goes to and fro between two notes.
    pub tremolo_between: bool,
    /// A rest drawn as a whole bar's rest.
    pub whole_rest: bool,
}

/// What could not be understood in a token.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Doubt {
    /// A signifier neither the standard nor the file explains.
    Unknown(u8),
    /// Letters of two pitches in one note.
    TwoPitches,
    /// Nothing that sounds or rests.
    Nothing,
    /// A duration whose numbers are beyond reason.
    Duration,
}

/// Where the parts of parsed tokens go; reused from token to token.
#[derive(Debug, Default)]
pub(super) struct Parsed {
    /// The notes and rests.
    pub subs: Vec<Sub>,
    /// Signs, each with the index of its note in `subs`.
    pub signs: Vec<(u32, Sign)>,
    /// What was not understood.
    pub doubts: Vec<Doubt>,
}

impl Parsed {
    pub(super) fn clear(&mut self) {
        self.subs.clear();
        self.signs.clear();
        self.doubts.clear();
    }
}

/// Reads a token, which is not null and no barline, and appends its notes. A chord's later notes may leave out what its first says.
pub(super) fn parse(token: &[u8], own: &Signifiers, out: &mut Parsed) {
    let first = out.subs.len();
    for part in token.split(|&byte| byte == b' ').filter(|part| !part.is_empty()) {
        parse_one(part, own, out);
    }
    let Some(chord) = out.subs.get_mut(first..) else { return };
    if let Some((leader, members)) = chord.split_first_mut() {
        for member in members {
            member.duration = member.duration.or(leader.duration);
            if leader.grace != Grace::No {
                member.grace = leader.grace;
            }
        }
    }
}

/// The pitch letters of a note while it is being read.
#[derive(Debug, Clone, Copy)]
struct Letters {
    letter: u8,
    count: i8,
    alter: i8,
}

fn parse_one(bytes: &[u8], own: &Signifiers, out: &mut Parsed) {
    let index = u32::try_from(out.subs.len()).unwrap_or(u32::MAX);
    let mut sub = Sub {
        kind: Kind::Rest,
        duration: None,
        grace: Grace::No,
        flags: NoteFlags::empty(),
        articulations: Articulations::empty(),
        stem: Stem::Unset,
        beams: [0; 4],
        tremolo: 0,
        tremolo_between: false,
        whole_rest: false,
    };
    let mut letters: Option<Letters> = None;
    let (mut rests, mut hidden, mut ends_in_turn) = (0u8, 0u8, false);
    let mut i = 0;
    while let Some(&byte) = bytes.get(i) {
        let tail = bytes.get(i..).unwrap_or_default();
        let run = tail.iter().take_while(|&&other| other == byte).count();
        let count = u8::try_from(run).unwrap_or(u8::MAX);
        let mut used = run;
        match byte {
            b'0'..=b'9' => {
                let (recip, length) = duration::read(tail);
                if recip.is_none() {
                    out.doubts.push(Doubt::Duration);
                }
                sub.duration = sub.duration.or(recip);
                used = length;
            }
            b'a'..=b'g' | b'A'..=b'G' => {
                if letters.is_some() {
                    out.doubts.push(Doubt::TwoPitches);
                } else {
                    let (alter, more) = accidental(bytes.get(i + run..).unwrap_or_default());
                    used = run + more;
                    // "y" straight after the pitch can only mean the note itself: there is no other sign for it to hide.
                    if more == 0 && bytes.get(i + used) == Some(&b'y') {
                        hidden = 2;
                    }
                    letters = Some(Letters { letter: byte, count: i8::try_from(run).unwrap_or(i8::MAX), alter });
                }
            }
            b'r' => rests = rests.saturating_add(count),
            b'q' => sub.grace = if run > 1 { Grace::Plain } else { Grace::Slashed },
            b'Q' => sub.grace = Grace::Plain,
            b'[' => sub.flags |= NoteFlags::TIE_START,
            b']' => sub.flags |= NoteFlags::TIE_STOP,
            b'_' => sub.flags |= NoteFlags::TIE_START | NoteFlags::TIE_STOP,
            b'(' | b')' | b'{' | b'}' => {
                let elided = bytes.get(..i).unwrap_or_default().iter().rev().take_while(|&&other| other == b'&').count();
                let level = u8::try_from(elided).unwrap_or(u8::MAX);
                let sign = match byte {
                    b'(' => Sign::SlurOpen(level),
                    b')' => Sign::SlurClose(level),
                    b'{' => Sign::PhraseOpen,
                    _ => Sign::PhraseClose,
                };
                out.signs.extend(std::iter::repeat_n((index, sign), run));
            }
            b'/' => sub.stem = Stem::Up,
            b'\\' => sub.stem = Stem::Down,
            b'L' => add(&mut sub.beams[0], count),
            b'J' => add(&mut sub.beams[1], count),
            b'K' => add(&mut sub.beams[2], count),
            b'k' => add(&mut sub.beams[3], count),
            b'y' => hidden = hidden.max(count),
            b'@' => used = tremolo(tail, &mut sub).unwrap_or(run),
            b'R' => ends_in_turn = true,
            _ => match (articulation(byte, run), sign(byte)) {
                (Some(articulation), _) => sub.articulations |= articulation,
                (None, Some(sign)) => out.signs.push((index, sign)),
                (None, None) => own_meaning(byte, own, &mut sub, &mut out.doubts),
            },
        }
        i += used.max(1);
    }
    if hidden >= 2 {
        sub.flags |= NoteFlags::HIDDEN;
    }
    // A rest may carry pitch letters that say how high it is drawn.
    if rests > 0 {
        sub.kind = Kind::Rest;
        sub.whole_rest = rests > 1;
    } else if let Some(pitch) = letters.and_then(pitch) {
        const TURNED: Articulations = Articulations::TRILL
            .union(Articulations::MORDENT)
            .union(Articulations::INVERTED_MORDENT)
            .union(Articulations::TURN)
            .union(Articulations::INVERTED_TURN);
        // "R" adds a closing turn to an ornament; a note without one is marked as percussion by it.
        let percussion = ends_in_turn && !sub.articulations.intersects(TURNED);
        sub.kind = if percussion { Kind::Unpitched(pitch) } else { Kind::Pitched(pitch) };
    } else {
        out.doubts.push(Doubt::Nothing);
        out.signs.retain(|(note, _)| *note != index);
        return;
    }
    out.subs.push(sub);
}

fn add(beams: &mut u8, count: u8) {
    *beams = beams.saturating_add(count);
}

/// The accidental after pitch letters, and its length in bytes.
fn accidental(bytes: &[u8]) -> (i8, usize) {
    let Some(&sign @ (b'#' | b'-' | b'n')) = bytes.first() else { return (0, 0) };
    let run = bytes.iter().take_while(|&&byte| byte == sign).count();
    let size = i8::try_from(run.min(4)).unwrap_or(4);
    match sign {
        b'#' => (size, run),
        b'-' => (-size, run),
        _ => (0, run),
    }
}

/// Middle C is `c`, the octaves above `cc`, `ccc`, those below `C`, `CC`; `None` beyond anything audible.
fn pitch(letters: Letters) -> Option<Pitch> {
    const MOST_LETTERS: i8 = 8;
    if letters.count > MOST_LETTERS {
        return None;
    }
    let octave = if letters.letter.is_ascii_lowercase() { 3 + letters.count } else { 4 - letters.count };
    Some(Pitch::new(Step::from_letter(letters.letter)?, letters.alter, octave))
}

/// `@16@` or `@@32@@`: strokes of a tremolo. How many bytes it takes.
fn tremolo(bytes: &[u8], sub: &mut Sub) -> Option<usize> {
    let ats = bytes.iter().take_while(|&&byte| byte == b'@').count();
    let digits = bytes.get(ats..)?.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let end = bytes.get(ats + digits..)?.iter().take_while(|&&byte| byte == b'@').count();
    let strokes = std::str::from_utf8(bytes.get(ats..ats + digits)?).ok()?.parse().ok()?;
    if end < ats.min(2) {
        return None;
    }
    sub.tremolo = strokes;
    sub.tremolo_between = ats >= 2;
    Some(ats + digits + end.min(ats))
}

const fn articulation(byte: u8, run: usize) -> Option<Articulations> {
    Some(match byte {
        b'\'' => Articulations::STACCATO,
        b's' => Articulations::SPICCATO,
        b'`' => Articulations::STACCATISSIMO,
        b'~' => Articulations::TENUTO,
        b'^' if run > 1 => Articulations::STRONG_ACCENT,
        b'^' => Articulations::ACCENT,
        b',' => Articulations::BREATH_MARK,
        b';' => Articulations::FERMATA,
        b'u' => Articulations::DOWN_BOW,
        b'v' => Articulations::UP_BOW,
        b't' | b'T' => Articulations::TRILL,
        b'm' | b'M' => Articulations::MORDENT,
        b'w' | b'W' => Articulations::INVERTED_MORDENT,
        b'S' => Articulations::TURN,
        b'$' => Articulations::INVERTED_TURN,
        b':' => Articulations::ARPEGGIO,
        _ => return None,
    })
}

const fn sign(byte: u8) -> Option<Sign> {
    Some(match byte {
        b'H' => Sign::GlissandoOpen,
        b'h' => Sign::GlissandoClose,
        b'z' => Sign::Sforzando,
        b'"' => Sign::Pizzicato,
        b'U' => Sign::ConSordino,
        b'O' => Sign::Ornament,
        b'I' => Sign::Articulation,
        _ => return None,
    })
}

/// Signifiers the standard leaves to the user, those without a bearing on sound, and the unknown.
fn own_meaning(byte: u8, own: &Signifiers, sub: &mut Sub, doubts: &mut Vec<Doubt>) {
    match own.meaning(byte) {
        Some(Meaning::Cue) => sub.flags |= NoteFlags::CUE,
        Some(Meaning::Ossia) => sub.flags |= NoteFlags::OSSIA,
        Some(Meaning::Hidden) => sub.flags |= NoteFlags::HIDDEN,
        Some(Meaning::Declared) => {}
        None => match byte {
            b'o' => sub.flags |= NoteFlags::HARMONIC,
            // Editorial marks; elision marks, read with the slur they belong to; marks of an appoggiatura, whose written
            // lengths are already those played; < and > after a sign put it below or above the staff.
            b'x' | b'X' | b'Y' | b'?' | b'&' | b'p' | b'P' | b'<' | b'>' => {}
            other => doubts.push(Doubt::Unknown(other)),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(token: &str) -> Parsed {
        let mut out = Parsed::default();
        parse(token.as_bytes(), &Signifiers::default(), &mut out);
        out
    }

    /// Pitches (or "r") with lengths in crotchets.
    fn notes(token: &str) -> String {
        let show = |sub: &Sub| {
            let length = sub.duration.map_or("-".to_owned(), |recip| recip.length.to_string());
            match sub.kind {
                Kind::Pitched(pitch) => format!("{pitch}:{length}"),
                Kind::Unpitched(pitch) => format!("({pitch}):{length}"),
                Kind::Rest => format!("r:{length}"),
            }
        };
        parsed(token).subs.iter().map(show).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn pitches_and_octaves() {
        // Humdrum Representation Reference, **kern: middle C is c, C5 cc, C3 C, C2 CC, the B below C2 BBB.
        assert_eq!(notes("4c 4cc 4ccc 4C 4CC 4BBB"), "C4:1 C5:1 C6:1 C3:1 C2:1 B1:1");
        assert_eq!(notes("4f# 4b- 4dd-- 4F## 4en"), "F#4:1 Bb4:1 Dbb5:1 F##3:1 E4:1");
    }

    #[test]
    fn order_of_signifiers_is_free() {
        // The same reference, context dependencies: `{(16ff#/'` and `/ff#16'({` are equivalent.
        for token in ["{(16ff#/'", "/ff#16'({"] {
            let parsed = parsed(token);
            let sub = parsed.subs[0];
            assert_eq!(notes(token), "F#5:1/4");
            assert_eq!((sub.stem, sub.articulations), (Stem::Up, Articulations::STACCATO));
            assert_eq!(parsed.signs.len(), 2);
        }
    }

    #[test]
    fn chords_share_what_the_first_note_says() {
        assert_eq!(notes("4c e g"), "C4:1 E4:1 G4:1");
        assert!(parsed("8cq e").subs.iter().all(|sub| sub.grace == Grace::Slashed));
    }

    #[test]
    fn grace_notes() {
        assert_eq!(parsed("G#q").subs[0].grace, Grace::Slashed);
        assert_eq!(parsed("8ccqq").subs[0].grace, Grace::Plain);
        assert_eq!(parsed("16cQ").subs[0].grace, Grace::Plain);
        // An appoggiatura is written as it is played.
        assert_eq!(parsed("8ccP").subs[0].grace, Grace::No);
    }

    #[test]
    fn elided_slurs_keep_their_level() {
        let levels: Vec<Sign> = parsed("&(4c&)").signs.iter().map(|(_, sign)| *sign).collect();
        assert_eq!(levels, [Sign::SlurOpen(1), Sign::SlurClose(1)]);
        let nested: Vec<Sign> = parsed("((4c").signs.iter().map(|(_, sign)| *sign).collect();
        assert_eq!(nested, [Sign::SlurOpen(0), Sign::SlurOpen(0)]);
    }

    #[test]
    fn hidden_notes_and_accidentals() {
        assert!(parsed("4ryy").subs[0].flags.contains(NoteFlags::HIDDEN));
        assert!(parsed("4ccyy").subs[0].flags.contains(NoteFlags::HIDDEN));
        assert!(parsed("4ccy").subs[0].flags.contains(NoteFlags::HIDDEN));
        assert!(!parsed("4cc#y").subs[0].flags.contains(NoteFlags::HIDDEN));
        assert!(!parsed("4cc/y").subs[0].flags.contains(NoteFlags::HIDDEN));
    }

    #[test]
    fn rests() {
        assert_eq!(notes("4r"), "r:1");
        assert_eq!(notes("2ggr"), "r:2");
        assert!(parsed("2.rr").subs[0].whole_rest);
    }

    #[test]
    fn closing_turns_and_percussion_share_a_letter() {
        assert_eq!(notes("8eR"), "(E4):1/2");
        assert_eq!(notes("4ccTR"), "C5:1");
    }

    #[test]
    fn tremolo_strokes_are_no_duration() {
        let sub = parsed("4c@16@").subs[0];
        assert_eq!((sub.tremolo, sub.tremolo_between), (16, false));
        assert_eq!(notes("4c@16@"), "C4:1");
        assert_eq!(notes("@@32@@2c"), "C4:2");
        assert!(parsed("2c@@32@@").subs[0].tremolo_between);
    }

    #[test]
    fn doubts() {
        assert_eq!(parsed("4cl").doubts, [Doubt::Unknown(b'l')]);
        assert_eq!(parsed("4cd").doubts, [Doubt::TwoPitches]);
        assert_eq!(parsed("4L").doubts, [Doubt::Nothing]);
        assert_eq!(parsed("9999999999c").doubts, [Doubt::Duration]);
        assert!(parsed("4cccccccccccc").subs.is_empty());
    }
}
