//! The line-up as the page edits it: rows that are written and read as the TOML of `docs/casting.md`.

use std::collections::BTreeSet;

use ripieno_casting::Lineup;
use ripieno_instruments::catalogue::Language;
use ripieno_instruments::{Clues, printed, recognise};
use ripieno_score::{ChangeKind, Score};
use serde::{Deserialize, Serialize};
use toml::{Table, Value};
use utoipa::ToSchema;

use crate::failure::{Failure, Outcome};

/// Sections of a line-up.
const MOST_SECTIONS: usize = 60;

/// Line-ups that come with the program.
const KNOWN: [(&str, &str); 9] = [
    ("lifeboat-brass", include_str!("../../../../demo/lineups/lifeboat_brass.toml")),
    ("lifeboat-band", include_str!("../../../../demo/lineups/lifeboat_band.toml")),
    ("brass-of-pairs", include_str!("../../../../demo/lineups/brass_of_pairs.toml")),
    ("brass-of-threes", include_str!("../../../../demo/lineups/brass_of_threes.toml")),
    ("orchestra-of-pairs", include_str!("../../../../demo/lineups/orchestra_of_pairs.toml")),
    ("orchestra-of-threes", include_str!("../../../../demo/lineups/orchestra_of_threes.toml")),
    ("brass-quintet", include_str!("../../../../demo/lineups/brass_quintet.toml")),
    ("brass-four", include_str!("../../../../demo/lineups/brass_four.toml")),
    ("brass-eight", include_str!("../../../../demo/lineups/brass_eight.toml")),
];

/// A line-up, section by section.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub(crate) struct LineupRows {
    #[serde(default)]
    #[schema(required = true)]
    pub name: String,
    /// Where it comes from.
    #[serde(default)]
    #[schema(required = true)]
    pub source: String,
    /// Of everybody: professional, amateur or student; empty for professional.
    #[serde(default)]
    #[schema(required = true)]
    pub level: String,
    #[serde(default)]
    #[schema(required = true)]
    pub section: Vec<SectionRow>,
}

/// A section of a line-up.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub(crate) struct SectionRow {
    /// As a score names it: "Horns in F".
    pub name: String,
    /// Players; one without it.
    #[serde(default = "one")]
    #[schema(required = true)]
    pub players: u16,
    /// Where it differs from everybody's.
    #[serde(default)]
    #[schema(required = true)]
    pub level: String,
    /// Numbers of players who are strong high.
    #[serde(default)]
    #[schema(required = true)]
    pub strong_high: Vec<u8>,
    #[serde(default)]
    #[schema(required = true)]
    pub strong_low: Vec<u8>,
    #[serde(default)]
    #[schema(required = true)]
    pub instruments: Vec<ChairRow>,
    #[serde(default)]
    #[schema(required = true)]
    pub mutes: Vec<String>,
    /// For a body of strings: into how many it may divide.
    pub divide: Option<u8>,
}

/// What one player has beside, or instead of, the section's instrument.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub(crate) struct ChairRow {
    pub player: u8,
    /// Instead of the section's instrument.
    pub plays: Option<String>,
    /// Besides it.
    #[serde(default)]
    #[schema(required = true)]
    pub doubles: Vec<String>,
}

const fn one() -> u16 {
    1
}

/// A line-up that can be chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct KnownLineup {
    pub id: String,
    pub name: String,
    pub source: String,
    pub players: u32,
    /// "Cornets in Bb, Flugelhorn in Bb ..."
    pub sections: Vec<String>,
}

/// Those that come with the program.
pub(crate) fn known() -> Vec<KnownLineup> {
    let of = |(id, text): &(&str, &str)| {
        let lineup = Lineup::from_toml(id, text).ok()?;
        let sections = lineup.sections.iter().map(|section| section.name.clone()).collect();
        Some(KnownLineup { id: (*id).to_owned(), players: lineup.people(), name: lineup.name, source: lineup.source, sections })
    };
    KNOWN.iter().filter_map(of).collect()
}

/// One of those that come with the program.
pub(crate) fn known_named(id: &str) -> Outcome<LineupRows> {
    let found = KNOWN.iter().find(|(known, _)| *known == id);
    let (id, text) = found.ok_or_else(|| Failure::not_there(format!("there is no line-up “{id}”")))?;
    LineupRows::from_toml(id, text)
}

impl LineupRows {
    /// Reads the TOML of a line-up; the sentence of an error tells the line.
    pub(crate) fn from_toml(file: &str, text: &str) -> Outcome<Self> {
        let refused = |error: &dyn std::fmt::Display| Failure::refused(error.to_string());
        Lineup::from_toml(file, text).map_err(|error| refused(&error))?;
        let rows: Self = toml::from_str(text).map_err(|error| refused(&error.message()))?;
        rows.lineup()?;
        Ok(rows)
    }

    /// The same as TOML.
    pub(crate) fn to_toml(&self) -> String {
        let mut table = Table::new();
        let mut put = |name: &str, text: &str| {
            if !text.is_empty() {
                table.insert(name.to_owned(), Value::String(text.to_owned()));
            }
        };
        put("name", &self.name);
        put("source", &self.source);
        put("level", &self.level);
        table.insert("section".to_owned(), Value::Array(self.section.iter().map(|row| Value::Table(row.table())).collect()));
        toml::to_string(&table).unwrap_or_default()
    }

    /// The line-up it says.
    ///
    /// # Errors
    /// One sentence with the section at fault.
    pub(crate) fn lineup(&self) -> Outcome<Lineup> {
        if self.section.len() > MOST_SECTIONS {
            return Err(Failure::refused(format!("a line-up has at most {MOST_SECTIONS} sections")));
        }
        if self.section.is_empty() {
            return Err(Failure::refused("nobody is there yet; add a section, or choose a line-up"));
        }
        let mut names = BTreeSet::new();
        for row in &self.section {
            if !names.insert(row.name.trim().to_lowercase()) {
                let name = row.name.trim();
                return Err(Failure::refused(format!("two sections are called “{name}”; call them I and II, or make them one")));
            }
        }
        let text = self.to_toml();
        Lineup::from_toml("line-up", &text).map_err(|error| {
            let before = text.lines().take(error.line).filter(|line| line.trim() == "[[section]]").count();
            let section = before.checked_sub(1).and_then(|at| self.section.get(at));
            Failure::refused(section.map_or_else(|| error.what.clone(), |row| format!("{}: {}", row.name, error.what)))
        })
    }

    /// The line-up of a score, as rows: what its parts are played by.
    pub(crate) fn of_score(score: &Score) -> Outcome<Self> {
        let (lineup, of_part) = Lineup::of_score(score);
        let mut names = BTreeSet::new();
        let mut section = Vec::new();
        let doubles = doubles(score, &lineup, &of_part);
        for (at, found) in lineup.sections.iter().enumerate() {
            let instrument = found.chairs.first().map(|chair| chair.instrument);
            let people: u32 = found.chairs.iter().map(|chair| u32::from(chair.people)).sum();
            let is_known = |name: &str| {
                let known = recognise(&Clues { name, ..Clues::default() });
                !known.fallback && known.confidence >= 0.6 && instrument.is_some_and(|wanted| known.instrument.id == wanted.id)
            };
            // The name of the section: no player's number, the plural for several, the key of its first part.
            let name = printed(&found.name);
            let plain = name.trim_end_matches(|c: char| c.is_ascii_digit() || " .,/-".contains(c));
            let usual = instrument.map_or_else(String::new, |instrument| {
                let names = instrument.names(Language::English);
                capital(if people > 1 && !found.is_body { &names.plural } else { &names.singular })
            });
            let keyed = name.split_once(" in ").map(|(_, key)| format!("{usual} in {key}"));
            let own = Some(plain.to_owned())
                .filter(|plain| found.is_body || people == 1 && !plain.contains(|c: char| c.is_ascii_digit()));
            let known = [own, keyed].into_iter().flatten().find(|name| is_known(name));
            let mut name = known.unwrap_or(usual);
            for number in ["II", "III", "IV"] {
                if names.insert(name.to_lowercase()) {
                    break;
                }
                name = format!("{} {number}", name.trim_end_matches([' ', 'I', 'V']));
            }
            let instruments = doubles.iter().filter(|(section, _)| *section == at).map(|(_, chair)| chair.clone()).collect();
            section.push(SectionRow {
                name,
                players: u16::try_from(people).unwrap_or(1).max(1),
                instruments,
                ..SectionRow::default()
            });
        }
        let rows = Self {
            name: format!("as in {}", score.about.title()),
            source: "the score".to_owned(),
            level: String::new(),
            section,
        };
        rows.lineup()?;
        Ok(rows)
    }
}

impl SectionRow {
    fn table(&self) -> Table {
        let mut table = Table::new();
        table.insert("name".to_owned(), Value::String(self.name.trim().to_owned()));
        table.insert("players".to_owned(), Value::Integer(i64::from(self.players)));
        if !self.level.is_empty() {
            table.insert("level".to_owned(), Value::String(self.level.clone()));
        }
        let words = |all: &[String]| {
            let kept = all.iter().map(|word| word.trim()).filter(|word| !word.is_empty());
            kept.map(|word| Value::String(word.to_owned())).collect::<Vec<_>>()
        };
        for (name, players) in [("strong_high", &self.strong_high), ("strong_low", &self.strong_low)] {
            if !players.is_empty() {
                let players = players.iter().map(|&player| Value::Integer(i64::from(player))).collect();
                table.insert(name.to_owned(), Value::Array(players));
            }
        }
        let mut instruments = Vec::new();
        for chair in &self.instruments {
            let mut of = Table::new();
            of.insert("player".to_owned(), Value::Integer(i64::from(chair.player)));
            if let Some(plays) = chair.plays.as_ref().map(|plays| plays.trim()).filter(|plays| !plays.is_empty()) {
                of.insert("plays".to_owned(), Value::String(plays.to_owned()));
            }
            let doubles = words(&chair.doubles);
            if !doubles.is_empty() {
                of.insert("doubles".to_owned(), Value::Array(doubles));
            }
            if of.len() > 1 {
                instruments.push(Value::Table(of));
            }
        }
        if !instruments.is_empty() {
            table.insert("instruments".to_owned(), Value::Array(instruments));
        }
        let mutes = words(&self.mutes);
        if !mutes.is_empty() {
            table.insert("mutes".to_owned(), Value::Array(mutes));
        }
        if let Some(divide) = self.divide {
            table.insert("divide".to_owned(), Value::Integer(i64::from(divide)));
        }
        table
    }
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What players of a score take up besides: the section and the chair. Only of who has a part alone: of two on a staff the page does not say which.
fn doubles(score: &Score, lineup: &Lineup, of_part: &[Option<usize>]) -> Vec<(usize, ChairRow)> {
    let mut seated = vec![0u16; lineup.sections.len()];
    let mut found = Vec::new();
    for (part, at) in score.parts.iter().zip(of_part) {
        let Some(at) = *at else { continue };
        let players = part.players.least.max(1);
        seated[at] = seated[at].saturating_add(players);
        let usual = lineup.sections[at].chairs.first().map(|chair| chair.instrument.id.as_str());
        let mut doubles: Vec<String> = Vec::new();
        for change in &part.changes {
            let ChangeKind::Instrument(index) = change.kind else { continue };
            let Some(name) = part.instruments.get(usize::from(index)).map(|one| one.name.trim()) else { continue };
            let known = recognise(&Clues { name, ..Clues::default() });
            let is_sure = !known.fallback && known.confidence >= 0.6 && known.instrument.pitched;
            // What only plays the part back is called after it.
            if is_sure && Some(known.instrument.id.as_str()) != usual && !doubles.iter().any(|other| other == name) {
                doubles.push(name.to_owned());
            }
        }
        if let Ok(player) = u8::try_from(seated[at])
            && players == 1
            && !doubles.is_empty()
        {
            found.push((at, ChairRow { player, plays: None, doubles }));
        }
    }
    found
}

/// Who of a score is in no line-up, as a sentence; `None` where all are.
pub(crate) fn left_out(score: &Score) -> Option<String> {
    let (_, of_part) = Lineup::of_score(score);
    let left: Vec<String> =
        score.parts.iter().zip(&of_part).filter(|(_, at)| at.is_none()).map(|(part, _)| printed(&part.name)).collect();
    let only = "casting writes for instruments with a definite pitch";
    (!left.is_empty()).then(|| format!("the score's own line-up is without {}: {only}", left.join(", ")))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;

    #[test]
    fn what_comes_with_the_program_reads_back_the_same() {
        assert_eq!(known().len(), KNOWN.len());
        for (id, text) in KNOWN {
            let rows = LineupRows::from_toml(id, text).unwrap();
            assert_eq!(rows.lineup().unwrap(), Lineup::from_toml(id, text).unwrap(), "{id}");
            assert_eq!(LineupRows::from_toml(id, &rows.to_toml()).unwrap(), rows, "{id}");
        }
    }

    /// demo/README.md: six horns on three staves, two tenor trombones and a bass; a section is called after itself, and by a name that is read back.
    #[test]
    fn a_line_up_taken_from_a_score_names_sections() {
        let open = crate::media::trial::DEMO.opened(1).unwrap();
        let rows = LineupRows::of_score(&open.study.score).unwrap();
        let names: Vec<&str> = rows.section.iter().map(|row| row.name.as_str()).collect();
        assert!(names.contains(&"Horns in F") && names.contains(&"Tenor trombones"), "{names:?}");
        assert!(names.iter().all(|name| !name.contains(|c: char| c.is_ascii_digit())), "{names:?}");
        assert!(names.iter().all(|name| name.starts_with(|c: char| c.is_uppercase())), "{names:?}");
        let horns = rows.section.iter().find(|row| row.name == "Horns in F").unwrap();
        assert_eq!(horns.players, 6);
        rows.lineup().unwrap();
    }

    /// demo/README.md and its cover list: the second flute has a piccolo, the second oboe an English horn; percussion is nobody's in a line-up.
    #[test]
    fn what_players_take_up_comes_with_them_and_who_does_not_is_told() {
        let open = crate::media::trial::DEMO.opened(1).unwrap();
        let rows = LineupRows::of_score(&open.study.score).unwrap();
        let found = |name: &str| rows.section.iter().find(|row| row.name == name).unwrap().instruments.clone();
        let chair = |name: &str| ChairRow { player: 2, plays: None, doubles: vec![name.to_owned()] };
        assert_eq!((found("Flutes"), found("Oboes")), (vec![chair("Piccolo")], vec![chair("English horn")]));
        let left = left_out(&open.study.score).unwrap();
        assert!(left.contains("Snare drum") && !left.contains("Timpani") && !left.contains("Flute"), "{left}");
    }

    #[test]
    fn a_fault_is_told_with_its_section() {
        let section = |name: &str, players| SectionRow { name: name.to_owned(), players, ..SectionRow::default() };
        let said = |section: Vec<SectionRow>| LineupRows { section, ..LineupRows::default() }.lineup().unwrap_err().message;
        assert!(said(vec![section("Horns in F", 4), section("Zonks", 1)]).starts_with("Zonks: "));
        assert!(said(vec![section("Tuba", 1), section("tuba", 1)]).contains("two sections"));
        assert!(said(Vec::new()).contains("nobody"));
        let wrong = SectionRow { strong_high: vec![3], ..section("Horns in F", 2) };
        assert!(said(vec![section("Tuba", 1), wrong]).starts_with("Horns in F: "));
    }
}
