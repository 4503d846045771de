//! The library as the page lists it, each score with a small role map.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use ripieno_library::{Kept, Reader};
use ripieno_questions::Record;
use ripieno_questions::record::Damaged;
use ripieno_texture::Role;
use serde::Serialize;
use utoipa::ToSchema;

use crate::desk::Desk;
use crate::failure::{Failure, Outcome};

/// Columns of a small map.
const COLUMNS: usize = 120;

/// A score on the shelf.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Card {
    pub score: i64,
    pub file: String,
    pub title: String,
    pub composers: String,
    /// The work it belongs to, with its number there, and which version it is; empty where nobody has said.
    pub work: String,
    pub version: String,
    /// "flutes 2, horns 4, violins".
    pub line_up: String,
    pub bars: i64,
    pub parts: i64,
    pub notes: i64,
    pub tags: Vec<String>,
    pub map: Vec<SmallRow>,
}

/// Small maps worked out before, by score.
#[derive(Debug, Default)]
pub(crate) struct SmallMaps(Mutex<BTreeMap<i64, Drawn>>);

#[derive(Debug)]
struct Drawn {
    /// Of the record it comes from.
    stamp: String,
    map: Arc<Vec<SmallRow>>,
}

/// Small maps held; each takes a few kilobytes.
const MOST_MAPS: usize = 5000;

impl SmallMaps {
    /// The map of a score, made where it is not known or the score has changed.
    fn of(&self, kept: &Kept, make: impl FnOnce() -> Outcome<Vec<SmallRow>>) -> Outcome<Arc<Vec<SmallRow>>> {
        let held = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(drawn) = held().get(&kept.score).filter(|drawn| drawn.stamp == kept.stamp) {
            return Ok(Arc::clone(&drawn.map));
        }
        let map = Arc::new(make()?);
        let mut held = held();
        if held.len() >= MOST_MAPS {
            held.clear();
        }
        held.insert(kept.score, Drawn { stamp: kept.stamp.clone(), map: Arc::clone(&map) });
        Ok(map)
    }
}

/// A section in a small map.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct SmallRow {
    pub section: String,
    pub family: String,
    /// For each stretch of bars (at most 120 on the shelf) the place of the role, from 0, in the list of roles: the role its parts have most often; -1 where they rest.
    pub roles: Vec<i8>,
}

/// Scores in which all words are found, or all scores.
pub(crate) fn cards(desk: &Desk, words: &str) -> Outcome<Vec<Card>> {
    let reader = desk.reader()?;
    let is_asked = words.chars().any(char::is_alphanumeric);
    let found = if is_asked { reader.find(words)? } else { reader.list()? };
    found.into_iter().map(|kept| card(desk, &reader, kept)).collect()
}

fn card(desk: &Desk, reader: &Reader, kept: Kept) -> Outcome<Card> {
    // A damaged record costs its own small map, not the shelf.
    let map = desk.maps.of(&kept, || role_map(reader, &kept, COLUMNS)).map_or_else(|_| Vec::new(), |map| map.to_vec());
    let work = [kept.work.as_str(), kept.number.as_str()].into_iter().map(str::trim).filter(|text| !text.is_empty());
    Ok(Card {
        work: work.collect::<Vec<_>>().join(", "),
        version: kept.version,
        score: kept.score,
        file: kept.file,
        title: kept.title,
        composers: kept.composers,
        line_up: kept.line_up,
        bars: kept.bars,
        parts: kept.parts,
        notes: kept.notes,
        tags: kept.tags,
        map,
    })
}

/// Who has which role, a row for each section, in at most so many columns.
pub(crate) fn role_map(reader: &Reader, kept: &Kept, columns: usize) -> Outcome<Vec<SmallRow>> {
    let record = reader.record(kept.score, &["parts", "roles"])?;
    let bars = usize::try_from(kept.bars).unwrap_or(0);
    small_map(&record, bars, columns)
        .map_err(|_| Failure::machine(format!("what is kept of “{}” is damaged; add it again", kept.title)))
}

fn small_map(record: &Record, bars: usize, columns: usize) -> Result<Vec<SmallRow>, Damaged> {
    let parts = record.table("parts")?;
    let (sections, families) = (parts.texts("section")?, parts.texts("family")?);
    let columns = bars.clamp(1, columns);
    let mut rows: Vec<SmallRow> = Vec::new();
    let mut row_of = vec![0usize; parts.rows];
    for (part, row) in row_of.iter_mut().enumerate() {
        let (section, family) = (sections.get(part).unwrap_or_default(), families.get(part).unwrap_or_default());
        *row = rows.iter().position(|row| row.section == section && row.family == family).unwrap_or_else(|| {
            rows.push(SmallRow { section: section.to_owned(), family: family.to_owned(), roles: vec![-1; columns] });
            rows.len() - 1
        });
    }
    let roles = record.table("roles")?;
    let (part, bar, role) = (roles.numbers("part_index")?, roles.numbers("bar")?, roles.texts("role")?);
    let mut often: BTreeMap<(usize, usize, i8), u32> = BTreeMap::new();
    for row in 0..roles.rows {
        let of = usize::try_from(part[row]).ok().and_then(|part| row_of.get(part));
        let place = role.get(row).and_then(|name| Role::ALL.iter().position(|role| role.name() == name));
        let (Some(&of), Some(place), Ok(bar)) = (of, place, usize::try_from(bar[row])) else { continue };
        // A damaged record may name any bar.
        let column = (bar.saturating_mul(columns) / bars.max(1)).min(columns - 1);
        *often.entry((of, column, i8::try_from(place).unwrap_or(-1))).or_default() += 1;
    }
    let mut most = vec![vec![0u32; columns]; rows.len()];
    for ((row, column, role), count) in often {
        // Of equals the one listed first stays.
        if count > most[row][column] {
            most[row][column] = count;
            rows[row].roles[column] = role;
        }
    }
    Ok(rows)
}
