//! `ripieno compare` and `ripieno profile`

mod changes;
mod gather;
mod page;
mod rows;
mod sentences;

use std::path::PathBuf;

use ripieno_study::{Comparison, Options, Profile, compare, versions};

use crate::library::print;
use crate::save::{save, spare};
use gather::{Gathered, gather};

/// Arguments of `ripieno compare`.
#[derive(clap::Args)]
pub struct CompareArguments {
    /// A score, a folder of scores, or a profile saved by `ripieno profile`
    #[arg(value_name = "A")]
    a: PathBuf,
    /// The same for the other side; of two versions, the newer
    #[arg(value_name = "B")]
    b: PathBuf,
    /// Confine the comparison to a family, section or instrument: "horns", "strings"; may be repeated
    #[arg(long = "group", value_name = "NAME")]
    groups: Vec<String>,
    /// The same as --group brass
    #[arg(long)]
    brass: bool,
    /// The same as --group woodwind
    #[arg(long)]
    woodwind: bool,
    /// The same as --group strings
    #[arg(long)]
    strings: bool,
    /// Two versions of one piece: list changed bars and parts too. Two scores most of whose music is the same are taken for that
    #[arg(long)]
    versions: bool,
    /// Differences on the first page
    #[arg(long, value_name = "NUMBER", default_value_t = 20)]
    rows: usize,
    /// Write every row with all columns to this file
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write a page for the browser to this file
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

/// Arguments of `ripieno profile`.
#[derive(clap::Args)]
pub struct ProfileArguments {
    /// Scores, folders of scores, or saved profiles
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// The file to write
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// What to call it; without it the name of the score, or of the file
    #[arg(long)]
    name: Option<String>,
    /// Title of the work to which all these scores belong, where the files do not say it: they count as one
    #[arg(long, value_name = "TITLE")]
    work: Option<String>,
    /// Measure each score again in stretches, so that it can be compared with another single score (done by itself for one score)
    #[arg(long)]
    windows: bool,
}

/// Both sides of a comparison with what it found.
struct Compared<'a> {
    a: &'a Profile,
    b: &'a Profile,
    found: &'a Comparison,
    options: &'a Options,
    most: usize,
}

/// Compares, prints and writes what is asked for.
pub fn run(arguments: &CompareArguments) -> Result<(), String> {
    let mut a = gather(std::slice::from_ref(&arguments.a), None, None, false)?;
    let mut b = gather(std::slice::from_ref(&arguments.b), None, None, false)?;
    if a.profile.name == b.profile.name {
        a.profile.name = format!("{}, {}", a.profile.name, arguments.a.display());
        b.profile.name = format!("{}, {}", b.profile.name, arguments.b.display());
    }
    let mut groups: Vec<String> = arguments.groups.iter().map(|group| group.trim().to_lowercase()).collect();
    let named = [(arguments.brass, "brass"), (arguments.woodwind, "woodwind"), (arguments.strings, "strings")];
    groups.extend(named.iter().filter(|named| named.0).map(|named| named.1.to_owned()));
    check_groups(&groups, &a.profile, &b.profile)?;
    let changed = a.only.as_ref().zip(b.only.as_ref()).map(|(old, new)| (old, new, versions(old, new)));
    if arguments.versions && changed.as_ref().is_some_and(|(old, new, _)| old.is_chart() || new.is_chart()) {
        return Err("--versions compares notes, and a chart holds none; leave it out to compare what is charted".to_owned());
    }
    if arguments.versions && changed.is_none() {
        return Err("--versions compares two score files; a folder or a saved profile has no bars to lay side by side".to_owned());
    }
    let changed = changed.filter(|(.., versions)| arguments.versions || versions.is_same_piece());
    let options = Options { groups, same_piece: changed.is_some() };
    let found = compare(&a.profile, &b.profile, &options);
    let compared = Compared { a: &a.profile, b: &b.profile, found: &found, options: &options, most: arguments.rows };
    let mut text = String::new();
    if let Some((old, new, versions)) = &changed {
        text.push_str(&changes::text(old, new, versions));
    }
    text.push_str(&rows::text(&compared));
    if let Some(file) = &arguments.csv {
        save(file, &rows::csv(&compared)?)?;
    }
    if let Some(file) = &arguments.html {
        let changes = changed.as_ref().map(|(old, new, versions)| changes::text(old, new, versions));
        save(file, page::html(&compared, changes.as_deref()).as_bytes())?;
    }
    print(&text)
}

/// Gathers a profile and saves it.
pub fn run_profile(arguments: &ProfileArguments) -> Result<(), String> {
    let out = &arguments.out;
    spare(out, &arguments.paths.iter().map(PathBuf::as_path).collect::<Vec<_>>())?;
    let Gathered { profile, .. } =
        gather(&arguments.paths, arguments.name.as_deref(), arguments.work.as_deref(), arguments.windows)?;
    save(out, profile.to_json().as_bytes())?;
    let (scores, works) = (profile.scores.len(), profile.works());
    print(&format!("{}: {}, {}\n", out.display(), rows::counted(scores, "score"), rows::counted(works, "work")))
}

/// Refuses a body that neither side has, naming those there are.
fn check_groups(groups: &[String], a: &Profile, b: &Profile) -> Result<(), String> {
    let bodies = || [a, b].into_iter().flat_map(|profile| &profile.rows).map(|row| &row.key.of);
    match groups.iter().find(|group| !bodies().any(|whom| whom.belongs_to(group))) {
        None => Ok(()),
        Some(group) => {
            let told =
                |whom: &&ripieno_study::Whom| matches!(whom.kind, ripieno_study::Kind::Family | ripieno_study::Kind::Section);
            let names: std::collections::BTreeSet<&str> = bodies().filter(told).map(|whom| whom.name.as_str()).collect();
            let names: Vec<&str> = names.into_iter().collect();
            Err(format!("neither side has “{group}”; there are {}", names.join(", ")))
        }
    }
}
