//! The line-up in one line, as publishers and libraries print it: "2.2.2.2 – 4.2.3.1 – timp – 2 perc – harp – str".
//!
//! Common practice: wind in score order by number of players, flute to bassoon and horn to tuba; a piccolo counts among the flutes, an English horn among
//! the oboes. Sections beyond those eight are named. Percussionists are as many as [`stands`] needs; a drum
//! set has a player of its own.

use std::collections::BTreeMap;

use ripieno_instruments::{Family, Instrument, Section, catalogue};
use ripieno_score::{Part, PlayerCount, Score, Sounding};

use crate::stands::stands;

/// The eight whose numbers need no name.
const WOODWIND: [Section; 4] = [Section::Flutes, Section::Oboes, Section::Clarinets, Section::Bassoons];
const BRASS: [Section; 4] = [Section::Horns, Section::Trumpets, Section::Trombones, Section::Tubas];

fn instrument(part: &Part) -> Option<&'static Instrument> {
    catalogue().by_id(&part.instrument_id)
}

/// Players of each section, bodies apart.
fn players(score: &Score) -> BTreeMap<Section, PlayerCount> {
    let mut of: BTreeMap<Section, PlayerCount> = BTreeMap::new();
    for part in score.parts.iter().filter(|part| !part.is_body) {
        let Some(own) = instrument(part) else { continue };
        let sum = of.entry(own.section).or_insert_with(|| PlayerCount::exactly(0));
        sum.least = sum.least.saturating_add(part.players.least);
        sum.most = sum.most.saturating_add(part.players.most);
    }
    of
}

/// The line-up in one line; empty where nobody is known.
#[must_use]
pub fn instrumentation(score: &Score, sounding: &Sounding) -> String {
    let players = players(score);
    let count = |section: Section| players.get(&section).copied().unwrap_or_else(|| PlayerCount::exactly(0));
    let four = |sections: [Section; 4]| {
        let numbers: Vec<String> = sections.iter().map(|section| count(*section).to_string()).collect();
        numbers.join(".")
    };
    let mut groups: Vec<String> = Vec::new();
    let any = |sections: [Section; 4]| sections.iter().any(|section| players.contains_key(section));
    if any(WOODWIND) || any(BRASS) {
        groups.push(four(WOODWIND));
        groups.push(four(BRASS));
    }
    let named = |section: Section, count: PlayerCount| {
        if count == PlayerCount::exactly(1) { singular(section) } else { format!("{count} {section}") }
    };
    let is_named = |section: &Section| {
        !WOODWIND.contains(section)
            && !BRASS.contains(section)
            && !matches!(section, Section::Percussion | Section::TunedPercussion | Section::Timpani)
    };
    if players.contains_key(&Section::Timpani) {
        groups.push("timp".to_owned());
    }
    match stands(score, sounding).len() {
        0 => {}
        count => groups.push(format!("{count} perc")),
    }
    let sets = score.parts.iter().filter(|part| !part.is_body && instrument(part).is_some_and(|own| own.id == "drum-set"));
    match sets.map(|part| u32::from(part.players.most.max(1))).sum::<u32>() {
        0 => {}
        1 => groups.push("drum set".to_owned()),
        count => groups.push(format!("{count} drum sets")),
    }
    groups.extend(
        players
            .iter()
            .filter(|(section, count)| is_named(section) && count.most > 0)
            .map(|(section, count)| named(*section, *count)),
    );
    let bodies =
        |family: Family| score.parts.iter().any(|part| part.is_body && instrument(part).is_some_and(|own| own.family == family));
    if bodies(Family::Voice) {
        groups.push("choir".to_owned());
    }
    if bodies(Family::Strings) {
        groups.push("str".to_owned());
    }
    groups.join(" \u{2013} ")
}

/// "harp" for one of the harps.
fn singular(section: Section) -> String {
    let name = section.name();
    let plural = match section {
        Section::Basses | Section::DoubleBasses => "es",
        Section::Brass => return name.to_owned(),
        _ => "s",
    };
    name.strip_suffix(plural).unwrap_or(name).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{Bar, BarIndex, Crotchets, Note, Unroll};

    #[test]
    fn a_drum_set_has_its_player() {
        let part = |id: &str| Part {
            instrument_id: id.to_owned(),
            players: PlayerCount::exactly(1),
            notes: vec![Note { bar: BarIndex(0), duration: Crotchets::ONE, ..Note::default() }],
            ..Part::default()
        };
        let told = |ids: &[&str]| {
            let parts = ids.iter().map(|id| part(id)).collect();
            let bars = vec![Bar::new("1", Crotchets::ZERO, Crotchets::whole(4))];
            let mut score = Score { parts, bars, ..Score::default() };
            score.finish();
            instrumentation(&score, &Sounding::new(&score, Unroll::AsPlayed))
        };
        assert_eq!(told(&["flute", "drum-set"]), "1.0.0.0 \u{2013} 0.0.0.0 \u{2013} drum set");
        assert_eq!(told(&["flute", "triangle", "drum-set"]), "1.0.0.0 \u{2013} 0.0.0.0 \u{2013} 1 perc \u{2013} drum set");
    }
}
