//! Changes of instrument and of mutes, told in good time: "to Piccolo" stands where the rest before begins, the name where it is played; "con sord." stands
//! where the rest begins and, as the score has it, where it is played.

use ripieno_instruments::{Clues, Recognition, recognise};
use ripieno_score::{Bar, BarIndex, ChangeKind, Crotchets, Direction, DirectionKind, Note, Part};

use crate::lists::mute_in;
use crate::rests::played;

/// Fewest players of what a whole section plays and nobody takes up in a rest: cellos, strings, brass.
const SECTION: u8 = 8;

/// What the catalogue makes of an instrument's name; nothing where it does not know it.
fn known(name: &str) -> Option<Recognition> {
    let found = recognise(&Clues { name, ..Clues::default() });
    (!found.fallback && found.confidence >= 0.6).then_some(found)
}

/// Whether a player puts one thing down and takes up another: files also change what plays a part back, from "String Ensemble" to "Pizzicato
/// Strings". A clarinet in another key is another clarinet.
fn is_taken_up(before: &Recognition, next: &Recognition) -> bool {
    let other_key = !next.keys.is_empty() && before.keys != next.keys;
    (before.instrument.id != next.instrument.id || other_key) && next.instrument.players.0 < SECTION
}

/// Says where a rest begins which instrument is taken up in it (common practice); not where the page says so itself.
pub(crate) fn announce(part: &mut Part, bars: &[Bar]) {
    if part.instruments.len() < 2 {
        return;
    }
    // Files do not always name the first, which is the part's own.
    let own = |at: usize| known(&part.name).filter(|_| at == 0);
    let instruments: Vec<Option<Recognition>> =
        part.instruments.iter().enumerate().map(|(at, one)| known(&one.name).or_else(|| own(at))).collect();
    let start = |bar: BarIndex| bars.get(bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
    let end_of = |note: &Note| start(note.bar) + note.at + note.duration;
    let mut told: Vec<Direction> = Vec::new();
    let mut in_hand = 0u8;
    // The end of all that was played before the change, kept from one change to the next.
    let mut seen = 0usize;
    let mut end: Option<Crotchets> = None;
    for change in &part.changes {
        let ChangeKind::Instrument(next) = change.kind else { continue };
        let before = std::mem::replace(&mut in_hand, next);
        if before == next {
            continue;
        }
        let of = |at: u8| instruments.get(usize::from(at)).and_then(Option::as_ref);
        if !of(before).zip(of(next)).is_some_and(|(before, next)| is_taken_up(before, next)) {
            continue;
        }
        let name = part.instruments[usize::from(next)].name.as_str();
        let taken_up = start(change.bar) + change.at;
        let ahead = seen + part.notes[seen..].partition_point(|note| start(note.bar) + note.at < taken_up);
        end = part.notes[seen..ahead].iter().filter(|note| note.plays()).map(end_of).max().max(end);
        seen = ahead;
        let Some(end) = end else { continue };
        // At the end of the last note: in its bar, or at the beginning of the next.
        let bar = bars.partition_point(|bar| bar.start <= end).saturating_sub(1);
        let (Some(place), Ok(index)) = (bars.get(bar), u32::try_from(bar)) else { continue };
        if end >= taken_up || BarIndex(index) >= change.bar {
            continue;
        }
        let says = |direction: &Direction| match &direction.kind {
            DirectionKind::Words(text) => {
                let when = start(direction.bar) + direction.at;
                end <= when && when < taken_up && text.to_lowercase().contains(&name.to_lowercase())
            }
            _ => false,
        };
        let first = part.directions.partition_point(|direction| start(direction.bar) + direction.at < end);
        if !part.directions[first..].iter().take_while(|one| start(one.bar) + one.at < taken_up).any(says) {
            let kind = DirectionKind::Words(format!("to {name}").into());
            told.push(Direction { bar: BarIndex(index), at: end - place.start, staff: 1, voice: None, above: Some(true), kind });
        }
    }
    part.directions.append(&mut told);
    part.directions.sort_by_key(|direction| (direction.bar, direction.at));
}

/// Says again where a rest of a bar or more begins which mute is put in or taken out in it (common practice), as the words at its end have it.
pub(crate) fn announce_mutes(part: &mut Part, bars: &[Bar]) {
    let sounding = played(part, bars);
    // The latest end of what has begun by then; sounds may overlap.
    let ends: Vec<Crotchets> = sounding
        .iter()
        .scan(Crotchets::ZERO, |end, sound| {
            *end = (*end).max(sound.1);
            Some(*end)
        })
        .collect();
    let mut told: Vec<Direction> = Vec::new();
    // Where the last words about mutes stand: nothing is told before them.
    let mut last = None;
    for direction in &part.directions {
        let DirectionKind::Words(text) = &direction.kind else { continue };
        if mute_in(text).is_none() {
            continue;
        }
        let start = bars.get(direction.bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
        let at = start + direction.at;
        let before = last.replace(at);
        let Some(end) = sounding.partition_point(|sound| sound.0 < at).checked_sub(1).map(|index| ends[index]) else { continue };
        let bar = bars.partition_point(|bar| bar.start <= end).saturating_sub(1);
        let (Some(place), Ok(index)) = (bars.get(bar), u32::try_from(bar)) else { continue };
        let is_long = end + place.length <= at && before.is_none_or(|before| before < end);
        if is_long && BarIndex(index) < direction.bar {
            told.push(Direction {
                bar: BarIndex(index),
                at: end - place.start,
                voice: None,
                above: Some(true),
                ..direction.clone()
            });
        }
    }
    part.directions.append(&mut told);
    part.directions.sort_by_key(|direction| (direction.bar, direction.at));
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{Change, Note, PartInstrument};

    #[test]
    fn a_change_is_told_where_the_rest_begins() {
        let bars: Vec<Bar> = (0..8).map(|n| Bar::new(n.to_string(), Crotchets::whole(4 * n), Crotchets::whole(4))).collect();
        let note = |bar| Note { bar: BarIndex(bar), duration: Crotchets::whole(2), ..Note::default() };
        let instrument = |name: &str| PartInstrument { name: name.to_owned(), ..PartInstrument::default() };
        let change = |bar, to| Change { bar: BarIndex(bar), at: Crotchets::ZERO, staff: None, kind: ChangeKind::Instrument(to) };
        let mut part = Part {
            notes: vec![note(0), note(5), note(6)],
            instruments: vec![instrument("Flute"), instrument("Piccolo")],
            changes: vec![change(5, 1), change(6, 0)],
            ..Part::default()
        };
        announce(&mut part, &bars);
        let told: Vec<(u32, Crotchets, String)> = part
            .directions
            .iter()
            .filter_map(|one| match &one.kind {
                DirectionKind::Words(text) => Some((one.bar.0, one.at, text.to_string())),
                _ => None,
            })
            .collect();
        // Back to the flute there is a bar's end to read it in.
        assert_eq!(told, [(0, Crotchets::whole(2), "to Piccolo".to_owned()), (5, Crotchets::whole(2), "to Flute".to_owned())]);
        let before = part.directions.len();
        announce(&mut part, &bars);
        assert_eq!(part.directions.len(), before);
    }

    /// As far ahead as hands need (common practice: whatever is changed is told at the beginning of the rest).
    #[test]
    fn a_mute_is_told_where_the_rest_begins() {
        let bars: Vec<Bar> = (0..10).map(|n| Bar::new(n.to_string(), Crotchets::whole(4 * n), Crotchets::whole(4))).collect();
        let note = |bar| Note { bar: BarIndex(bar), duration: Crotchets::whole(2), ..Note::default() };
        let words = |bar, text: &str| Direction {
            bar: BarIndex(bar),
            at: Crotchets::ZERO,
            staff: 1,
            voice: None,
            above: Some(true),
            kind: DirectionKind::Words(text.into()),
        };
        let mut part = Part {
            notes: vec![note(0), note(4), note(5), note(9)],
            directions: vec![
                words(4, "con sord."),
                words(4, "dolce"),
                words(5, "senza sord."),
                words(8, "con sord."),
                words(9, "open"),
            ],
            ..Part::default()
        };
        announce_mutes(&mut part, &bars);
        let two = Crotchets::whole(2);
        let early = Direction { at: two, ..words(0, "con sord.") };
        let later = Direction { at: two, ..words(5, "con sord.") };
        assert_eq!(
            part.directions,
            // Half a bar of rest is too short to say it twice; "open" alone may be a string.
            [
                early,
                words(4, "con sord."),
                words(4, "dolce"),
                words(5, "senza sord."),
                later,
                words(8, "con sord."),
                words(9, "open")
            ]
        );
    }

    fn told_with(names: [&str; 3], changes: &[(u32, u8)]) -> Vec<(u32, String)> {
        let bars: Vec<Bar> = (0..12).map(|n| Bar::new(n.to_string(), Crotchets::whole(4 * n), Crotchets::whole(4))).collect();
        let note = |bar| Note { bar: BarIndex(bar), duration: Crotchets::whole(2), ..Note::default() };
        let change =
            |&(bar, to)| Change { bar: BarIndex(bar), at: Crotchets::ZERO, staff: None, kind: ChangeKind::Instrument(to) };
        let mut part = Part {
            notes: vec![note(0), note(4), note(8)],
            instruments: names.map(|name| PartInstrument { name: name.to_owned(), ..PartInstrument::default() }).to_vec(),
            changes: changes.iter().map(change).collect(),
            ..Part::default()
        };
        announce(&mut part, &bars);
        let words = |one: &Direction| match &one.kind {
            DirectionKind::Words(text) => Some((one.bar.0, text.to_string())),
            _ => None,
        };
        part.directions.iter().filter_map(words).collect()
    }

    /// Names 41, 49 and 46 of General MIDI level 1 (MMA, Sound Set), from memory.
    #[test]
    fn what_plays_it_back_is_not_taken_up() {
        let names = ["Violin", "String Ensemble 1", "Pizzicato Strings"];
        assert!(told_with(names, &[(4, 1), (8, 2), (9, 0)]).is_empty());
        assert!(told_with(["Flute", "Zonk", "Piccolo"], &[(4, 1)]).is_empty());
        let clarinets = ["Clarinet in B\u{266d}", "", "Clarinet in A"];
        assert_eq!(told_with(clarinets, &[(8, 2)]), [(4, "to Clarinet in A".to_owned())]);
    }

    #[test]
    fn one_without_a_name_is_in_hand_all_the_same() {
        // The piccolo, something, the piccolo again.
        assert_eq!(told_with(["Flute", "Piccolo", ""], &[(4, 1), (6, 2), (8, 1)]), [(0, "to Piccolo".to_owned())]);
        assert!(told_with(["Flute", "Piccolo", ""], &[(4, 2), (8, 0)]).is_empty());
    }
}
