//! Who plays: asks the instrument catalogue what each part is and how many play from it.

use ripieno_instruments::catalogue::{Clef as CatalogueClef, Instrument, Language};
use ripieno_instruments::family::Family;
use ripieno_instruments::range::Range;
use ripieno_instruments::recognise::{Clues, Interval, Recognition, recognise_all};
use ripieno_score::{ChangeKind, Clef, ClefSign, Crotchets, Part, PlayerCount, Score};

use crate::{Finding, Place, Severity};

/// Below this the recognition of a part is worth asking about.
const SURE: f32 = 0.6;

/// Singers on one voice of a choir whose size is not printed: chamber choir to oratorio society, common practice.
const CHORUS_VOICE: PlayerCount = PlayerCount::between(4, 40);

/// Chords of a part for single players that settle how many there are; fewer may be slips or cues.
const CHORDS_THAT_SETTLE: usize = 3;

/// Fills in each part's instrument and players, and answers what is to be said about them.
pub(crate) fn fill(file: &str, score: &mut Score) -> Vec<Finding> {
    let recognitions = recognise_all(&score.parts.iter().map(clues).collect::<Vec<_>>());
    // "Soprano" beside "Soprano solo" is the choir's.
    let solo: Vec<&str> =
        recognitions.iter().filter(|r| r.printed_players() == Some(1)).map(|r| r.instrument.id.as_str()).collect();
    let chorus = |r: &Recognition| {
        r.instrument.family == Family::Voice && r.printed_players().is_none() && solo.contains(&r.instrument.id.as_str())
    };
    let mut findings = Vec::new();
    for (part, recognition) in score.parts.iter_mut().zip(&recognitions) {
        part.instrument_id.clone_from(&recognition.instrument.id);
        (part.players, part.is_body) = if chorus(recognition) { (CHORUS_VOICE, true) } else { players(part, recognition) };
        if recognition.confidence < SURE {
            let reasons: Vec<String> = recognition.reasons.iter().map(ToString::to_string).collect();
            findings.push(Finding {
                severity: Severity::Note,
                code: "instrument-guessed",
                place: Place { file: file.to_owned(), part: Some(part.name.clone()), ..Place::default() },
                what: format!("the part is taken for {} ({})", recognition.instrument.name(), reasons.join("; ")),
                hint: "Name the part by its instrument to settle it".to_owned(),
            });
        }
    }
    findings
}

fn clues(part: &Part) -> Clues<'_> {
    let first = part.instruments.first();
    let at_start = || part.changes.iter().take_while(|change| change.bar.0 == 0 && change.at == Crotchets::ZERO);
    let transposition = at_start().find_map(|change| match change.kind {
        ChangeKind::Transposition(by) => Some(Interval { chromatic: by.chromatic, diatonic: by.diatonic, octave: by.octaves }),
        _ => None,
    });
    let clef = at_start().find_map(|change| if let ChangeKind::Clef(clef) = change.kind { catalogue_clef(clef) } else { None });
    Clues {
        name: &part.name,
        instrument_name: first.map_or("", |instrument| &instrument.name),
        abbreviation: &part.abbreviation,
        sound_id: first.map_or("", |instrument| &instrument.sound),
        midi_program: first.and_then(|instrument| instrument.program),
        midi_channel10: first.is_some_and(|instrument| instrument.channel == Some(10)),
        clef,
        written_range: written_range(part),
        transposition,
        ..Clues::default()
    }
}

fn catalogue_clef(clef: Clef) -> Option<CatalogueClef> {
    let pitched = |sign| {
        let line = u8::try_from(clef.line).ok()?;
        Some(CatalogueClef::Pitched { sign, line, octave: clef.octaves })
    };
    match clef.sign {
        ClefSign::G => pitched('G'),
        ClefSign::F => pitched('F'),
        ClefSign::C => pitched('C'),
        ClefSign::Percussion => Some(CatalogueClef::Percussion),
        ClefSign::Tablature => Some(CatalogueClef::Tablature),
        ClefSign::None => None,
    }
}

fn written_range(part: &Part) -> Option<Range> {
    let keys = || part.notes.iter().filter(|note| note.plays()).filter_map(|note| u8::try_from(note.pitch()?.semitones()).ok());
    Range::new(keys().min()?, keys().max()?.min(127))
}

/// How many play from a part, and whether they are a body.
///
/// The name settles it when it has numbers or a count ("Horn 1.2", "8 Horns"); a section of strings or a choir is a body
/// whose size is the catalogue's usual range; otherwise one player, or as many as its chords need where each player has one
/// note at a time, or the usual range where the name is a plural.
fn players(part: &Part, recognition: &Recognition) -> (PlayerCount, bool) {
    let instrument = recognition.instrument;
    let usual = PlayerCount::between(u16::from(instrument.players.0.max(1)), u16::from(instrument.players.1.max(1)));
    if let Some(count) = recognition.printed_players() {
        return (PlayerCount::exactly(count.max(1)), instrument.section_instrument && count > 2);
    }
    if instrument.section_instrument {
        return (usual, true);
    }
    let one_note_each = matches!(instrument.family, Family::Woodwind | Family::Brass | Family::Voice);
    let needed = if one_note_each { most_at_once(part) } else { 1 };
    if is_plural(&part.name, instrument) {
        return (PlayerCount::between(needed.max(2), usual.most.max(needed).max(2)), false);
    }
    (PlayerCount::exactly(needed), false)
}

/// Whether a word of the name is the instrument's plural in some language.
fn is_plural(name: &str, instrument: &Instrument) -> bool {
    let name = name.to_lowercase();
    Language::ALL.into_iter().any(|language| {
        let names = instrument.names(language);
        let plural = names.plural.to_lowercase();
        !plural.is_empty() && plural != names.singular.to_lowercase() && name.contains(&plural)
    })
}

/// Players a monophonic instrument needs: most notes that begin together, in several places of the part.
fn most_at_once(part: &Part) -> u16 {
    let notes: Vec<_> = part.notes.iter().filter(|note| note.plays() && note.duration.is_positive()).collect();
    let mut sizes: Vec<usize> = notes.chunk_by(|a, b| (a.bar, a.at) == (b.bar, b.at)).map(<[_]>::len).collect();
    sizes.sort_unstable_by(|a, b| b.cmp(a));
    let settled = sizes.get(CHORDS_THAT_SETTLE - 1).copied().unwrap_or(1);
    u16::try_from(settled).unwrap_or(u16::MAX).max(1)
}
