//! `ripieno deliver`

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
use crate::save::save;

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
    /// What is estimated of the score, for the proof list
    #[arg(skip)]
    estimated: Vec<Unresolved>,
}

impl DeliverArguments {
    /// Everything at its defaults, sound too; `estimated` goes on the proof list.
    pub fn all(file: &Path, out: &Path, estimated: Vec<Unresolved>) -> Self {
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
}

impl Receiver for Folder<'_> {
    fn file(&mut self, path: &str, bytes: &[u8]) -> Result<(), String> {
        save(&self.out.join(path), bytes)
    }

    fn goes_on(&mut self, doing: &str) -> ControlFlow<()> {
        if self.shows {
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
    let mut folder = Folder { out: &arguments.out, shows: std::io::stderr().is_terminal() };
    let delivered = deliver(&order, &mut folder).map_err(|error| said(&error))?;
    if folder.shows {
        eprint!("\r{:60}\r", "");
    }
    if arguments.sound {
        let folder = arguments.out.join("sound");
        made(&folder)?;
        crate::hear::mock_up(score, &played, &folder).map_err(|error| said(&error))?;
    }
    let objections = match lineup {
        Some(lineup) => ripieno_casting::objections(score, lineup),
        None => check(score, &played, &Options { level: arguments.level, only: Vec::new() }),
    };
    let open = prove(&order, &delivered, objections, arguments.estimated.clone(), &mut folder).map_err(|error| said(&error))?;
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
