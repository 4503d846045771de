//! Tandem interpretations: what holds for a spine from here on.
//!
//! Source: Humdrum Representation Reference (`**kern`, common tandem interpretations) and User Guide, chapters 4, 6, 20 and
//! Appendix II. `*ITr` gives the interval from the sounding pitch, which the notes hold, to the printed one.

use ripieno_score::{Clef, ClefSign, Metre, Transposition};

/// A tandem interpretation that is understood.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Tandem<'a> {
    Clef(Clef),
    /// Sharps (positive) or flats of a signature; whether they are in the usual order.
    Signature {
        fifths: i8,
        usual: bool,
    },
    /// A key by name: the mode where it is major or minor, and the text.
    Key {
        major: Option<bool>,
        name: &'a [u8],
    },
    Metre(Metre),
    /// Crotchets a minute.
    Tempo(f64),
    /// A tempo in words.
    TempoWords(&'a [u8]),
    /// From sounding to printed pitch.
    Transposition(Transposition),
    Name(&'a [u8]),
    Abbreviation(&'a [u8]),
    /// An instrument by its code.
    Code(&'a [u8]),
    /// Which of several: `*I#2` is the second of its kind.
    Ordinal(u16),
    /// The class, such as `klav`.
    Class(&'a [u8]),
    /// Staff numbers, counted from the top of the page.
    Staves(Vec<u16>),
    Part(u16),
    Label(&'a [u8]),
    /// A playing order: its name, empty for the usual one, and its section labels.
    Expansion {
        variant: &'a [u8],
        labels: Vec<&'a [u8]>,
    },
    /// Notes stand this many octaves lower on the page than they sound.
    OctaveShift {
        octaves: i8,
        open: bool,
    },
    Pedal {
        down: bool,
    },
    Cue(bool),
    Ossia(bool),
    /// A strophe begins in this spine.
    Strophe,
    /// It ends.
    StropheEnd,
    StaffLines(u8),
    /// Without bearing on what this reader keeps.
    Ignored,
    /// Looks like one of the above but cannot be read.
    Broken(&'static str),
    Unknown,
}

/// Sections in an expansion list read at most.
const MOST_SECTIONS: usize = 1000;

/// Reads a token that begins with one asterisk.
pub(super) fn parse(token: &[u8]) -> Tandem<'_> {
    let body = token.get(1..).unwrap_or_default();
    let after = |prefix: &[u8]| body.strip_prefix(prefix);
    if body.is_empty() {
        return Tandem::Ignored;
    }
    if let Some(rest) = after(b"clef") {
        return clef(rest).map_or(Tandem::Broken("clef"), Tandem::Clef);
    }
    if let Some(list) = after(b"k[").and_then(|rest| rest.strip_suffix(b"]")) {
        return signature(list);
    }
    if let Some(rest) = after(b"MM") {
        return tempo(rest);
    }
    if let Some(rest) = after(b"met(") {
        let _ = rest; // the sign for a metre that *M gives in numbers
        return Tandem::Ignored;
    }
    if let Some(rest) = after(b"M") {
        return metre(rest).map_or(Tandem::Broken("metre"), Tandem::Metre);
    }
    if let Some(rest) = after(b"ITr") {
        return transposition(rest).map_or(Tandem::Broken("transposition"), Tandem::Transposition);
    }
    if let Some(rest) = after(b"I") {
        return instrument(rest);
    }
    if let Some(rest) = after(b"staff") {
        let staves: Option<Vec<u16>> = rest.split(|&byte| byte == b'/' || byte == b',').take(64).map(small).collect();
        return staves.map_or(Tandem::Broken("staff number"), Tandem::Staves);
    }
    if let Some(number) = after(b"part").and_then(small) {
        return Tandem::Part(number);
    }
    if let Some(rest) = after(b">") {
        return section(rest);
    }
    if let Some(lines) = after(b"stria").and_then(small).and_then(|lines| u8::try_from(lines).ok()) {
        return Tandem::StaffLines(lines);
    }
    match body {
        b"8va" => Tandem::OctaveShift { octaves: 1, open: true },
        b"X8va" => Tandem::OctaveShift { octaves: 1, open: false },
        b"8ba" | b"8bassa" => Tandem::OctaveShift { octaves: -1, open: true },
        b"X8ba" | b"X8bassa" => Tandem::OctaveShift { octaves: -1, open: false },
        b"15ma" => Tandem::OctaveShift { octaves: 2, open: true },
        b"X15ma" => Tandem::OctaveShift { octaves: 2, open: false },
        b"15ba" => Tandem::OctaveShift { octaves: -2, open: true },
        b"X15ba" => Tandem::OctaveShift { octaves: -2, open: false },
        b"ped" => Tandem::Pedal { down: true },
        b"Xped" => Tandem::Pedal { down: false },
        b"cue" => Tandem::Cue(true),
        b"Xcue" => Tandem::Cue(false),
        b"ossia" => Tandem::Ossia(true),
        b"Xossia" => Tandem::Ossia(false),
        b"S/fin" | b"S-" => Tandem::StropheEnd,
        _ if body.starts_with(b"S/") => Tandem::Strophe,
        _ => key(body).unwrap_or_else(|| rest(body)),
    }
}

/// What is known to concern the look of the page alone, or other tools.
fn rest(body: &[u8]) -> Tandem<'_> {
    const PREFIXES: [&[u8]; 35] = [
        b"tuplet",
        b"Xtuplet",
        b"brack",
        b"Xbrack",
        b"tremolo",
        b"Xtremolo",
        b"fTrem",
        b"tb",
        b"rscale",
        b"thru",
        b"strophe",
        b"solo",
        b"accomp",
        b"head",
        b"color",
        b"size",
        b"scale",
        b"Xbeam",
        b"rep",
        b"Xrep",
        b"above",
        b"below",
        b"centered",
        b"verse",
        // As the source or the edition has it, beside what is encoded.
        b"oclef",
        b"ok[",
        b"omet",
        b"oM",
        b"oI",
        b"mclef",
        b"mk[",
        b"mmet",
        b"mM",
        b"mI",
        b"kcancel",
    ];
    if PREFIXES.iter().any(|prefix| body.starts_with(prefix)) { Tandem::Ignored } else { Tandem::Unknown }
}

fn digits(bytes: &[u8]) -> Option<u32> {
    let usable = !bytes.is_empty() && bytes.len() <= 6 && bytes.iter().all(u8::is_ascii_digit);
    usable.then(|| bytes.iter().fold(0, |sum, byte| sum * 10 + u32::from(byte - b'0')))
}

fn small(bytes: &[u8]) -> Option<u16> {
    digits(bytes).and_then(|number| u16::try_from(number).ok())
}

/// `G2`, `Gv2` (an octave below), `F4`, `C3`, `X` (percussion).
fn clef(rest: &[u8]) -> Option<Clef> {
    let (sign, usual) = match rest.first()? {
        b'G' => (ClefSign::G, 2),
        b'F' => (ClefSign::F, 4),
        b'C' => (ClefSign::C, 3),
        b'X' => (ClefSign::Percussion, 3),
        b'T' => (ClefSign::Tablature, 5),
        _ => return None,
    };
    let (mut octaves, mut line) = (0i8, usual);
    for byte in rest.iter().skip(1) {
        match byte {
            b'v' => octaves = octaves.saturating_sub(1),
            b'^' => octaves = octaves.saturating_add(1),
            b'0'..=b'9' => line = i8::try_from(byte - b'0').ok()?,
            _ => return None,
        }
    }
    Some(Clef { sign, line, octaves: octaves.clamp(-3, 3) })
}

/// `f#c#`, `b-e-a-`, nothing, or naturals that cancel.
fn signature(list: &[u8]) -> Tandem<'static> {
    const SHARPS: &[u8] = b"fcgdaeb";
    let (mut fifths, mut usual, mut count) = (0i8, true, 0usize);
    let mut letter = None;
    for &byte in list.iter().take(64) {
        match byte {
            b'a'..=b'g' => letter = Some(byte),
            b'#' | b'-' => {
                let order = if byte == b'#' { SHARPS.get(count % 7) } else { SHARPS.get(6 - count % 7) };
                usual &= order.is_some() && order == letter.as_ref() && (fifths == 0 || (fifths > 0) == (byte == b'#'));
                fifths = fifths.saturating_add(if byte == b'#' { 1 } else { -1 });
                count += 1;
            }
            b'n' | b'X' | b' ' => {}
            _ => return Tandem::Broken("key signature"),
        }
    }
    Tandem::Signature { fifths: fifths.clamp(-14, 14), usual }
}

/// `C:` major, `a:` minor, `F#:`, `B-:`, `G:mix` (a mode); `?:` unknown.
fn key(body: &[u8]) -> Option<Tandem<'_>> {
    let colon = body.iter().position(|&byte| byte == b':')?;
    let (tonic, mode) = (body.get(..colon)?, body.get(colon + 1..)?);
    if tonic == b"?" {
        return Some(Tandem::Ignored);
    }
    let (letter, accidentals) = tonic.split_first()?;
    let sound = matches!(letter, b'a'..=b'g' | b'A'..=b'G') && accidentals.iter().all(|byte| matches!(byte, b'#' | b'-'));
    let major = match mode {
        b"" | b"X" => Some(letter.is_ascii_uppercase()),
        b"ion" => Some(true),
        b"aeo" => Some(false),
        _ => None,
    };
    sound.then_some(Tandem::Key { major, name: body })
}

fn tempo(rest: &[u8]) -> Tandem<'_> {
    if let Some(words) = rest.strip_prefix(b"[").and_then(|rest| rest.strip_suffix(b"]")) {
        return Tandem::TempoWords(words);
    }
    let length = rest.iter().take_while(|byte| byte.is_ascii_digit() || **byte == b'.').count();
    let number = rest.get(..length).and_then(|digits| std::str::from_utf8(digits).ok()).and_then(|text| text.parse::<f64>().ok());
    match number {
        Some(number) if number > 0.0 && number <= 10_000.0 => Tandem::Tempo(number),
        _ => Tandem::Broken("tempo"),
    }
}

/// `3/4`, `2+3/8`, `3/0` (breves), `X` or `?` (none).
fn metre(rest: &[u8]) -> Option<Metre> {
    if matches!(rest, b"X" | b"?" | b"none" | b"free" | b"unmeasured") {
        return Some(Metre::Free);
    }
    let slash = rest.iter().position(|&byte| byte == b'/')?;
    let beats: Option<Vec<u16>> = rest.get(..slash)?.split(|&byte| byte == b'+').take(32).map(small).collect();
    let (beats, unit) = (beats?, small(rest.get(slash + 1..)?)?);
    let bounded = beats.iter().all(|&count| (1..=999).contains(&count)) && unit <= 1024;
    let metre = match unit {
        0 => Metre::Measured(vec![(beats.into_iter().map(|count| count * 2).collect(), 1)]),
        unit => Metre::Measured(vec![(beats, unit)]),
    };
    bounded.then_some(metre)
}

/// `d1c2`: up one staff step and two semitones.
fn transposition(rest: &[u8]) -> Option<Transposition> {
    let (diatonic, rest) = signed(rest.strip_prefix(b"d")?)?;
    let (chromatic, rest) = signed(rest.strip_prefix(b"c")?)?;
    let octaves = diatonic / 7;
    let (diatonic, chromatic) = (diatonic % 7, chromatic - 12 * octaves);
    let by = Transposition {
        chromatic: i8::try_from(chromatic).ok()?,
        diatonic: i8::try_from(diatonic).ok()?,
        octaves: i8::try_from(octaves).ok()?,
        doubled_below: false,
    };
    rest.is_empty().then_some(by)
}

fn signed(bytes: &[u8]) -> Option<(i32, &[u8])> {
    let (negative, bytes) = match bytes.split_first()? {
        (b'-', rest) => (true, rest),
        (b'+', rest) => (false, rest),
        _ => (false, bytes),
    };
    let length = bytes.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let size = i32::try_from(digits(bytes.get(..length)?)?).ok()?;
    Some((if negative { -size } else { size }, bytes.get(length..)?))
}

fn instrument(rest: &[u8]) -> Tandem<'_> {
    match rest.split_first() {
        Some((b'"', name)) => Tandem::Name(name),
        Some((b'\'', name)) => Tandem::Abbreviation(name),
        Some((b':', name)) => Tandem::Name(name.strip_prefix(b"[").and_then(|name| name.strip_suffix(b"]")).unwrap_or(name)),
        Some((b'#', number)) => small(number).map_or(Tandem::Ignored, Tandem::Ordinal),
        Some((b'C', class)) => Tandem::Class(class),
        Some((b'G', _)) | None => Tandem::Ignored,
        Some(_) => Tandem::Code(rest),
    }
}

fn section(rest: &[u8]) -> Tandem<'_> {
    if let (Some(open), Some(inside)) = (rest.iter().position(|&byte| byte == b'['), rest.strip_suffix(b"]")) {
        let labels = inside.get(open + 1..).unwrap_or_default().split(|&byte| byte == b',').take(MOST_SECTIONS).collect();
        return Tandem::Expansion { variant: rest.get(..open).unwrap_or_default(), labels };
    }
    Tandem::Label(rest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clefs() {
        let clef = |sign, line, octaves| Tandem::Clef(Clef { sign, line, octaves });
        assert_eq!(parse(b"*clefG2"), clef(ClefSign::G, 2, 0));
        assert_eq!(parse(b"*clefGv2"), clef(ClefSign::G, 2, -1));
        assert_eq!(parse(b"*clefC4"), clef(ClefSign::C, 4, 0));
        assert_eq!(parse(b"*clefX"), clef(ClefSign::Percussion, 3, 0));
        assert_eq!(parse(b"*clefH9"), Tandem::Broken("clef"));
    }

    #[test]
    fn signatures_and_keys() {
        assert_eq!(parse(b"*k[f#c#g#d#]"), Tandem::Signature { fifths: 4, usual: true });
        assert_eq!(parse(b"*k[b-e-]"), Tandem::Signature { fifths: -2, usual: true });
        assert_eq!(parse(b"*k[]"), Tandem::Signature { fifths: 0, usual: true });
        assert_eq!(parse(b"*k[f#b-]"), Tandem::Signature { fifths: 0, usual: false });
        assert_eq!(parse(b"*k[e-]"), Tandem::Signature { fifths: -1, usual: false });
        assert_eq!(parse(b"*c#:"), Tandem::Key { major: Some(false), name: b"c#:" });
        assert_eq!(parse(b"*G:mix"), Tandem::Key { major: None, name: b"G:mix" });
    }

    #[test]
    fn metres() {
        assert_eq!(parse(b"*M3/4"), Tandem::Metre(Metre::simple(3, 4)));
        assert_eq!(parse(b"*M2+3/8"), Tandem::Metre(Metre::Measured(vec![(vec![2, 3], 8)])));
        assert_eq!(parse(b"*M3/0"), Tandem::Metre(Metre::simple(6, 1)));
        assert_eq!(parse(b"*MX"), Tandem::Metre(Metre::Free));
        assert_eq!(parse(b"*M0/4"), Tandem::Broken("metre"));
        assert_eq!(parse(b"*met(c|)"), Tandem::Ignored);
        assert_eq!(parse(b"*MM132"), Tandem::Tempo(132.0));
        assert_eq!(parse(b"*MM[Presto]"), Tandem::TempoWords(b"Presto"));
    }

    #[test]
    fn transpositions_lead_from_sounding_to_printed() {
        // verovio Humdrum documentation, "transposing parts": a clarinet in B flat is *ITrd1c2, a horn in F *ITrd4c7.
        let by = |diatonic, chromatic, octaves| {
            Tandem::Transposition(Transposition { chromatic, diatonic, octaves, doubled_below: false })
        };
        assert_eq!(parse(b"*ITrd1c2"), by(1, 2, 0));
        assert_eq!(parse(b"*ITrd4c7"), by(4, 7, 0));
        assert_eq!(parse(b"*ITrd-2c-3"), by(-2, -3, 0));
        assert_eq!(parse(b"*ITrd7c12"), by(0, 0, 1));
        assert_eq!(parse(b"*ITrd8c14"), by(1, 2, 1));
        assert_eq!(parse(b"*ITrd-7c-12"), by(0, 0, -1));
    }

    #[test]
    fn names_and_places() {
        assert_eq!(parse(b"*I\"Violin I"), Tandem::Name(b"Violin I"));
        assert_eq!(parse(b"*I:[SOPRANO]"), Tandem::Name(b"SOPRANO"));
        assert_eq!(parse(b"*I'Vln. I"), Tandem::Abbreviation(b"Vln. I"));
        assert_eq!(parse(b"*Ivioln"), Tandem::Code(b"violn"));
        assert_eq!(parse(b"*ICklav"), Tandem::Class(b"klav"));
        assert_eq!(parse(b"*I#2"), Tandem::Ordinal(2));
        assert_eq!(parse(b"*staff1/2"), Tandem::Staves(vec![1, 2]));
        assert_eq!(parse(b"*part3"), Tandem::Part(3));
    }

    #[test]
    fn sections() {
        assert_eq!(parse(b"*>1st Ending"), Tandem::Label(b"1st Ending"));
        assert_eq!(parse(b"*>[A,A,B]"), Tandem::Expansion { variant: b"", labels: vec![b"A", b"A", b"B"] });
        assert_eq!(parse(b"*>norep[A,B]"), Tandem::Expansion { variant: b"norep", labels: vec![b"A", b"B"] });
    }
}
