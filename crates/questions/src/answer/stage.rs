//! Who is in a score, and where each part sounds.

use ripieno_instruments::catalogue::catalogue;
use ripieno_instruments::family::{Family, Section};
use ripieno_instruments::recognise::{Clues, recognise};

use crate::language::Who;
use crate::record::{Damaged, Record, Table, Texts};

/// One part.
struct Part {
    name: String,
    instrument: String,
    section: String,
    family: String,
}

/// A record laid out for questions.
pub(super) struct Stage<'a> {
    pub record: &'a Record,
    pub bars: usize,
    parts: Vec<Part>,
    /// By part, then bar: row of the table "roles" plus one; 0 where the part rests.
    rows: Vec<u32>,
    /// Groups a person has named, lower case, with their parts.
    named: Vec<(String, usize)>,
}

impl<'a> Stage<'a> {
    pub fn new(record: &'a Record) -> Result<Self, Damaged> {
        let parts = record.table("parts")?;
        let column = |name: &str| parts.texts(name);
        let (names, instruments) = (column("part")?, column("instrument")?);
        let (sections, families) = (column("section")?, column("family")?);
        let text = |texts: &Texts, row: usize| texts.get(row).unwrap_or_default().to_owned();
        let parts: Vec<Part> = (0..parts.rows)
            .map(|row| Part {
                name: text(names, row).to_lowercase(),
                instrument: text(instruments, row),
                section: text(sections, row),
                family: text(families, row),
            })
            .collect();
        let bars = record.table("bars")?.rows;
        let roles = record.table("roles")?;
        // A part and bar for every row of a whole record; more would be damage.
        let size = parts.len().checked_mul(bars).filter(|size| *size <= 1 << 28).ok_or(Damaged)?;
        let mut rows = vec![0; size];
        let places = roles.numbers("part_index")?.iter().zip(roles.numbers("bar")?);
        for (row, (&part, &bar)) in (1u32..).zip(places) {
            let (part, bar) = (usize::try_from(part).map_err(|_| Damaged)?, usize::try_from(bar).map_err(|_| Damaged)?);
            if part >= parts.len() || bar >= bars {
                return Err(Damaged);
            }
            rows[part * bars + bar] = row;
        }
        let mut named = Vec::new();
        if let Ok(groups) = record.table("groups") {
            for (row, part) in groups.numbers("part_index")?.iter().enumerate() {
                let part = usize::try_from(*part).ok().filter(|part| *part < parts.len()).ok_or(Damaged)?;
                named.push((text(groups.texts("name")?, row).to_lowercase(), part));
            }
        }
        Ok(Self { record, bars, parts, rows, named })
    }

    /// A table that records of an older version lack.
    pub fn newer_table(&self, name: &str) -> Option<&'a Table> {
        self.record.table(name).ok()
    }

    /// Row of the table "roles" for a part in a bar; `None` where it rests.
    pub fn row(&self, part: usize, bar: usize) -> Option<usize> {
        (self.rows[part * self.bars + bar] as usize).checked_sub(1)
    }

    /// Parts in all.
    pub fn part_count(&self) -> usize {
        self.parts.len()
    }

    /// Which parts these players are.
    pub fn members(&self, who: &Who) -> Vec<usize> {
        let of = |test: &dyn Fn(&Part) -> bool| {
            self.parts.iter().enumerate().filter(|(_, part)| test(part)).map(|(index, _)| index).collect::<Vec<_>>()
        };
        let section = |section: Section| of(&|part| part.section == section.name());
        match who {
            Who::Everybody => (0..self.parts.len()).collect(),
            Who::Family(family) => of(&|part| part.family == family.name()),
            Who::Section(wanted) => section(*wanted),
            Who::Basses => {
                let voices = section(Section::Basses);
                if voices.is_empty() { section(Section::DoubleBasses) } else { voices }
            }
            Who::Instrument(id) => {
                of(&|part| catalogue().by_id(&part.instrument).is_some_and(|instrument| instrument.is_kind_of(id)))
            }
            Who::Part(words) => {
                let named: Vec<usize> = self.named.iter().filter(|(name, _)| name == words).map(|(_, part)| *part).collect();
                if named.is_empty() { of(&|part| has_words(&part.name, words)) } else { named }
            }
            Who::Numbered(number, who) => self.numbered(*number, &self.members(who)),
        }
    }

    /// Of these parts, those in whose name the number stands ("Cor. 1.2" holds the first horn and the second); where no name has a number, the one of that place.
    fn numbered(&self, number: u16, parts: &[usize]) -> Vec<usize> {
        let numbers = |part: &usize| recognise(&Clues { name: &self.parts[*part].name, ..Clues::default() }).numbers;
        let of: Vec<_> = parts.iter().map(numbers).collect();
        if of.iter().all(|numbers| numbers.is_empty()) {
            return parts.get(usize::from(number).saturating_sub(1)).copied().into_iter().collect();
        }
        let has = |numbers: &[u16]| numbers.contains(&number);
        parts.iter().zip(&of).filter(|(_, numbers)| has(numbers)).map(|(part, _)| *part).collect()
    }

    /// What "all" counts: the sections of a family or of everybody, else the parts.
    pub fn units(&self, who: &Who) -> Vec<Vec<usize>> {
        let members = self.members(who);
        if !matches!(who, Who::Everybody | Who::Family(_)) {
            return members.into_iter().map(|part| vec![part]).collect();
        }
        let mut units: Vec<Vec<usize>> = Vec::new();
        let same =
            |a: usize, b: usize| self.parts[a].section == self.parts[b].section && self.parts[a].family == self.parts[b].family;
        for part in members {
            match units.iter_mut().find(|unit| same(unit[0], part)) {
                Some(unit) => unit.push(part),
                None => units.push(vec![part]),
            }
        }
        units
    }

    /// Whether the part has no register to compare: percussion without one.
    pub fn is_percussion(&self, part: usize) -> bool {
        self.parts[part].family == Family::Percussion.name()
    }
}

/// Whether `words` stand in `name` as whole words: "horn 1" is in "horn 1.2 in f", "violin i" not in "violin ii".
fn has_words(name: &str, words: &str) -> bool {
    let edge = |letter: Option<char>| letter.is_none_or(|letter| !letter.is_alphanumeric());
    name.match_indices(words)
        .any(|(at, found)| edge(name[..at].chars().next_back()) && edge(name[at + found.len()..].chars().next()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_met_word_by_word() {
        assert!(has_words("horn 1.2 in f", "horn 1"));
        assert!(has_words("violin i", "violin i"));
        assert!(!has_words("violin ii", "violin i"));
        assert!(!has_words("flute", ""), "no words name nobody");
    }
}
