//! The key that lies beside the tables.

use std::fmt::Write;

use ripieno_study::Study;

use crate::tables::Table;
use crate::words::counted;

/// Every column of every table; the same text as the documentation.
const TABLES: &str = include_str!("../../../docs/tables.md");
/// Where the description of a study's tables begins there.
const BEGIN: &str = "## Tables of a study";

/// What lies in the folder, and what each column means.
pub(crate) fn readme(study: &Study, tables: &[Table]) -> String {
    let mut out =
        format!("{}\nRead from {}\n\nreport.html opens in any browser and needs no network.\n", study.title(), study.file);
    out.push_str("tables.json holds all tables at once. The tables:\n\n");
    for table in tables {
        let _ = write!(out, "  {}.csv: {}", table.name, counted(table.rows.len(), "row"));
        out.push_str(if table.name == "findings" && table.rows.is_empty() { ", the file was read as it stands\n" } else { "\n" });
    }
    let start = TABLES.find(BEGIN).map_or(0, |at| at + TABLES[at..].find('\n').unwrap_or(0));
    let general = TABLES.find("## ").unwrap_or(0);
    let _ = write!(out, "\n{}\n{}", TABLES[..general].trim_start_matches("# Tables").trim(), &TABLES[start..]);
    out.replace('`', "")
}
