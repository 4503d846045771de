//! Ways of playing and numbers of players, part by part, as marked.

use ripieno_score::{Crotchets, DirectionKind, PlayerMark};
use ripieno_texture::Techniques;

use crate::Study;

/// One way of playing in one part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// The part, index into [`ripieno_score::Score::parts`].
    pub part: usize,
    /// "plucked", "muted", "a 2", "divided".
    pub name: String,
    /// Bars in which notes begin that are so played.
    pub bars: Vec<u32>,
}

const SOLO: &str = "solo";

const NAMES: &[(Techniques, &str)] = &[
    (Techniques::PLUCKED, "plucked (pizzicato)"),
    (Techniques::TREMOLO, "tremolo or roll"),
    (Techniques::TRILL, "trill"),
    (Techniques::MUTED, "muted"),
    (Techniques::STOPPED, "stopped"),
    (Techniques::FLUTTER, "flutter-tongue"),
    (Techniques::SLIDE, "slide or fall"),
    (Techniques::HARMONIC, "harmonics"),
    (Techniques::AT_BRIDGE, "at the bridge"),
    (Techniques::WITH_WOOD, "with the wood of the bow"),
];

impl Study {
    /// Ways of playing that are marked, by part, each kind once.
    ///
    /// Words hold until a word of their kind takes them back; indications of players until the next one on their staff, a solo until
    /// a whole bar without a note begun at the latest.
    #[must_use]
    pub fn ways_of_playing(&self) -> Vec<Way> {
        let notes = &self.sounding.notes;
        let mut ways = Vec::new();
        for (part, rows) in notes.of_part.iter().enumerate() {
            for (technique, name) in NAMES {
                let bars = rows.clone().filter(|&row| self.ways[row].contains(*technique)).map(|row| notes.bar[row]);
                push(&mut ways, part, (*name).to_owned(), bars.collect());
            }
            self.players_marked(part, &mut ways);
        }
        ways
    }

    fn players_marked(&self, part: usize, ways: &mut Vec<Way>) {
        let (notes, own) = (&self.sounding.notes, &self.score.parts[part]);
        // One player is always one: "solo" there is an expression.
        if own.players.most <= 1 && !own.is_body {
            return;
        }
        let start = |bar: ripieno_score::BarIndex| self.score.bars.get(bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
        let mut marks: Vec<(u8, Crotchets, Option<String>)> = Vec::new();
        for direction in &own.directions {
            let DirectionKind::Words(text) = &direction.kind else { continue };
            if let Some(mark) = PlayerMark::parse(text) {
                marks.push((direction.staff, start(direction.bar) + direction.at, name(mark, text)));
            }
        }
        marks.sort();
        let mut found: Vec<(String, Vec<u32>)> = Vec::new();
        // The solo in force: its mark, and the last bar in which it played.
        let mut solo: Option<(usize, u32)> = None;
        for row in notes.of_part[part].clone() {
            let before = marks.partition_point(|mark| (mark.0, mark.1) <= (notes.staff[row], notes.onset[row]));
            let mark = before.checked_sub(1).map(|at| &marks[at]).filter(|mark| mark.0 == notes.staff[row]);
            let Some(name) = mark.and_then(|mark| mark.2.as_ref()) else { continue };
            if name == SOLO {
                // A solo is a phrase: after a whole bar of rest the word says nothing any more.
                let bar = notes.bar[row];
                if solo.is_some_and(|(known, last)| known == before && last + 1 < bar) {
                    continue;
                }
                solo = Some((before, bar));
            }
            match found.iter_mut().find(|(known, _)| known == name) {
                Some((_, bars)) => bars.push(notes.bar[row]),
                None => found.push((name.clone(), vec![notes.bar[row]])),
            }
        }
        for (name, bars) in found {
            push(ways, part, name, bars);
        }
    }
}

fn push(ways: &mut Vec<Way>, part: usize, name: String, mut bars: Vec<u32>) {
    bars.sort_unstable();
    bars.dedup();
    if !bars.is_empty() {
        ways.push(Way { part, name, bars });
    }
}

/// What an indication is called; `None` when it lets everybody play again.
fn name(mark: PlayerMark, text: &str) -> Option<String> {
    Some(match mark {
        PlayerMark::All => return None,
        PlayerMark::Together(count) => format!("a {count}"),
        PlayerMark::Only(1) if text.to_lowercase().contains("solo") => SOLO.to_owned(),
        PlayerMark::Only(_) => text.trim().to_owned(),
        PlayerMark::Divided(_) => "divided".to_owned(),
        PlayerMark::Half => "half the players".to_owned(),
    })
}
