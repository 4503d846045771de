//! Percussion shared out among players: who takes which instrument in which bars.
//!
//! What is played on one instrument without a pause long enough to walk away from it is one person's. Phrases are given out in order of
//! time to whoever is free, first to who stands at that instrument, then to who is not wanted again where they stand before they could be back,
//! then to who has played it before, then to who plays what shares its part, then to who has the fewest to look after. Somebody new comes in only
//! where nobody is free, so that there are few; another order of walks might do with fewer still. What is for several players is given to as
//! many. Times to go from one instrument to another are those of `ripieno_players` (common practice). Timpani have a
//! player of their own.

use std::collections::BTreeMap;

use ripieno_instruments::{Family, Section, catalogue};
use ripieno_players::{Change, Level, change_time};
use ripieno_score::{BarIndex, Part, Score, Sounding};

/// What one percussionist plays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stand {
    /// Instruments in the order in which they are taken up.
    pub instruments: Vec<StandInstrument>,
}

/// An instrument at a stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandInstrument {
    /// The part, index into the score's.
    pub part: usize,
    /// Its name.
    pub name: String,
    /// Bars in which it is played from this stand, in order.
    pub bars: Vec<BarIndex>,
}

/// A part and one of its instruments.
type Station = (usize, u8);

/// What is played at one instrument without leaving it.
#[derive(Clone)]
struct Phrase {
    station: Station,
    start: f64,
    end: f64,
    bars: Vec<BarIndex>,
}

/// One percussionist while phrases are given out.
struct Player {
    /// The instrument played last, and until when.
    last: (Station, f64),
    played: Vec<(Station, Vec<BarIndex>)>,
}

/// Seconds to take up an instrument, without haste.
fn time_to(part: &Part) -> f64 {
    const USUAL: f64 = 2.0;
    let own = catalogue().by_id(&part.instrument_id);
    own.and_then(|one| change_time(one, Change::Instrument, Level::Professional)).map_or(USUAL, |time| time.comfortable)
}

fn is_shared(part: &Part) -> bool {
    catalogue()
        .by_id(&part.instrument_id)
        .is_some_and(|one| one.family == Family::Percussion && one.section != Section::Timpani && one.id != "drum-set")
}

/// Phrases of a part's instruments, each in order of time; `sounding` is the score with its repeats.
fn phrases(score: &Score, sounding: &Sounding, part: usize) -> Vec<Phrase> {
    let notes = &sounding.notes;
    let pause = time_to(&score.parts[part]);
    let mut found: Vec<Phrase> = Vec::new();
    let mut open: BTreeMap<Station, usize> = BTreeMap::new();
    for row in notes.of_part[part].clone() {
        let station = (part, notes.instrument[row]);
        let start = sounding.tempo.seconds(notes.onset[row]);
        let end = sounding.tempo.seconds(notes.onset[row] + notes.duration[row]);
        let bar = sounding.bars[notes.bar[row] as usize].bar;
        match open.get(&station).map(|&at| &mut found[at]).filter(|phrase| start - phrase.end < pause) {
            Some(phrase) => {
                phrase.end = phrase.end.max(end);
                if phrase.bars.last() != Some(&bar) {
                    phrase.bars.push(bar);
                }
            }
            None => {
                open.insert(station, found.len());
                found.push(Phrase { station, start, end, bars: vec![bar] });
            }
        }
    }
    found
}

/// Shares the percussion of a score out among few players.
#[must_use]
pub fn stands(score: &Score, sounding: &Sounding) -> Vec<Stand> {
    let parts = (0..score.parts.len()).filter(|&part| is_shared(&score.parts[part]));
    let mut all: Vec<Phrase> = parts.flat_map(|part| phrases(score, sounding, part)).collect();
    all.sort_by(|a, b| a.start.total_cmp(&b.start).then(a.station.cmp(&b.station)));
    let mut begins: BTreeMap<Station, Vec<f64>> = BTreeMap::new();
    all.iter().for_each(|phrase| begins.entry(phrase.station).or_default().push(phrase.start));
    let mut players: Vec<Player> = Vec::new();
    let hands = |phrase: &Phrase| usize::from(score.parts[phrase.station.0].players.least.max(1));
    let turns = all.into_iter().flat_map(|phrase| std::iter::repeat_n(phrase.clone(), hands(&phrase)));
    for phrase in turns {
        let walk = time_to(&score.parts[phrase.station.0]);
        let is_free = |player: &Player| {
            let (station, until) = player.last;
            until + if station == phrase.station { 0.0 } else { walk } <= phrase.start
        };
        // Whether the instrument they stand at is wanted again before they could be back.
        let is_wanted = |player: &Player| {
            let starts = begins.get(&player.last.0).map_or(&[][..], Vec::as_slice);
            let next = starts.get(starts.partition_point(|start| *start <= phrase.start));
            next.is_some_and(|next| *next < phrase.end + time_to(&score.parts[player.last.0.0]))
        };
        // Stands there, is not wanted where they stand, has played it, plays what shares its part, has few others to look after.
        let rank = |player: &Player| {
            let has = |is: &dyn Fn(Station) -> bool| player.played.iter().any(|(station, _)| is(*station));
            let (knows, near) = (has(&|one| one == phrase.station), has(&|one| one.0 == phrase.station.0));
            (player.last.0 != phrase.station, is_wanted(player), !knows, !near, player.played.len())
        };
        let chosen = (0..players.len()).filter(|&at| is_free(&players[at])).min_by_key(|&at| (rank(&players[at]), at));
        let last = (phrase.station, phrase.end);
        let Some(player) = chosen.map(|at| &mut players[at]) else {
            players.push(Player { last, played: vec![(phrase.station, phrase.bars)] });
            continue;
        };
        player.last = last;
        match player.played.iter_mut().find(|(station, _)| *station == phrase.station) {
            Some((_, bars)) => bars.extend(phrase.bars),
            None => player.played.push((phrase.station, phrase.bars)),
        }
    }
    let named = |((part, instrument), mut bars): (Station, Vec<BarIndex>)| {
        bars.sort_unstable();
        bars.dedup();
        let own = &score.parts[part];
        let name = own.instruments.get(usize::from(instrument)).map_or("", |one| one.name.as_str());
        StandInstrument { part, name: if name.is_empty() { own.name.clone() } else { name.to_owned() }, bars }
    };
    players.into_iter().map(|player| Stand { instruments: player.played.into_iter().map(named).collect() }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{Bar, Crotchets, Note, PartInstrument, Unroll};

    /// A percussion part that plays crotchets at the beginning of these bars, at the assumed 120 crotchets a minute: two seconds a bar.
    fn part(id: &str, name: &str, bars: &[u32]) -> Part {
        Part {
            name: name.to_owned(),
            instrument_id: id.to_owned(),
            instruments: vec![PartInstrument { name: name.to_owned(), ..PartInstrument::default() }],
            notes: bars.iter().map(|&bar| Note { bar: BarIndex(bar), duration: Crotchets::ONE, ..Note::default() }).collect(),
            ..Part::default()
        }
    }

    fn told(parts: Vec<Part>) -> Vec<Vec<(String, Vec<u32>)>> {
        let bars = (0..40).map(|n| Bar::new(n.to_string(), Crotchets::whole(4 * n), Crotchets::whole(4))).collect();
        let mut score = Score { parts, bars, ..Score::default() };
        score.finish();
        let sounding = Sounding::new(&score, Unroll::AsPlayed);
        let one = |one: StandInstrument| (one.name, one.bars.iter().map(|bar| bar.0).collect());
        stands(&score, &sounding).into_iter().map(|stand| stand.instruments.into_iter().map(one).collect()).collect()
    }

    #[test]
    fn whoever_is_free_takes_the_next_instrument() {
        let own = |name: &str, bars: &[u32]| (name.to_owned(), bars.to_vec());
        // One after the other, with time to walk: one player.
        let apart = told(vec![part("snare-drum", "Snare drum", &[0, 1, 2]), part("triangle", "Triangle", &[8, 9])]);
        assert_eq!(apart, [vec![own("Snare drum", &[0, 1, 2]), own("Triangle", &[8, 9])]]);
        // At once, or within a second: two.
        let together = told(vec![part("snare-drum", "Snare drum", &[0, 4]), part("triangle", "Triangle", &[0, 5])]);
        assert_eq!(together, [vec![own("Snare drum", &[0, 4])], vec![own("Triangle", &[0, 5])]]);
        // Whoever has played it plays it again, though another is free as well.
        let again = told(vec![part("snare-drum", "Snare drum", &[0, 20]), part("triangle", "Triangle", &[0, 10, 30])]);
        assert_eq!(again, [vec![own("Snare drum", &[0, 20])], vec![own("Triangle", &[0, 10, 30])]]);
    }

    #[test]
    fn who_is_wanted_where_they_stand_stays() {
        // Two seconds a bar, both free from 8.5 s on. Whoever has the cymbal at 12 s is back at a xylophone from 15.5 s, which is played at 14 s: by
        // hand, the triangle player goes, and the other stays.
        let parts = vec![
            part("xylophone", "Xylophone", &[4, 7]),
            part("triangle", "Triangle", &[4]),
            part("suspended-cymbal", "Suspended cymbal", &[6]),
        ];
        let names = |stand: Vec<(String, Vec<u32>)>| stand.into_iter().map(|one| one.0).collect::<Vec<_>>();
        let told: Vec<Vec<String>> = told(parts).into_iter().map(names).collect();
        assert_eq!(told, [vec!["Xylophone"], vec!["Triangle", "Suspended cymbal"]]);
    }

    #[test]
    fn what_is_for_two_is_given_to_two() {
        let mut cymbals = part("suspended-cymbal", "Cymbals", &[0]);
        cymbals.players = ripieno_score::PlayerCount::exactly(2);
        assert_eq!(told(vec![cymbals, part("triangle", "Triangle", &[8])]).len(), 2);
    }

    #[test]
    fn timpani_and_others_are_left_out() {
        assert!(told(vec![part("timpani", "Timpani", &[0]), part("violin", "Violin", &[0])]).is_empty());
    }
}
