//! Ways of playing and numbers of players that were asked for before an excerpt and still hold.
//!
//! Which words hold until others revoke them is common practice (string bowing, mutes, place of the bow, sticks, "a 2"); the words are
//! those scores use in Italian, German, French and English.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::{BarIndex, ChangeKind, Crotchets, Direction, DirectionKind, Part, PlayerMark};

use super::{Window, first_played, moment};

/// What a word changes; a later one of the same kind takes its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Manner {
    /// Bow or fingers.
    Bow,
    /// Mutes and stopping.
    Mute,
    /// Place of the bow on the string.
    Place,
    /// Sticks.
    Sticks,
    /// Who plays.
    Players,
}

/// Beginnings of words, what they change, and whether they ask for something out of the ordinary.
const WORDS: [(&str, Manner, bool); 48] = [
    ("pizz", Manner::Bow, true),
    ("col legno", Manner::Bow, true),
    ("collegno", Manner::Bow, true),
    ("gezupft", Manner::Bow, true),
    ("arco", Manner::Bow, false),
    ("mit bogen", Manner::Bow, false),
    ("mit dem bogen", Manner::Bow, false),
    ("bogen", Manner::Bow, false),
    ("gestrichen", Manner::Bow, false),
    ("archet", Manner::Bow, false),
    ("con sord", Manner::Mute, true),
    ("sordini", Manner::Mute, true),
    ("sordino", Manner::Mute, true),
    ("mit dämpf", Manner::Mute, true),
    ("avec sourdine", Manner::Mute, true),
    ("sourdine", Manner::Mute, true),
    ("muted", Manner::Mute, true),
    ("straight mute", Manner::Mute, true),
    ("cup mute", Manner::Mute, true),
    ("harmon", Manner::Mute, true),
    ("plunger", Manner::Mute, true),
    ("gestopft", Manner::Mute, true),
    ("stopped", Manner::Mute, true),
    ("bouché", Manner::Mute, true),
    ("senza sord", Manner::Mute, false),
    ("via sord", Manner::Mute, false),
    ("ohne dämpf", Manner::Mute, false),
    ("dämpfer ab", Manner::Mute, false),
    ("dämpfer weg", Manner::Mute, false),
    ("sans sourdine", Manner::Mute, false),
    ("ôtez", Manner::Mute, false),
    ("open", Manner::Mute, false),
    ("offen", Manner::Mute, false),
    ("ouvert", Manner::Mute, false),
    ("sul pont", Manner::Place, true),
    ("am steg", Manner::Place, true),
    ("sul tasto", Manner::Place, true),
    ("flautando", Manner::Place, true),
    ("am griffbrett", Manner::Place, true),
    ("sur la touche", Manner::Place, true),
    ("sur le chevalet", Manner::Place, true),
    ("ord", Manner::Place, false),
    ("nat", Manner::Place, false),
    ("norm", Manner::Place, false),
    ("gewöhnlich", Manner::Place, false),
    ("pos. nat", Manner::Place, false),
    ("schwammschlägel", Manner::Sticks, true),
    ("holzschlägel", Manner::Sticks, true),
];

/// What the words change, each with whether it is out of the ordinary. Several may stand in one text: "arco, con sord."
fn manners(text: &str, part: &Part) -> BTreeMap<Manner, bool> {
    let lower = text.trim().to_lowercase();
    let mut found = BTreeMap::new();
    for (beginning, manner, special) in WORDS {
        // Harmonics are no mute.
        let begins = lower
            .match_indices(beginning)
            .any(|(at, _)| !lower[..at].ends_with(char::is_alphanumeric) && !lower[at..].starts_with("harmoni"));
        // "senza sordini" must not be taken for "sordini": the longer comes later and wins.
        if begins {
            let revoked = found.get(&manner).is_some_and(|&earlier: &bool| !earlier);
            found.insert(manner, special && !revoked);
        }
    }
    if ["stick", "mallet", "schlägel", "schlegel", "baguette", "bacchett"].iter().any(|word| lower.contains(word)) {
        found.insert(Manner::Sticks, true);
    }
    if let Some(mark) = PlayerMark::parse(text) {
        let usual = matches!(mark, PlayerMark::All) && part.is_body;
        found.insert(Manner::Players, !usual);
    }
    found
}

/// Whether the words are about a way of playing or about players.
pub(super) fn is_manner(text: &str, part: &Part) -> bool {
    !manners(text, part).is_empty()
}

/// The words still in force when the excerpt begins, each at the first note that plays on its staff; and the name of another
/// instrument the player has taken up. `piece` has the notes of the excerpt, positions being the excerpt's.
pub(super) fn carried(whole: &Part, piece: &Part, window: Window) -> Vec<Direction> {
    // Last direction for each manner and staff; for players also by voice, for "1." and "2." may stand above and below.
    let mut last: BTreeMap<(u8, Manner, Option<u16>), (usize, bool)> = BTreeMap::new();
    for (index, direction) in whole.directions.iter().enumerate().take_while(|(_, direction)| direction.bar < window.first) {
        let DirectionKind::Words(text) = &direction.kind else { continue };
        for (manner, special) in manners(text, whole) {
            let voice = if manner == Manner::Players { direction.voice } else { None };
            if manner == Manner::Players && voice.is_none() {
                last.retain(|(staff, other, _), _| (*staff, *other) != (direction.staff, Manner::Players));
            }
            last.insert((direction.staff, manner, voice), (index, special));
        }
    }
    let in_force: BTreeMap<usize, BTreeSet<Manner>> =
        last.into_iter().filter(|(_, (_, special))| *special).fold(BTreeMap::new(), |mut all, ((_, manner, _), (index, _))| {
            all.entry(index).or_insert_with(BTreeSet::new).insert(manner);
            all
        });
    let mut carried: Vec<Direction> = instrument_in_hand(whole, piece, window).into_iter().collect();
    for (index, manners_held) in in_force {
        let direction = &whole.directions[index];
        let Some(first) = first_played(piece, direction.staff) else { continue };
        let place = (first.bar, first.at);
        // Not where the excerpt itself says otherwise before anything is played.
        let anew = whole.directions.iter().any(|other| {
            let (bar, at) = moment(other);
            window.holds(bar)
                && other.staff == direction.staff
                && (window.within(bar), at) <= place
                && matches!(&other.kind, DirectionKind::Words(text) if manners(text, whole).keys().any(|m| manners_held.contains(m)))
        });
        // A mark for fewer players than there are notes has been forgotten by then.
        let together = piece
            .notes
            .iter()
            .filter(|note| (note.bar, note.at, note.staff) == (place.0, place.1, direction.staff) && note.plays());
        let count = together.count();
        let forgotten = manners_held == BTreeSet::from([Manner::Players])
            && matches!(&direction.kind, DirectionKind::Words(text) if match PlayerMark::parse(text) {
                Some(PlayerMark::Only(players)) => count > usize::from(players),
                // Two notes at once are not played "a 2".
                Some(PlayerMark::Together(_)) => count > 1,
                _ => false,
            });
        let is_over = manners_held == BTreeSet::from([Manner::Players])
            && is_solo(direction)
            && has_rested(whole, direction, BarIndex(window.first.0 + first.bar.0));
        if !anew && !forgotten && !is_over {
            carried.push(Direction { bar: first.bar, at: first.at, ..direction.clone() });
        }
    }
    carried
}

fn is_solo(direction: &Direction) -> bool {
    let DirectionKind::Words(text) = &direction.kind else { return false };
    text.to_lowercase().split(|c: char| !c.is_alphabetic()).any(|word| matches!(word, "solo" | "soli"))
}

/// Whether the staff rests for a bar between a direction and a later bar: a solo is over then, though no "tutti" says so (common
/// practice).
fn has_rested(whole: &Part, direction: &Direction, until: BarIndex) -> bool {
    let between = (direction.bar.0 + 1)..until.0;
    between.map(BarIndex).any(|bar| !whole.notes_in(bar).iter().any(|note| note.staff == direction.staff && note.plays()))
}

/// The name of the instrument in hand when it is not the one the part begins with.
fn instrument_in_hand(whole: &Part, piece: &Part, window: Window) -> Option<Direction> {
    let before = whole.changes.iter().take_while(|change| change.bar < window.first);
    let held =
        before.filter_map(|change| if let ChangeKind::Instrument(held) = change.kind { Some(held) } else { None }).last()?;
    let first = piece.notes.iter().find(|note| note.plays())?;
    if held == 0 || first.instrument != held {
        return None;
    }
    let name = &whole.instruments.get(usize::from(held))?.name;
    if name.is_empty() || *name == whole.name || whole.instruments.first().is_some_and(|usual| usual.name == *name) {
        return None;
    }
    let kind = DirectionKind::Words(name.as_str().into());
    Some(Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff: first.staff, voice: None, above: Some(true), kind })
}
