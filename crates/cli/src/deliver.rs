//! `ripieno deliver`

use std::fs;
use std::path::{Path, PathBuf};

use ripieno_casting::Lineup;
use ripieno_deliver::{Book, BookOptions, Setting, Unresolved, books, objected, proof_list, texts, unresolved};
use ripieno_formats::{Limits, Severity};
use ripieno_players::{Level, Options, check};
use ripieno_score::{Sounding, Unroll};
use ripieno_study::{Study, analyse_file};

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
    #[cfg_attr(not(feature = "engraving"), allow(dead_code))] // only pages have paper
    paper: PartPaper,
    /// Paper of the full score
    #[arg(long, value_enum, default_value_t = ScorePaper::A3)]
    #[cfg_attr(not(feature = "engraving"), allow(dead_code))]
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

/// Takes the score apart and writes everything that goes out. What is asked of players is judged at the level each has in the line-up, where there
/// is one.
pub fn run(arguments: &DeliverArguments, lineup: Option<&Lineup>) -> Result<(), String> {
    let study = needs_notes(analyse_file(&arguments.file, &Limits::default()).map_err(|error| error.to_string())?)?;
    study.findings.iter().filter(|finding| finding.severity >= Severity::Warning).for_each(|finding| eprintln!("{finding}"));
    let score = &study.score;
    let said = |what: &dyn std::fmt::Display| format!("{}: {what}", arguments.file.display());
    let options = BookOptions {
        cue_after: arguments.cue_after,
        splits: !arguments.keep_together,
        leaders: study.leaders(),
        ..BookOptions::default()
    };
    let books = books(score, &options).map_err(|error| said(&error))?;
    let played = Sounding::new(score, Unroll::AsPlayed);
    for folder in ["parts", "score"] {
        made(&arguments.out.join(folder))?;
    }
    for (path, bytes) in texts(score, &played, &books).map_err(|error| said(&error))? {
        save(&arguments.out.join(path), &bytes)?;
    }
    let settings = if arguments.no_pages { vec![None; books.len()] } else { pages::set(arguments, &study, &books)? };
    if arguments.sound {
        let folder = arguments.out.join("sound");
        made(&folder)?;
        crate::hear::mock_up(score, &played, &folder).map_err(|error| said(&error))?;
    }
    let mut open = unresolved(score, &books, &settings);
    let objections = match lineup {
        Some(lineup) => ripieno_casting::objections(score, lineup),
        None => check(score, &played, &Options { level: arguments.level, only: Vec::new() }),
    };
    open.extend(objected(score, objections));
    open.extend(arguments.estimated.iter().cloned());
    save(&arguments.out.join("proof list.csv"), &proof_list(&open))?;
    let pages: usize = settings.iter().flatten().map(|setting| setting.pages.len()).sum();
    println!(
        "{}: {} parts{}, full score, {} points to settle in \"proof list.csv\"",
        arguments.out.display(),
        books.len(),
        if pages > 0 { format!(" on {pages} pages") } else { String::new() },
        open.len()
    );
    println!("Have a person proof-read score and parts before they go out; players decide what they can play.");
    Ok(())
}

fn made(folder: &Path) -> Result<(), String> {
    fs::create_dir_all(folder).map_err(|error| format!("{}: cannot be made ({error})", folder.display()))
}

#[cfg(not(feature = "engraving"))]
mod pages {
    use super::{Book, DeliverArguments, Setting, Study};

    pub(super) fn set(_: &DeliverArguments, _: &Study, books: &[Book]) -> Result<Vec<Option<Setting>>, String> {
        eprintln!(
            "this program was built without the engraver: no PDF is written; build it with `cargo build --release --features engraving`"
        );
        Ok(vec![None; books.len()])
    }
}

#[cfg(feature = "engraving")]
mod pages {
    use std::io::{IsTerminal, Write};
    use std::ops::ControlFlow;

    use ripieno_deliver::{Paper, SCORE_PATH, Title, part_paths, set_book, set_score};
    use ripieno_engraving::{engraver, pdf};

    use super::{Book, DeliverArguments, PartPaper, ScorePaper, Setting, Study, save};

    pub(super) fn set(arguments: &DeliverArguments, study: &Study, books: &[Book]) -> Result<Vec<Option<Setting>>, String> {
        let score = &study.score;
        let engraver = engraver().map_err(|error| error.to_string())?;
        let paper = match arguments.paper {
            PartPaper::Orchestra => Paper::ORCHESTRA,
            PartPaper::A4 => Paper::A4,
            PartPaper::B4 => Paper::B4,
        };
        let shows = std::io::stderr().is_terminal();
        let tell = |what: &str| {
            if shows {
                eprint!("\r{what:<60}");
                // Progress that cannot be shown is no reason to stop.
                let _ = std::io::stderr().flush();
            }
        };
        let mut settings = Vec::new();
        for (book, path) in books.iter().zip(part_paths(books)) {
            tell(path.strip_prefix("parts/").unwrap_or(&path));
            let setting = set_book(&*engraver, book, &study.sounding.tempo, &paper, &Title::of(score, &book.name))
                .map_err(|error| format!("{}: {error}", book.name))?;
            let bytes = pdf(&setting.pages).map_err(|error| format!("{}: {error}", book.name))?;
            save(&arguments.out.join(format!("{path}.pdf")), &bytes)?;
            settings.push(Some(setting));
        }
        let on = match arguments.score_paper {
            ScorePaper::A3 => Paper::SCORE_A3,
            ScorePaper::A2 => Paper::SCORE_A2,
        };
        let mut seen = |bars: usize| {
            tell(&format!("full score, bar {bars} of {}", score.bars.len()));
            ControlFlow::Continue(())
        };
        match set_score(&*engraver, score, &on, &Title::of_score(score), &mut seen) {
            Ok(setting) => {
                let bytes = pdf(&setting.pages).map_err(|error| format!("full score: {error}"))?;
                save(&arguments.out.join(format!("{SCORE_PATH}.pdf")), &bytes)?;
            }
            Err(error) => eprintln!("\rfull score: {error}"),
        }
        tell("");
        Ok(settings)
    }
}
