//! A study as a self-contained HTML report and as tables.
//!
//! Everything shown comes from a [`ripieno_study::Study`]; nothing is computed here beyond wording and layout. The report
//! is one file that asks nothing of the network; every figure in it is a link to its bars on the map. The same study gives
//! the same bytes.

mod map;
mod music;
mod page;
mod playing;
mod practice;
mod readme;
mod roles;
mod tables;
mod words;

use std::io;
use std::path::Path;

use ripieno_study::Study;

pub use map::{Register, balance_keys, balance_map, band_keys, melody_map, register_bands, register_chart, role_map};
pub use page::report;
pub use roles::{melody, role_spans, roles_by_bar};
pub use tables::{Table, tables, tables_json};

/// Writes `report.html`, one CSV file for each table, `tables.json` and `README.txt`, the key to them, into a folder, which is made if need be.
///
/// # Errors
/// When the folder or a file cannot be written.
pub fn write(study: &Study, folder: &Path) -> io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let tables = tables(study);
    std::fs::write(folder.join("report.html"), report(study))?;
    for table in &tables {
        std::fs::write(folder.join(format!("{}.csv", table.name)), table.csv()?)?;
    }
    std::fs::write(folder.join("README.txt"), readme::readme(study, &tables))?;
    std::fs::write(folder.join("tables.json"), tables_json(&tables))
}
