//! `ripieno library`

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use ripieno_formats::Limits;
use ripieno_library::{
    ExportFormat, FEWEST_WORKS, Kept, Labels, Library, LibraryError, Outcome, Reader, StandingOut, export, restore, score_files,
};
use ripieno_questions::MomentRow;
use ripieno_study::Cancel;

/// Arguments of `ripieno library`.
#[derive(clap::Args)]
pub struct LibraryArguments {
    /// The library's file; without it the one RIPIENO_LIBRARY names, else ripieno/library.db among your data
    #[arg(long, value_name = "FILE", global = true)]
    library: Option<PathBuf>,
    #[command(subcommand)]
    what: What,
}

/// The library's file: as said, else as the environment says.
pub fn library_path(said: Option<&Path>) -> Result<PathBuf, String> {
    if let Some(path) = said {
        return Ok(path.to_owned());
    }
    let named = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    named("RIPIENO_LIBRARY")
        .or_else(|| named("XDG_DATA_HOME").map(|data| data.join("ripieno").join("library.db")))
        .or_else(|| named("HOME").map(|home| home.join(".local/share/ripieno/library.db")))
        .ok_or_else(|| "there is no home folder to keep a library in; say where with --library FILE".to_owned())
}

#[derive(clap::Subcommand)]
enum What {
    /// Take scores in: files, or folders with all scores below them; what is kept already and unchanged is skipped
    Add(AddArguments),
    /// List the scores
    List,
    /// Find scores by words of titles, composers, part names, remarks and tags
    Find {
        /// Beginnings of words; all have to be there
        #[arg(required = true, value_name = "WORD")]
        words: Vec<String>,
    },
    /// Give a score tags, or take tags away
    Tag {
        /// Number, file name or title of a score
        score: String,
        /// The tags
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
        /// Take them away
        #[arg(long)]
        remove: bool,
    },
    /// Keep a remark on a score, or list the remarks there are
    Note {
        /// Number, file name or title of a score
        score: String,
        /// What to remember; without it the remarks on the score are listed
        text: Option<String>,
        /// The printed bars it is about, such as 35-45
        #[arg(long, value_name = "BARS", requires = "text")]
        bars: Option<String>,
        /// Take away the remark of this number
        #[arg(long, value_name = "NUMBER", conflicts_with_all = ["text", "bars"])]
        remove: Option<i64>,
    },
    /// Take scores out; their files stay where they are
    Remove {
        /// Numbers, file names or titles of scores
        #[arg(required = true, value_name = "SCORE")]
        scores: Vec<String>,
    },
    /// List the values of a score that stand furthest out among the other works of the library
    Unusual {
        /// Number, file name or title of a score
        score: String,
        /// How many to list
        #[arg(long, value_name = "NUMBER", default_value_t = 20)]
        most: usize,
    },
    /// Copy the library into a new file while it stays in use
    Backup {
        /// The new file
        file: PathBuf,
    },
    /// Make the library what a backup is
    Restore {
        /// The backup
        file: PathBuf,
        /// Give up the library that is there
        #[arg(long)]
        replace: bool,
    },
    /// Write all tables into a new folder, for other programs to query
    Export {
        /// The new folder
        folder: PathBuf,
        /// Format of the files
        #[arg(long, value_enum, default_value_t = Format::Csv)]
        format: Format,
    },
    /// Print a person's corrections of a score, as the file that lay beside it
    Corrections {
        /// Number, file name or title of a score
        score: String,
    },
}

/// Formats of an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// Comma-separated values
    Csv,
    /// Apache Parquet
    Parquet,
}

#[derive(clap::Args)]
struct AddArguments {
    /// Scores, or folders of scores
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Title of the work they belong to
    #[arg(long)]
    work: Option<String>,
    /// Number of the cue or movement
    #[arg(long)]
    number: Option<String>,
    /// Version: 2, "as recorded"
    #[arg(long = "score-version", value_name = "VERSION")]
    version: Option<String>,
    /// A tag to give them; may be repeated
    #[arg(long = "tag", value_name = "TAG")]
    tags: Vec<String>,
}

/// Does what is asked.
pub fn run(arguments: &LibraryArguments) -> Result<(), String> {
    let path = library_path(arguments.library.as_deref())?;
    let open = || Library::open(&path).map_err(said);
    match &arguments.what {
        What::Add(arguments) => add(&path, arguments),
        What::List => print(&listing(&open()?.list().map_err(said)?)),
        What::Find { words } => {
            let found = open()?.find(&words.join(" ")).map_err(said)?;
            if found.is_empty() {
                return Err(format!("no score has words that begin with “{}”", words.join(" ")));
            }
            print(&listing(&found))
        }
        What::Tag { score, tags, remove } => {
            let mut library = open()?;
            let score = library.named(score).map_err(said)?;
            library.tag(score, tags, *remove).map_err(said)
        }
        What::Note { score, text, bars, remove } => note(open()?, score, text.as_deref(), bars.as_deref(), *remove),
        What::Remove { scores } => {
            let mut library = open()?;
            let scores: Result<Vec<i64>, LibraryError> = scores.iter().map(|score| library.named(score)).collect();
            scores.map_err(said)?.into_iter().try_for_each(|score| library.remove(score).map_err(said))
        }
        What::Unusual { score, most } => unusual(&path, score, *most),
        What::Backup { file } => open()?.backup(file).map_err(said),
        What::Restore { file, replace } => restore(file, &path, *replace).map_err(said),
        What::Export { folder, format } => {
            let format = match format {
                Format::Csv => ExportFormat::Csv,
                Format::Parquet => ExportFormat::Parquet,
            };
            let files = export(&path, folder, format, |done, total| eprintln!("{done} of {total}")).map_err(said)?;
            print(&format!("{files} files in {}\n", folder.display()))
        }
        What::Corrections { score } => {
            let library = open()?;
            let score = library.named(score).map_err(said)?;
            match library.corrections(score).map_err(said)? {
                Some(corrections) => print(&String::from_utf8_lossy(&corrections)),
                None => Err(format!("no corrections are kept of score {score}")),
            }
        }
    }
}

/// The sentence of an error.
#[allow(clippy::needless_pass_by_value)] // handed to map_err
pub fn said(error: LibraryError) -> String {
    error.to_string()
}

/// Prints; a reader that stops listening (`| head`) is no error.
pub fn print(text: &str) -> Result<(), String> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(format!("the answer cannot be printed: {error}")),
        _ => Ok(()),
    }
}

fn add(path: &Path, arguments: &AddArguments) -> Result<(), String> {
    let files = score_files(&arguments.paths).map_err(said)?;
    if files.is_empty() {
        return Err("there is no score in these folders".to_owned());
    }
    let mut library = Library::open_or_create(path).map_err(said)?;
    let labels = Labels {
        work: arguments.work.clone(),
        number: arguments.number.clone(),
        version: arguments.version.clone(),
        tags: arguments.tags.clone(),
    };
    let counts = library.import(&files, &labels, &Limits::default(), &Cancel::default(), MomentRow::of, |progress| {
        let (done, total, file) = (progress.done, progress.total, progress.path.display());
        match progress.outcome {
            Outcome::Added(score) => eprintln!("{done} of {total}: {file}: score {score}"),
            Outcome::Renewed(score) => eprintln!("{done} of {total}: {file}: score {score}, anew"),
            Outcome::Unchanged(score) => eprintln!("{done} of {total}: {file}: score {score}, unchanged"),
            Outcome::Unread(why) => eprintln!("{why}"),
        }
    });
    let counts = counts.map_err(said)?;
    print(&format!("{} added, {} renewed, {} unchanged\n", counts.added, counts.renewed, counts.unchanged))?;
    if counts.unread == 0 { Ok(()) } else { Err(format!("{} of {} files could not be read", counts.unread, files.len())) }
}

/// "reserve, tuba, longest rest before an entry: 211 (bars), above 92 % of 26 works"
fn unusual(path: &Path, score: &str, most: usize) -> Result<(), String> {
    let score = Library::open(path).and_then(|library| library.named(score)).map_err(said)?;
    let (usual, found) = Reader::open(path).and_then(|reader| reader.standing_out(score)).map_err(said)?;
    if usual.works() < FEWEST_WORKS {
        return Err(format!(
            "what is unusual takes at least {FEWEST_WORKS} other works to say; other works in this library: {}",
            usual.works()
        ));
    }
    let line = |out: &StandingOut| {
        let key: Vec<&str> = out.key.split('|').filter(|name| !name.is_empty()).collect();
        let works = out.standing.works;
        let side = if out.standing.below >= 0.5 { "above" } else { "below" };
        let share = if out.standing.below >= 0.5 { out.standing.below } else { 1.0 - out.standing.below };
        format!("{}: {} ({}), {side} {:.0} % of {works} works\n", key.join(", "), out.value, out.unit, share * 100.0)
    };
    print(&found.iter().take(most).map(line).collect::<String>())
}

/// A line for each score, then its particulars.
fn listing(scores: &[Kept]) -> String {
    let mut text = String::new();
    for kept in scores {
        let composers = if kept.composers.is_empty() { String::new() } else { format!(", {}", kept.composers) };
        text.push_str(&format!("{:>5}  {}{composers}\n", kept.score, kept.title));
        let mut told = vec![format!("{}, {} bars, {} parts", kept.file, kept.bars, kept.parts)];
        let labels = [("work", &kept.work), ("number", &kept.number), ("version", &kept.version)];
        told.extend(labels.iter().filter(|(_, label)| !label.is_empty()).map(|(name, label)| format!("{name} {label}")));
        if !kept.tags.is_empty() {
            told.push(format!("tags: {}", kept.tags.join(", ")));
        }
        if kept.remarks > 0 {
            told.push(format!("remarks: {}", kept.remarks));
        }
        text.push_str(&format!("       {}\n", told.join("; ")));
    }
    text
}

fn note(mut library: Library, score: &str, text: Option<&str>, bars: Option<&str>, remove: Option<i64>) -> Result<(), String> {
    let score = library.named(score).map_err(said)?;
    if let Some(remark) = remove {
        return library.remove_remark(remark).map_err(said);
    }
    if let Some(text) = text {
        let remark = library.remark(score, bars.unwrap_or_default(), text).map_err(said)?;
        return print(&format!("remark {remark}\n"));
    }
    let remarks = library.remarks(Some(score)).map_err(said)?;
    let line = |remark: &ripieno_library::Remark| {
        let bars = if remark.printed_bars.is_empty() { String::new() } else { format!("bars {}: ", remark.printed_bars) };
        format!("{:>5}  {bars}{}\n", remark.remark, remark.text)
    };
    print(&remarks.iter().map(line).collect::<String>())
}
