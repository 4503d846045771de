//! Who is in a score, and where each part sounds.

use std::ops::Range;

use ripieno_instruments::catalogue::catalogue;
use ripieno_instruments::family::{Family, Section};
use ripieno_instruments::printed;
use ripieno_instruments::recognise::{Clues, recognise};
use ripieno_texture::Role;

use super::cast::Cast;
use super::spans;
use crate::language::{Among, Who};
use crate::record::{Damaged, Record, Table, Texts};

/// One part.
struct Part {
    name: String,
    /// Its name as scores print it, lower case.
    printed: String,
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
    /// By part, then bars of each instrument it takes; empty where the record does not tell.
    taken: Vec<(usize, String, Vec<bool>)>,
    /// By part, the bars in which it carries the main melody, and those in which it has the bass; empty where no question asks.
    melody: Vec<Vec<bool>>,
    bass: Vec<Vec<bool>>,
    /// The part asked about, where a question asks who.
    pub asked: usize,
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
                printed: printed(&text(names, row)).to_lowercase(),
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
        let mut stage =
            Self { record, bars, parts, rows, named, taken: Vec::new(), melody: Vec::new(), bass: Vec::new(), asked: 0 };
        stage.taken = stage.instruments_taken()?;
        stage.melody = stage.bars_of("melody", |_, _| true)?;
        stage.bass = stage
            .bars_of("spans", |table, row| table.texts("role").is_ok_and(|roles| roles.get(row) == Some(Role::Bass.name())))?;
        Ok(stage)
    }

    /// Of a table of spans the bars by part in which a row holds and the part sounds; nothing where the table was not asked for.
    fn bars_of(&self, name: &str, holds: impl Fn(&Table, usize) -> bool) -> Result<Vec<Vec<bool>>, Damaged> {
        let Some(table) = self.newer_table(name) else { return Ok(Vec::new()) };
        let mut of_parts = vec![vec![false; self.bars]; self.parts.len()];
        for (row, (&part, (first, last))) in table.numbers("part_index")?.iter().zip(spans(table)?).enumerate() {
            if holds(table, row) {
                let part = usize::try_from(part).ok().filter(|part| *part < self.parts.len()).ok_or(Damaged)?;
                for bar in self.between(first, last) {
                    of_parts[part][bar] |= self.row(part, bar).is_some();
                }
            }
        }
        Ok(of_parts)
    }

    fn instruments_taken(&self) -> Result<Vec<(usize, String, Vec<bool>)>, Damaged> {
        let Some(table) = self.newer_table("instruments") else { return Ok(Vec::new()) };
        let mut taken: Vec<(usize, String, Vec<bool>)> = Vec::new();
        let ids = table.texts("instrument")?;
        for (row, (&part, (first, last))) in table.numbers("part_index")?.iter().zip(spans(table)?).enumerate() {
            let part = usize::try_from(part).ok().filter(|part| *part < self.parts.len()).ok_or(Damaged)?;
            let id = ids.get(row).unwrap_or_default();
            let at = taken.iter().position(|(of, name, _)| *of == part && name == id).unwrap_or_else(|| {
                taken.push((part, id.to_owned(), vec![false; self.bars]));
                taken.len() - 1
            });
            taken[at].2[self.between(first, last)].fill(true);
        }
        Ok(taken)
    }

    /// The bars from `first` to `last` of a row, as far as the score has them.
    pub fn between(&self, first: i64, last: i64) -> Range<usize> {
        let place = |bar: i64| usize::try_from(bar).unwrap_or(usize::MAX).min(self.bars);
        place(first)..place(last.saturating_add(1)).max(place(first))
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

    /// Name of a part.
    pub fn part_name(&self, part: usize) -> Option<&str> {
        self.record.table("parts").ok()?.texts("part").ok()?.get(part)
    }

    /// Which parts these players are.
    pub fn cast(&self, who: &Who) -> Cast {
        let of = |test: &dyn Fn(&Part) -> bool| {
            Cast::of_parts(self.parts.iter().enumerate().filter(|(_, part)| test(part)).map(|(index, _)| index))
        };
        let section = |section: Section| of(&|part| part.section == section.name());
        match who {
            Who::Everybody => Cast::of_parts(0..self.parts.len()),
            Who::Family(family) => of(&|part| part.family == family.name()),
            Who::Section(wanted) => section(*wanted),
            Who::Basses => {
                let voices = section(Section::Basses);
                if voices.is_empty() { section(Section::DoubleBasses) } else { voices }
            }
            Who::Instrument(id) => self.on(id),
            Who::Part(words) => {
                let named = self.named.iter().filter(|(name, _)| name == words);
                let named = named.map(|(_, part)| Cast::of_parts([*part])).reduce(Cast::with);
                named.unwrap_or_else(|| of(&|part| has_words(&part.name, words) || has_words(&part.printed, words)))
            }
            Who::Numbered(number, who) => {
                let cast = self.cast(who);
                let chosen = self.numbered(*number, &cast.parts());
                cast.only(&chosen)
            }
            Who::Melody => Cast::in_bars(self.melody.iter().cloned().enumerate()),
            Who::BassLine => Cast::in_bars(self.bass.iter().cloned().enumerate()),
            Who::Asked => Cast::of_parts([self.asked]),
        }
    }

    /// Those of several, each once.
    pub fn cast_of(&self, who: &[Who]) -> Cast {
        who.iter().map(|who| self.cast(who)).reduce(Cast::with).unwrap_or_default()
    }

    /// Who plays an instrument or a kind of it: parts named for it, in the bars in which they do not take another, and parts that take it.
    fn on(&self, id: &str) -> Cast {
        let is = |name: &str| catalogue().by_id(name).is_some_and(|instrument| instrument.is_kind_of(id));
        let of = |(index, part): (usize, &Part)| {
            let taken: Vec<_> = self.taken.iter().filter(|(of, ..)| *of == index).collect();
            if taken.len() < 2 {
                let name = taken.first().map_or(part.instrument.as_str(), |(_, name, _)| name);
                return is(name).then(|| Cast::of_parts([index]));
            }
            let bars = taken.iter().filter(|(_, name, _)| is(name)).map(|(.., bars)| Cast::in_bars([(index, bars.clone())]));
            bars.reduce(Cast::with)
        };
        self.parts.iter().enumerate().filter_map(of).reduce(Cast::with).unwrap_or_default()
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
    pub fn units(&self, who: &Who) -> Vec<Cast> {
        let cast = self.cast(who);
        if !matches!(who, Who::Everybody | Who::Family(_)) {
            return cast.singly();
        }
        let mut units: Vec<Vec<usize>> = Vec::new();
        let same =
            |a: usize, b: usize| self.parts[a].section == self.parts[b].section && self.parts[a].family == self.parts[b].family;
        for part in cast.parts() {
            match units.iter_mut().find(|unit| same(unit[0], part)) {
                Some(unit) => unit.push(part),
                None => units.push(vec![part]),
            }
        }
        units.into_iter().map(Cast::of_parts).collect()
    }

    /// The sections, families or parts of the score, by name.
    pub fn bodies(&self, among: Among) -> Vec<(String, Cast)> {
        let of_family = |part: &Part, family: Option<Family>| family.is_none_or(|family| part.family == family.name());
        let name = |at: usize, part: &Part| match among {
            Among::Sections(family) => of_family(part, family).then(|| part.section.clone()),
            Among::Families => Some(part.family.clone()),
            Among::Parts(family) => of_family(part, family)
                .then(|| self.part_name(at).unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ")),
        };
        let mut bodies: Vec<(String, Vec<usize>)> = Vec::new();
        for (at, part) in self.parts.iter().enumerate() {
            let Some(name) = name(at, part) else { continue };
            match bodies.iter_mut().find(|(known, _)| *known == name).filter(|_| !matches!(among, Among::Parts(_))) {
                Some((_, parts)) => parts.push(at),
                None => bodies.push((name, vec![at])),
            }
        }
        bodies.into_iter().map(|(name, parts)| (name, Cast::of_parts(parts))).collect()
    }

    /// Whether one of them sounds in a bar.
    pub fn sounds(&self, cast: &Cast, bar: usize) -> bool {
        cast.members().any(|member| member.is_in(bar) && self.row(member.part, bar).is_some())
    }

    /// Everybody else.
    pub fn others(&self, cast: &Cast) -> Cast {
        cast.others(self.parts.len(), self.bars)
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
