//! Reading the embedded data files; `data/README.md` documents their columns.

use std::collections::BTreeMap;
use std::str::FromStr;

/// One record of a data file.
pub(crate) struct Row {
    file: &'static str,
    line: usize,
    fields: BTreeMap<String, String>,
}

impl Row {
    pub(crate) fn text(&self, column: &str) -> &str {
        self.fields.get(column).map_or("", String::as_str)
    }

    /// A value that must be there.
    ///
    /// # Panics
    /// On a value that cannot be read: the files are part of the program and its tests read them all, so that is a bug.
    pub(crate) fn get<T: FromStr>(&self, column: &str) -> T {
        #[allow(clippy::panic)]
        self.text(column)
            .parse()
            .unwrap_or_else(|_| panic!("{} record {}: column {column} holds “{}”", self.file, self.line, self.text(column)))
    }

    /// A value that may be left out.
    pub(crate) fn maybe<T: FromStr>(&self, column: &str) -> Option<T> {
        (!self.text(column).is_empty()).then(|| self.get(column))
    }
}

/// All records of a file.
pub(crate) fn rows(file: &'static str, text: &str) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
    let names: Vec<String> = reader.headers().map(|names| names.iter().map(str::to_owned).collect()).unwrap_or_default();
    let mut rows = Vec::new();
    for (line, record) in (1..).zip(reader.records()) {
        #[allow(clippy::panic)] // as above
        let record = record.unwrap_or_else(|fault| panic!("{file} record {line}: {fault}"));
        let fields = names.iter().cloned().zip(record.iter().map(str::to_owned)).collect();
        rows.push(Row { file, line, fields });
    }
    rows
}

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Citation {
    /// The code data files use.
    pub code: String,
    /// `confirmed` (read for this project), `memory` or `derived`.
    pub status: String,
    /// Author, title, edition, table, in words.
    pub text: String,
}

/// Every source the data of this crate cite.
#[must_use]
pub fn citations() -> Vec<Citation> {
    rows("sources.csv", include_str!("../data/sources.csv"))
        .iter()
        .map(|row| Citation {
            code: row.text("code").into(),
            status: row.text("status").into(),
            text: row.text("citation").into(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_a_source_that_exists_and_a_status() {
        let known: Vec<String> = citations().into_iter().map(|citation| citation.code).collect();
        for (file, text) in [
            ("models.csv", include_str!("../data/models.csv")),
            ("spectra.csv", include_str!("../data/spectra.csv")),
            ("ways.csv", include_str!("../data/ways.csv")),
            ("directivity.csv", include_str!("../data/directivity.csv")),
            ("rooms.csv", include_str!("../data/rooms.csv")),
            ("balance_rules.csv", include_str!("../data/balance_rules.csv")),
            ("doublings.csv", include_str!("../data/doublings.csv")),
            ("exposure_limits.csv", include_str!("../data/exposure_limits.csv")),
            ("exposure_published.csv", include_str!("../data/exposure_published.csv")),
        ] {
            for row in rows(file, text) {
                assert!(known.iter().any(|code| code == row.text("source")), "{file}: {}", row.text("source"));
                assert!(["confirmed", "memory", "derived"].contains(&row.text("status")), "{file} {}", row.line);
            }
        }
    }
}
