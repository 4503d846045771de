//! How a value of a score stands among the works that are kept.

use std::collections::BTreeMap;
use std::path::Path;

use ripieno_questions::record::{NOTHING, Table};

use crate::error::{Result, of_damage};
use crate::load::Reader;

/// With fewer works than this to stand among nothing is called unusual.
pub const FEWEST_WORKS: usize = 8;

/// Where a value stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Share of the works whose value is lower, 0 to 1; works of the same value count half.
    pub below: f64,
    /// Works that have this value at all.
    pub works: usize,
}

impl Standing {
    /// Whether there are works enough to say anything: at least [`FEWEST_WORKS`].
    #[must_use]
    pub const fn is_enough(self) -> bool {
        self.works >= FEWEST_WORKS
    }

    /// 0 for a value in the middle of all works, 1 for one beyond them all; 0 too where there are too few works.
    #[must_use]
    pub fn unusualness(self) -> f64 {
        if self.is_enough() { (2.0 * self.below - 1.0).abs() } else { 0.0 }
    }
}

/// The values of all works, by keys that mean the same in every score: measure, whom it is about, with whom, which side, divided by `|`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Usual {
    /// Values in ascending order, one for each work.
    values: BTreeMap<String, Vec<f64>>,
    works: usize,
}

impl Usual {
    /// Works in all.
    #[must_use]
    pub const fn works(&self) -> usize {
        self.works
    }

    /// Where a value stands; `None` where no work has one of this key.
    #[must_use]
    pub fn unusual(&self, key: &str, value: f64) -> Option<Standing> {
        let values = self.values.get(key)?;
        // Kept to four decimals.
        let value = (value * DECIMALS).round() / DECIMALS;
        let lower = values.partition_point(|&other| other < value);
        let equal = values.partition_point(|&other| other <= value) - lower;
        #[allow(clippy::cast_precision_loss)] // works
        let below = (lower as f64 + equal as f64 / 2.0) / values.len() as f64;
        Some(Standing { below, works: values.len() })
    }
}

/// A value of a score and where it stands among the other works.
#[derive(Debug, Clone, PartialEq)]
pub struct StandingOut {
    /// Key, as in [`Usual::unusual`].
    pub key: String,
    /// The value, in the measure's unit.
    pub value: f64,
    /// Its unit in words.
    pub unit: String,
    /// Where it stands.
    pub standing: Standing,
}

const DECIMALS: f64 = 10_000.0;

impl Reader {
    /// What is usual: every value of every measure, one for each work. Scores of one work (the column `work`; without it a score is a work of its
    /// own) count as one, with the mean of their values. The work of the score at `except` is left out, so that nothing stands
    /// among itself.
    ///
    /// # Errors
    /// When the library cannot be read or a record is damaged.
    pub fn usual(&self, except: Option<&Path>) -> Result<Usual> {
        let except = except.map(|path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned()));
        let except = except.map(|path| path.to_string_lossy().into_owned()).unwrap_or_default();
        let sql = "SELECT score, CASE WHEN trim(work) = '' THEN 's' || score ELSE 'w' || lower(trim(work)) END FROM scores
            WHERE path != ?1 AND (trim(work) = '' OR lower(trim(work)) NOT IN (SELECT lower(trim(work)) FROM scores WHERE path = ?1))
            ORDER BY score";
        let mut statement = self.connection.prepare(sql).map_err(|error| self.say(&error))?;
        let rows = statement.query_map([except], |row| Ok((row.get(0)?, row.get(1)?))).and_then(Iterator::collect);
        let scores: Vec<(i64, String)> = rows.map_err(|error| self.say(&error))?;
        let mut works: BTreeMap<String, BTreeMap<String, (f64, u32)>> = BTreeMap::new();
        for (score, work) in scores {
            let work = works.entry(work).or_default();
            for (key, value, _) in self.values(score)? {
                let (sum, count) = work.entry(key).or_default();
                *sum += value;
                *count += 1;
            }
        }
        let mut usual = Usual { works: works.len(), ..Usual::default() };
        for (key, (sum, count)) in works.into_values().flatten() {
            usual.values.entry(key).or_default().push(sum / f64::from(count));
        }
        usual.values.values_mut().for_each(|values| values.sort_by(f64::total_cmp));
        Ok(usual)
    }

    /// The values of a kept score that stand furthest out among the other works, furthest first; none where there are too few works.
    ///
    /// # Errors
    /// As [`Self::usual`], and when there is no such score.
    pub fn standing_out(&self, score: i64) -> Result<(Usual, Vec<StandingOut>)> {
        let path: String = self
            .connection
            .query_row("SELECT path FROM scores WHERE score = ?1", [score], |row| row.get(0))
            .map_err(|error| self.say(&error))?;
        let usual = self.usual(Some(Path::new(&path)))?;
        let mut found: Vec<StandingOut> = Vec::new();
        for (key, value, unit) in self.values(score)? {
            if let Some(standing) = usual.unusual(&key, value).filter(|standing| standing.is_enough()) {
                found.push(StandingOut { key, value, unit, standing });
            }
        }
        found.sort_by(|a, b| b.standing.unusualness().total_cmp(&a.standing.unusualness()).then_with(|| a.key.cmp(&b.key)));
        Ok((usual, found))
    }

    /// Key, value and unit of each value of a score, the first of each key.
    fn values(&self, score: i64) -> Result<Vec<(String, f64, String)>> {
        let Some(table) = self.table(score, "measures")? else { return Ok(Vec::new()) };
        values(&table).map_err(|damaged| of_damage(&self.path, score, damaged))
    }
}

fn values(table: &Table) -> std::result::Result<Vec<(String, f64, String)>, ripieno_questions::record::Damaged> {
    let names = ["measure", "subject", "other", "aspect"].map(|name| table.texts(name));
    let [measure, of, with, aspect] = names;
    let (measure, of, with, aspect, unit) = (measure?, of?, with?, aspect?, table.texts("unit")?);
    let mut found: BTreeMap<String, (usize, f64, String)> = BTreeMap::new();
    for (row, &number) in table.numbers("value")?.iter().enumerate() {
        if number == NOTHING {
            continue;
        }
        let text = |texts: &ripieno_questions::record::Texts| texts.get(row).unwrap_or_default().to_owned();
        let key = format!("{}|{}|{}|{}", text(measure), text(of), text(with), text(aspect));
        #[allow(clippy::cast_precision_loss)] // four decimals of a value of music
        let value = number as f64 / DECIMALS;
        found.entry(key).or_insert_with(|| (row, value, text(unit)));
    }
    let mut found: Vec<_> = found.into_iter().collect();
    found.sort_by_key(|(_, (row, ..))| *row);
    Ok(found.into_iter().map(|(key, (_, value, unit))| (key, value, unit)).collect())
}
