//! Clef, key and transposition.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::catalogue::{Build, Clef as CatalogueClef};
use ripieno_instruments::{Family, Range, Section};
use ripieno_score::{BarIndex, ChangeKind, Clef, ClefSign, Crotchets, DirectionKind, Edge, Note, Part, Step};

use super::{Found, passages};
use crate::kind::{Kind, Severity};
use crate::view::{Manner, PartView, View};

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    if part.manner == Manner::Other {
        return;
    }
    transposition(view, part, found);
    octave(view, part, found);
    if matches!(part.manner, Manner::Lines | Manner::Body) {
        clefs(part, found);
        ledger_lines(view, part, found);
    }
}

fn transposition(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    // Timpani were written as transposing instruments once.
    let free = part.instrument.section == Section::Timpani || part.also.iter().any(|other| other.id != part.instrument.id);
    if free || view.score.about.concert_pitch || part.instruments.len() > 1 {
        return;
    }
    if part.octaves_lower > 0 {
        let first = part.part.notes.first().map_or((BarIndex(0), Crotchets::ZERO), |note| (note.bar, note.at));
        found.place(
            (Kind::Transposition, Severity::Caution),
            part,
            first,
            "the file takes this horn in C as it is written, where horns in C sound an octave lower; it is looked at an octave lower",
            "Give the part its transposition of an octave, or call it a horn in C alto",
        );
    }
    for change in &part.part.changes {
        let ChangeKind::Transposition(by) = change.kind else { continue };
        let semitones = by.total_chromatic();
        let known = part.instrument.transpositions.iter().any(|own| (i32::from(own.semitones) - semitones).rem_euclid(12) == 0);
        if !known && semitones != 0 {
            let reason =
                format!("the {} sounding {semitones:+} semitones from what is written is not in use", part.instrument.name());
            found.place(
                (Kind::Transposition, Severity::Caution),
                part,
                (change.bar, change.at),
                reason,
                "Check the transposition of the part",
            );
        }
    }
}

/// Most notes out of reach by the same octave: a clef, an octave sign or a transposition is wrong.
fn octave(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let limits = part.rows().filter_map(|row| Some((row, view.key(row)?, part.reach(row)?)));
    let keyed: Vec<(usize, u8, Range, Range)> = limits.map(|(row, key, own)| (row, key, own.possible, own.comfortable)).collect();
    if keyed.len() < 8 {
        return;
    }
    let inside = |by: i16| {
        keyed.iter().filter(|(_, key, range, _)| u8::try_from(i16::from(*key) + by).is_ok_and(|key| range.contains(key))).count()
    };
    if inside(0) * 2 >= keyed.len() {
        octave_of_key(part, &keyed, found);
        return;
    }
    for by in [12, -12] {
        if inside(by) * 20 >= keyed.len() * 19 {
            let way = if by > 0 { "low" } else { "high" };
            let reason = format!(
                "{} of {} notes lie an octave too {way} for the {}",
                keyed.len() - inside(0),
                keyed.len(),
                part.instrument.name()
            );
            let rows: Vec<usize> = keyed.iter().map(|one| one.0).collect();
            found.rows(
                (Kind::Transposition, Severity::Fault),
                part,
                None,
                &rows,
                reason,
                "Check the octave of clef and transposition",
            );
            return;
        }
    }
}

/// Brass whose key exists in two octaves ("in B flat basso", "alto"): so much beyond the usual compass that the other octave is meant.
fn octave_of_key(part: &PartView<'_>, keyed: &[(usize, u8, Range, Range)], found: &mut Found<'_, '_>) {
    if part.instrument.section != Section::Horns || part.instrument.build != Build::Modern {
        return;
    }
    let beyond: Vec<usize> = keyed.iter().filter(|(_, key, _, usual)| *key > usual.high()).map(|one| one.0).collect();
    let lower = keyed
        .iter()
        .filter(|(_, key, possible, usual)| key.checked_sub(12).is_some_and(|key| possible.contains(key) && key <= usual.high()))
        .count();
    if beyond.len() * 25 >= keyed.len() && lower == keyed.len() {
        let reason =
            format!("{} of {} notes lie above the usual compass; all would fit an octave lower", beyond.len(), keyed.len());
        found.rows(
            (Kind::Transposition, Severity::Caution),
            part,
            None,
            &beyond,
            reason,
            "Is the horn meant in the lower octave (basso)? Check the transposition",
        );
    }
}

fn clefs(part: &PartView<'_>, found: &mut Found<'_, '_>) {
    for change in &part.part.changes {
        let ChangeKind::Clef(clef) = change.kind else { continue };
        let sign = match clef.sign {
            ClefSign::G => 'G',
            ClefSign::F => 'F',
            ClefSign::C => 'C',
            _ => continue,
        };
        let usual = part.instrument.clefs.iter().any(|own| match own {
            // Octave signs are checked by the compass.
            CatalogueClef::Pitched { sign: own, line, .. } => *own == sign && i16::from(*line) == i16::from(clef.line),
            _ => false,
        });
        // Tenor and treble clef for high bass instruments, treble for violas, old clefs for voices and early scores.
        let known = usual || part.instrument.family == Family::Voice || part.instrument.clefs.is_empty();
        let high = sign == 'G'
            || (sign == 'C'
                && clef.line == 4
                && part.instrument.clefs.iter().any(|own| matches!(own, CatalogueClef::Pitched { sign: 'F', .. })));
        let low_horn = sign == 'F' && matches!(part.instrument.section, Section::Horns | Section::Clarinets | Section::Trumpets);
        let read = known || low_horn || (high && part.instrument.section != Section::Timpani);
        if !read {
            let reason = format!("a {sign} clef on line {} for the {}", clef.line, part.instrument.name());
            found.place((Kind::Clef, Severity::Note), part, (change.bar, change.at), reason, "Use the clefs its players read");
        }
    }
}

/// Staff position (steps above C0) of the bottom line.
fn bottom(clef: Clef) -> Option<i32> {
    // G4, F3 and C4 on the clef's own line.
    let on_line = match clef.sign {
        ClefSign::G => 32,
        ClefSign::F => 24,
        ClefSign::C => 28,
        _ => return None,
    };
    Some(on_line - 2 * (i32::from(clef.line) - 1) + 7 * i32::from(clef.octaves))
}

/// A bar and a position in it.
type Place = (BarIndex, Crotchets);

/// More ledger lines than this are hard to read.
const LEDGERS: i32 = 5;

fn ledger_lines(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    // Under an octave sign the page shows other places than the pitches.
    let mut shifts: Vec<(Place, i32)> = Vec::new();
    for direction in &part.part.directions {
        if let DirectionKind::OctaveShift { edge, octaves, .. } = direction.kind {
            let now = match edge {
                Edge::Start => i32::from(octaves),
                Edge::Continue => continue,
                Edge::Stop => 0,
            };
            shifts.push(((direction.bar, direction.at), now));
        }
    }
    let mut clefs: BTreeMap<u8, Vec<(Place, Clef)>> = BTreeMap::new();
    for change in &part.part.changes {
        if let ChangeKind::Clef(clef) = change.kind {
            for staff in change.staff.map_or(1..=part.part.staves.max(1), |staff| staff..=staff) {
                clefs.entry(staff).or_default().push(((change.bar, change.at), clef));
            }
        }
    }
    let rows: Vec<usize> = part.rows().filter(|row| !view.is_grace(*row)).collect();
    let far = |row: usize| -> Option<i32> {
        let note = view.note(row)?;
        let place = (note.bar, note.at);
        let own = clefs.get(&note.staff)?;
        let clef = own[own.partition_point(|(at, _)| *at <= place).checked_sub(1)?].1;
        let shifted = shifts.partition_point(|(at, _)| *at <= place).checked_sub(1).is_some_and(|at| shifts[at].1 != 0);
        let steps = note.pitch()?.staff_position() - bottom(clef)?;
        let ledgers = if steps > 8 { (steps - 8) / 2 } else { (-steps).max(0) / 2 };
        (!shifted && ledgers > LEDGERS).then_some(ledgers)
    };
    for (first, last) in passages((0..rows.len()).filter(|at| far(rows[*at]).is_some()).map(|at| (at, at))) {
        // Flutes, violins and tubas are used to more where a clef or sign would be in the way.
        if last - first + 1 >= 4 {
            let most = rows[first..=last].iter().filter_map(|row| far(*row)).max().unwrap_or(0);
            let reason = format!("{} notes in a row on up to {most} ledger lines", last - first + 1);
            found.rows(
                (Kind::Clef, Severity::Note),
                part,
                None,
                &rows[first..=last],
                reason,
                "Use another clef or an octave sign",
            );
        }
    }
}

/// In how many of these bars a part has notes that two key signatures read differently.
fn touched(part: &Part, bars: std::ops::Range<BarIndex>, (a, b): (i32, i32)) -> usize {
    // Sharps come in the order F C G D A E B, flats the other way round.
    const ORDER: [Step; 7] = [Step::F, Step::C, Step::G, Step::D, Step::A, Step::E, Step::B];
    let altered = |at: i32, fifths: i32| (fifths - at - 1).div_euclid(7);
    let differ: Vec<Step> =
        (0i32..).zip(ORDER).filter(|(at, _)| altered(*at, a) != altered(*at, b)).map(|(_, step)| step).collect();
    let first = part.notes.partition_point(|note| note.bar < bars.start);
    let rest = part.notes[first..].iter().take_while(|note| note.bar < bars.end);
    let there = |note: &&Note| note.plays() && note.pitch().is_some_and(|pitch| differ.contains(&pitch.step));
    rest.filter(there).map(|note| note.bar).collect::<BTreeSet<BarIndex>>().len()
}

/// Key signatures against each other: written keys, transposed, should agree.
pub(super) fn keys(view: &View<'_>, found: &mut Found<'_, '_>) {
    // Places where any part changes its key.
    let mut places: Vec<BarIndex> = view
        .parts
        .iter()
        .flat_map(|part| &part.part.changes)
        .filter(|change| matches!(change.kind, ChangeKind::Key(_)) && change.at.is_zero())
        .map(|change| change.bar)
        .collect();
    places.sort_unstable();
    places.dedup();
    let mut cursors: Vec<usize> = vec![0; view.parts.len()];
    let mut now: Vec<(Option<i8>, i32)> = vec![(None, 0); view.parts.len()];
    let mut told = vec![false; view.parts.len()];
    for (at, &bar) in places.iter().enumerate() {
        let until = places.get(at + 1).copied().unwrap_or(BarIndex(u32::MAX));
        for (part, (cursor, now)) in view.parts.iter().zip(cursors.iter_mut().zip(&mut now)) {
            while let Some(change) =
                part.part.changes.get(*cursor).filter(|change| (change.bar, change.at) <= (bar, Crotchets::ZERO))
            {
                match change.kind {
                    ChangeKind::Key(key) => now.0 = Some(key.fifths),
                    ChangeKind::Transposition(by) => now.1 = by.total_chromatic(),
                    _ => {}
                }
                *cursor += 1;
            }
        }
        // What the strings, voices and keyboards agree on.
        let mut votes: BTreeMap<i8, usize> = BTreeMap::new();
        for (part, (fifths, by)) in view.parts.iter().zip(&now) {
            let plain = matches!(part.instrument.family, Family::Strings | Family::Voice | Family::Keyboard | Family::Woodwind);
            if let Some(fifths) = fifths.filter(|_| plain && by.rem_euclid(12) == 0) {
                *votes.entry(fifths).or_default() += 1;
            }
        }
        let Some((concert, count)) = votes.into_iter().max_by_key(|(_, count)| *count).filter(|(_, count)| *count >= 2) else {
            continue;
        };
        for ((part, (fifths, by)), told) in view.parts.iter().zip(&now).zip(&mut told) {
            let Some(fifths) = fifths else { continue };
            let expected = i32::from(concert) + (-by * 7).rem_euclid(12);
            let fits = (i32::from(*fifths) - expected).rem_euclid(12) == 0;
            // Brass, timpani, percussion and harp are often written without a key; so is whatever the instrument is unknown.
            let free = *fifths == 0 && !matches!(part.instrument.family, Family::Woodwind | Family::Strings);
            let skip = matches!(part.manner, Manner::Other | Manner::Struck) || part.rows().is_empty();
            if fits || free || skip {
                *told = false;
                continue;
            }
            if !*told {
                let shown = |fifths: i32| match fifths {
                    0 => "no signature".to_owned(),
                    1.. => format!("{fifths} sharps"),
                    _ => format!("{} flats", -fifths),
                };
                let wanted = (expected + 5).rem_euclid(12) - 5;
                let reason =
                    format!("{} where {} would fit the {count} parts in concert pitch", shown(i32::from(*fifths)), shown(wanted));
                // A signature left behind in a part that rests, or plays next to nothing it touches, harms nobody.
                let bars = part.part.notes.iter().filter(|note| note.plays() && (bar..until).contains(&note.bar));
                let bars = bars.map(|note| note.bar).collect::<BTreeSet<BarIndex>>().len();
                let read = touched(part.part, bar..until, (i32::from(*fifths), wanted)) >= bars.clamp(1, 2);
                found.place(
                    (Kind::KeySignature, if read { Severity::Caution } else { Severity::Note }),
                    part,
                    (bar, Crotchets::ZERO),
                    reason,
                    "Check key signature and transposition",
                );
                *told = true;
            }
        }
    }
}
