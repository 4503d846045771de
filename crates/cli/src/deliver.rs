//! `ripieno deliver`

use std::collections::BTreeSet;
use std::fs;
use std::io::{IsTerminal, Write};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use ripieno_casting::Lineup;
use ripieno_deliver::{BookOptions, Order, Pages, Paper, Receiver, Unresolved, deliver, prove};
use ripieno_engraving::{IS_BUILT_IN, engraver};
use ripieno_formats::{Limits, Severity};
use ripieno_players::{Level, Options, check};
use ripieno_score::{Sounding, Unroll};
use ripieno_study::analyse_file;

use crate::chart::needs_notes;
use crate::save::{save, spare};

/// Arguments of `ripieno deliver`.
#[derive(clap::Args)]
pub struct DeliverArguments {
    /// The score to take apart
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The folder to write to; made if it is not there
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Paper and staff size of the parts
    #[arg(long, value_enum, default_value_t = PartPaper::Orchestra)]
    paper: PartPaper,
    /// Paper of the full score
    #[arg(long, value_enum, default_value_t = ScorePaper::A3)]
    score_paper: ScorePaper,
    /// Rests of this many bars get a cue before the entry; 0 for none
    #[arg(long, value_name = "BARS", default_value_t = 8)]
    cue_after: u32,
    /// Keep players who share a staff of the score on one part
    #[arg(long)]
    keep_together: bool,
    /// No PDF, MusicXML and lists only
    #[arg(long)]
    no_pages: bool,
    /// Also play it, whole and section by section
    #[arg(long)]
    sound: bool,
    /// Who will play: what is asked of them beyond that goes on the proof list
    #[arg(long, default_value_t = Level::Professional)]
    level: Level,
    /// Write over an earlier delivery in the folder, and remove of it what is made no more
    #[arg(long)]
    replace: bool,
    /// What is estimated of the score, for the proof list
    #[arg(skip)]
    estimated: Vec<Unresolved>,
}

impl DeliverArguments {
    /// Everything at its defaults, sound too; `estimated` goes on the proof list.
    pub fn all(file: &Path, out: &Path, replace: bool, estimated: Vec<Unresolved>) -> Self {
        Self {
            file: file.to_owned(),
            out: out.to_owned(),
            paper: PartPaper::Orchestra,
            score_paper: ScorePaper::A3,
            cue_after: 8,
            keep_together: false,
            no_pages: false,
            sound: true,
            level: Level::Professional,
            replace,
            estimated,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum PartPaper {
    /// 10 by 13 inches, staves of 7.5 mm, as orchestra librarians recommend
    Orchestra,
    /// A4, staves of 7 mm
    A4,
    /// B4 of the Japanese standard, staves of 8 mm
    B4,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ScorePaper {
    /// 297 by 420 mm
    A3,
    /// 420 by 594 mm
    A2,
}

/// The folder a delivery is written to.
struct Folder<'a> {
    out: &'a Path,
    shows: bool,
    /// What was said last of what is being done.
    told: String,
    /// What has been written, as paths inside it.
    written: BTreeSet<PathBuf>,
}

/// What earlier deliveries have left in a folder, as paths inside it: files called as a delivery calls them.
fn delivered_before(out: &Path) -> Vec<PathBuf> {
    let is_part = |name: &str| {
        let number = name.split(' ').next().unwrap_or("");
        number.len() >= 2
            && number.bytes().all(|byte| byte.is_ascii_digit())
            && (name.ends_with(".musicxml") || name.ends_with(".pdf"))
    };
    let is_score = |name: &str| {
        let names = ["musicxml", "pdf", "mid"].map(|ending| format!("score.{ending}"));
        names.iter().any(|own| own == name) || name == "score at concert pitch.musicxml"
    };
    let is_own = |folder: &str, name: &str| match folder {
        "parts" => is_part(name),
        "score" => is_score(name),
        "sound" => name == "mock-up.flac",
        _ => name.ends_with(".flac"),
    };
    let mut found = Vec::new();
    for folder in ["parts", "score", "sound", "sound/stems"] {
        let entries = fs::read_dir(out.join(folder)).into_iter().flatten().flatten();
        let files = entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()));
        found.extend(
            files
                .filter(|entry| entry.file_name().to_str().is_some_and(|name| is_own(folder, name)))
                .map(|entry| Path::new(folder).join(entry.file_name())),
        );
    }
    found.sort();
    found
}

/// Refuses a folder in which an earlier delivery lies, unless that is to be replaced: parts of two scores beside each other end on one stand.
pub fn may_write(out: &Path, replaces: bool) -> Result<(), String> {
    match delivered_before(out).first() {
        Some(first) if !replaces => Err(format!(
            "{}: an earlier delivery lies there ({}); choose another folder, or replace it with --replace",
            out.display(),
            first.display()
        )),
        _ => Ok(()),
    }
}

impl Receiver for Folder<'_> {
    fn file(&mut self, path: &str, bytes: &[u8]) -> Result<(), String> {
        self.written.insert(PathBuf::from(path));
        save(&self.out.join(path), bytes)
    }

    fn goes_on(&mut self, doing: &str) -> ControlFlow<()> {
        if self.shows && self.told != doing {
            doing.clone_into(&mut self.told);
            eprint!("\r{doing:<60}");
            // Progress that cannot be shown is no reason to stop.
            let _ = std::io::stderr().flush();
        }
        ControlFlow::Continue(())
    }
}

/// Takes the score apart and writes everything that goes out. What is asked of players is judged at the level each has in the line-up, where there
/// is one.
pub fn run(arguments: &DeliverArguments, lineup: Option<&Lineup>) -> Result<(), String> {
    may_write(&arguments.out, arguments.replace)?;
    let before = delivered_before(&arguments.out);
    before.iter().try_for_each(|path| spare(&arguments.out.join(path), &[&arguments.file]))?;
    let study = needs_notes(analyse_file(&arguments.file, &Limits::default()).map_err(|error| error.to_string())?)?;
    study.findings.iter().filter(|finding| finding.severity >= Severity::Warning).for_each(|finding| eprintln!("{finding}"));
    let score = &study.score;
    let said = |what: &dyn std::fmt::Display| format!("{}: {what}", arguments.file.display());
    let played = Sounding::new(score, Unroll::AsPlayed);
    for folder in ["parts", "score"] {
        made(&arguments.out.join(folder))?;
    }
    if !arguments.no_pages && !IS_BUILT_IN {
        eprintln!(
            "this program was built without the engraver: no PDF is written; build it with `cargo build --release --features engraving`"
        );
    }
    let engraver = if arguments.no_pages || !IS_BUILT_IN { None } else { Some(engraver().map_err(|error| error.to_string())?) };
    let order = Order {
        score,
        played: &played,
        tempo: &study.sounding.tempo,
        options: BookOptions {
            cue_after: arguments.cue_after,
            splits: !arguments.keep_together,
            leaders: study.leaders(),
            ..BookOptions::default()
        },
        pages: engraver.as_deref().map(|engraver| Pages {
            engraver,
            parts: match arguments.paper {
                PartPaper::Orchestra => Paper::ORCHESTRA,
                PartPaper::A4 => Paper::A4,
                PartPaper::B4 => Paper::B4,
            },
            score: match arguments.score_paper {
                ScorePaper::A3 => Paper::SCORE_A3,
                ScorePaper::A2 => Paper::SCORE_A2,
            },
        }),
    };
    let mut folder =
        Folder { out: &arguments.out, shows: std::io::stderr().is_terminal(), told: String::new(), written: BTreeSet::new() };
    let delivered = deliver(&order, &mut folder).map_err(|error| said(&error))?;
    if folder.shows {
        eprint!("\r{:60}\r", "");
    }
    if arguments.sound {
        let sound = arguments.out.join("sound");
        made(&sound)?;
        let written = crate::hear::mock_up(score, &played, &sound).map_err(|error| said(&error))?;
        folder.written.extend(written.iter().filter_map(|file| file.strip_prefix(&arguments.out).ok()).map(Path::to_owned));
    }
    let objections = match lineup {
        Some(lineup) => ripieno_casting::objections(score, lineup),
        None => check(score, &played, &Options { level: arguments.level, only: Vec::new() }),
    };
    let open = prove(&order, &delivered, objections, arguments.estimated.clone(), &mut folder).map_err(|error| said(&error))?;
    for left in before.iter().filter(|path| !folder.written.contains(*path)) {
        let left = arguments.out.join(left);
        fs::remove_file(&left)
            .map_err(|error| format!("{}: of the earlier delivery, cannot be removed ({error})", left.display()))?;
    }
    let pages = delivered.pages();
    println!(
        "{}: {} parts{}, full score, {} points to settle in \"proof list.csv\"",
        arguments.out.display(),
        delivered.books.len(),
        if pages > 0 { format!(" on {pages} pages") } else { String::new() },
        open.len()
    );
    println!("Have a person proof-read score and parts before they go out; players decide what they can play.");
    Ok(())
}

fn made(folder: &Path) -> Result<(), String> {
    fs::create_dir_all(folder).map_err(|error| format!("{}: cannot be made ({error})", folder.display()))
}
