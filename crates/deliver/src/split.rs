//! Two players on one staff, each with a part of their own: what `who` says is theirs, with its signs and rests.

use std::collections::BTreeMap;

use ripieno_formats::excerpt::NoteOrigin;
use ripieno_score::{
    Bar, BarIndex, Crotchets, Direction, DirectionKind, Edge, Mark, Note, NoteFlags, NoteValue, Part, PlayerMark, Rest, Stem,
};

use crate::course::is_for_all;
use crate::names::{MOST, numbered, singular};
use crate::unseen::loosen_ties;
use crate::who::{Said, in_force, owners, said, voices};

/// One player's share of a staff.
pub(crate) struct Share {
    /// Name of the part.
    pub name: String,
    /// The part.
    pub part: Part,
    /// For each of its notes the note it comes from.
    pub origin: Vec<NoteOrigin>,
}

/// A staff divided among its players.
pub(crate) struct Shares {
    /// The players in order.
    pub shares: Vec<Share>,
    /// Bars in which the page does not say who plays.
    pub unsettled: Vec<BarIndex>,
}

/// Divides a part among its players; `None` where there is one player, a body such as the violins, or more than one staff.
pub(crate) fn split(part: &Part, bars: &[Bar], origin: &[NoteOrigin]) -> Option<Shares> {
    let players = part.players.most;
    if !part.players.is_exact() || !(2..=MOST).contains(&players) || part.is_body || part.staves != 1 {
        return None;
    }
    let said = said(part, players);
    let (owners, unsettled) = owners(part, players, &said);
    let names = names(part, players);
    let shares = (0..players)
        .zip(names)
        .map(|(player, name)| {
            let (part, origin) = share(part, bars, &owners, &said, player, origin);
            Share { name, part, origin }
        })
        .collect();
    Some(Shares { shares, unsettled })
}

fn names(part: &Part, players: u16) -> Vec<String> {
    let found = numbered(&part.name).filter(|(_, numbers)| numbers.len() == usize::from(players));
    (0..usize::from(players))
        .map(|player| match &found {
            Some((place, numbers)) => {
                let name = format!("{}{}{}", &part.name[..place.start], numbers[player], &part.name[place.end..]);
                singular(&name, &part.instrument_id)
            }
            None => {
                let bare = part.name.trim_start_matches(|c: char| c.is_ascii_digit() || c == ' ');
                format!("{} {}", singular(bare, &part.instrument_id), player + 1)
            }
        })
        .collect()
}

/// The part of one player.
fn share(
    part: &Part,
    bars: &[Bar],
    owners: &[u16],
    said: &[Said],
    player: u16,
    origin: &[NoteOrigin],
) -> (Part, Vec<NoteOrigin>) {
    let keep: Vec<bool> = owners.iter().map(|&who| who & (1 << player) != 0).collect();
    let mut read = part.notes.clone();
    loosen_ties(&mut read, &keep);
    let crossing = crossing(part, &keep);
    let mut notes: Vec<Note> = Vec::new();
    let mut marks: Vec<(u32, Mark)> = Vec::new();
    let mut origins = Vec::new();
    // The first note of the chord being read, which carries the chord's signs.
    let mut head = 0;
    for (index, note) in read.iter().enumerate() {
        if !note.flags.contains(NoteFlags::CHORD) {
            head = index;
        }
        if !keep[index] {
            continue;
        }
        let leader = &part.notes[head];
        let mut mine = note.clone();
        if crossing.binary_search(&note.bar).is_err() {
            (mine.voice, mine.stem) = (1, Stem::Unset);
        }
        mine.flags.remove(NoteFlags::CHORD);
        let with_last = notes.last().is_some_and(|last: &Note| {
            (last.bar, last.at, last.flags.contains(NoteFlags::GRACE))
                == (note.bar, note.at, note.flags.contains(NoteFlags::GRACE))
                && note.flags.contains(NoteFlags::CHORD)
        });
        if with_last {
            mine.flags.insert(NoteFlags::CHORD);
        } else if head != index {
            mine.beams = leader.beams;
            mine.tremolo = mine.tremolo.max(leader.tremolo);
        }
        mine.articulations |= leader.articulations;
        let place = u32::try_from(notes.len()).unwrap_or(u32::MAX);
        let carried =
            |mark: &&Mark| matches!(mark, Mark::Slur { .. } | Mark::Tuplet { .. } | Mark::TrillLine { .. } | Mark::Dynamic(_));
        if head != index && !with_last {
            marks.extend(part.marks_of(head).filter(carried).map(|mark| (place, mark.clone())));
        }
        marks.extend(part.marks_of(index).map(|mark| (place, mark.clone())));
        notes.push(mine);
        origins.extend(origin.get(index));
    }
    let mut rests = Vec::new();
    let mut first = 0;
    for (index, bar) in (0u32..).zip(bars) {
        let index = BarIndex(index);
        let end = first + notes[first..].partition_point(|note| note.bar == index);
        let own = &notes[first..end];
        let mut voices: Vec<u16> = own.iter().map(|note| note.voice).collect();
        voices.sort_unstable();
        voices.dedup();
        match voices.split_first() {
            Some((upper, others)) if !others.is_empty() => {
                rests.extend(
                    rests_of(part, bar, index, &of_voice(own, *upper)).into_iter().map(|rest| Rest { voice: *upper, ..rest }),
                );
                others.iter().for_each(|&voice| rests.extend(rests_between(part, index, voice, &of_voice(own, voice))));
            }
            _ => rests.extend(rests_of(part, bar, index, own)),
        }
        first = end;
    }
    let directions = directions(part, &notes, said, player);
    let mine = Part {
        players: ripieno_score::PlayerCount::exactly(1),
        notes,
        rests,
        marks: paired(marks),
        directions,
        changes: part.changes.clone(),
        id: part.id.clone(),
        name: part.name.clone(),
        abbreviation: String::new(),
        instruments: part.instruments.clone(),
        staves: 1,
        is_body: false,
        instrument_id: part.instrument_id.clone(),
    };
    (mine, origins)
}

/// Bars in which notes of two voices that both are for this player sound at once, as where the page does not say whose they are: such voices stay
/// apart, as one rhythm cannot hold them.
fn crossing(part: &Part, keep: &[bool]) -> Vec<BarIndex> {
    let mut found: Vec<BarIndex> = Vec::new();
    // When each voice's last note of this bar ends.
    let mut ends: BTreeMap<u16, Crotchets> = BTreeMap::new();
    let mut bar = None;
    let mut own: Vec<&Note> =
        part.notes.iter().zip(keep).filter(|(note, keep)| **keep && !note.duration.is_zero()).map(|(note, _)| note).collect();
    own.sort_by_key(|note| (note.bar, note.at));
    for note in own {
        if bar != Some(note.bar) {
            ends.clear();
            bar = Some(note.bar);
        }
        if found.last() != Some(&note.bar) && ends.iter().any(|(&voice, &end)| voice != note.voice && end > note.at) {
            found.push(note.bar);
        }
        let end = ends.entry(note.voice).or_default();
        *end = (*end).max(note.at + note.duration);
    }
    found
}

fn of_voice(notes: &[Note], voice: u16) -> Vec<Note> {
    notes.iter().filter(|note| note.voice == voice).cloned().collect()
}

/// The rests the page prints in a voice, as far as they lie between these notes of it.
fn rests_between(part: &Part, bar: BarIndex, voice: u16, notes: &[Note]) -> Vec<Rest> {
    let first = part.rests.partition_point(|rest| rest.bar < bar);
    let printed =
        part.rests[first..].iter().take_while(|rest| rest.bar == bar).filter(|rest| rest.voice == voice && !rest.whole_bar);
    let is_free =
        |rest: &&Rest| notes.iter().all(|note| note.at + note.duration <= rest.at || rest.at + rest.duration <= note.at);
    printed.filter(is_free).cloned().collect()
}

/// Leaves out slurs and lines that have lost their other end to another player.
fn paired(marks: Vec<(u32, Mark)>) -> Vec<(u32, Mark)> {
    let key = |mark: &Mark| match mark {
        Mark::Slur { edge, number } => Some((0u8, *number, *edge)),
        Mark::TrillLine { edge, number } => Some((1, *number, *edge)),
        Mark::Tuplet { edge, number, .. } => Some((2, *number, *edge)),
        Mark::Glissando { edge, number, .. } => Some((3, *number, *edge)),
        _ => None,
    };
    let mut open: BTreeMap<(u8, u8), usize> = BTreeMap::new();
    let mut keep = vec![true; marks.len()];
    for (place, (_, mark)) in marks.iter().enumerate() {
        let Some((kind, number, edge)) = key(mark) else { continue };
        match edge {
            Edge::Start => {
                if let Some(left) = open.insert((kind, number), place) {
                    keep[left] = false;
                }
            }
            Edge::Stop => keep[place] = open.remove(&(kind, number)).is_some(),
            Edge::Continue => {}
        }
    }
    open.values().for_each(|&left| keep[left] = false);
    marks.into_iter().zip(keep).filter_map(|(mark, keep)| keep.then_some(mark)).collect()
}

/// Rests where the player's notes leave the bar open. None where the whole bar is: that is shown as a bar's rest.
fn rests_of(part: &Part, bar: &Bar, index: BarIndex, notes: &[Note]) -> Vec<Rest> {
    if notes.is_empty() {
        // A fermata over a rest is for everybody.
        let first = part.rests.partition_point(|rest| rest.bar < index);
        let own = part.rests[first..].iter().take_while(|rest| rest.bar == index).find(|rest| rest.whole_bar && !rest.cue);
        return own.map(|rest| Rest { voice: 1, ..rest.clone() }).into_iter().collect();
    }
    let mut rests = Vec::new();
    let mut now = Crotchets::ZERO;
    let mut fill = |from: Crotchets, to: Crotchets| {
        // The page's own rest where there is one of this length, as it may belong to a tuplet.
        let first = part.rests.partition_point(|rest| rest.bar < index);
        let mut from = from;
        while from < to {
            let printed = part.rests[first..]
                .iter()
                .take_while(|rest| rest.bar == index)
                .find(|rest| rest.at == from && rest.at + rest.duration <= to && !rest.duration.is_zero() && !rest.whole_bar);
            let rest = match printed {
                Some(rest) => Rest { voice: 1, staff: 1, ..rest.clone() },
                None => plain_rest(index, from, to),
            };
            from += rest.duration;
            rests.push(rest);
        }
    };
    for note in notes {
        if note.at > now {
            fill(now, note.at);
        }
        now = now.max(note.at + note.duration);
    }
    if now < bar.length {
        fill(now, bar.length);
    }
    rests
}

/// The longest plain rest that begins at `from` on a multiple of its own length and ends by `to`; all of it where there is none.
fn plain_rest(bar: BarIndex, from: Crotchets, to: Crotchets) -> Rest {
    let value = (0..=7).map(|halvings| NoteValue { halvings, dots: 0 }).find(|value| {
        let length = value.length();
        let times = Crotchets::new(from.numerator() * length.denominator(), from.denominator() * length.numerator());
        from + length <= to && times.is_some_and(|times| times.denominator() == 1)
    });
    let duration = value.map_or(to - from, NoteValue::length);
    Rest { bar, at: from, duration, value, ..Rest::default() }
}

/// What stands around the staff, for this player: who plays is said no more, nor how loud where nothing is played.
fn directions(part: &Part, own: &[Note], said: &[Said], player: u16) -> Vec<Direction> {
    // Meant for this player, as far as "1." and "a 2" say.
    let concerns = |direction: &Direction| {
        if let Some(voice) = direction.voice {
            let first = part.notes.partition_point(|note| note.bar < direction.bar);
            let end = part.notes.partition_point(|note| note.bar <= direction.bar);
            let voices = voices(part, direction.bar, first..end);
            if let Some(place) =
                voices.iter().position(|&one| one == voice).filter(|_| voices.len() == usize::from(part.players.most))
            {
                return place == usize::from(player);
            }
        }
        // What stands at a note is for whoever plays it, whatever was said before: "1." ends where both have notes again.
        let first = own.partition_point(|note| note.bar < direction.bar);
        let here = own[first..].iter().take_while(|note| note.bar == direction.bar);
        if here.filter(|note| note.plays()).any(|note| note.at <= direction.at && direction.at < note.at + note.duration) {
            return true;
        }
        in_force(said, direction.bar, direction.at).is_none_or(|said| said.who & (1 << player) != 0)
    };
    // Headings are for everybody; ways of playing begin small.
    let is_heading = |text: &str| text.trim_start().starts_with(char::is_uppercase);
    let plays = |bar: BarIndex| own.get(own.partition_point(|note| note.bar < bar)).is_some_and(|note| note.bar == bar);
    // Hairpins go by pairs: one that begins or ends where the player plays stays whole.
    let mut open: BTreeMap<u8, usize> = BTreeMap::new();
    let mut keep: Vec<bool> = part.directions.iter().map(|direction| plays(direction.bar)).collect();
    for (place, direction) in part.directions.iter().enumerate() {
        match &direction.kind {
            DirectionKind::Dynamic(_) => keep[place] = keep[place] && concerns(direction),
            DirectionKind::HairpinStart { number, .. } => {
                keep[place] = keep[place] && concerns(direction);
                open.insert(*number, place);
            }
            DirectionKind::HairpinStop { number, .. } => {
                if let Some(start) = open.remove(number) {
                    let either = keep[start] || keep[place];
                    (keep[start], keep[place]) = (either, either);
                }
            }
            DirectionKind::Words(text) => {
                keep[place] = match PlayerMark::parse(text) {
                    Some(_) => text.to_lowercase().contains("solo") && keep[place] && concerns(direction),
                    None => is_heading(text) || is_for_all(part, direction) || concerns(direction),
                };
            }
            _ => keep[place] = true,
        }
    }
    let kept = part.directions.iter().zip(keep).filter(|(_, keep)| *keep);
    kept.map(|(direction, _)| Direction { voice: None, ..direction.clone() }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rests_stand_on_multiples_of_their_length() {
        let at = |from: (i64, i64), to: (i64, i64)| {
            let time = |(n, d)| Crotchets::new(n, d).unwrap_or_default();
            plain_rest(BarIndex(0), time(from), time(to)).duration
        };
        assert_eq!(at((0, 1), (4, 1)), Crotchets::whole(4));
        assert_eq!(at((1, 1), (4, 1)), Crotchets::whole(1));
        assert_eq!(at((1, 2), (4, 1)), Crotchets::new(1, 2).unwrap_or_default());
        assert_eq!(at((1, 3), (1, 1)), Crotchets::new(2, 3).unwrap_or_default());
    }
}
