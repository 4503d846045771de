//! `ripieno deliver`

use std::fs;
use std::path::{Path, PathBuf};

use ripieno_deliver::{Book, BookOptions, Setting, Unresolved, books, cover, unresolved};
use ripieno_formats::excerpt::{Cut, PitchShown, cut};
use ripieno_formats::musicxml::{write, write_printed};
use ripieno_formats::{Limits, Severity, midi};
use ripieno_players::{Group, Level, check, grouped, who};
use ripieno_score::{BarIndex, Score, Sounding, Unroll};
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
}

impl DeliverArguments {
    /// Everything at its defaults, sound too.
    pub fn all(file: &Path, out: &Path) -> Self {
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

/// Takes the score apart and writes everything that goes out.
pub fn run(arguments: &DeliverArguments) -> Result<(), String> {
    let study = needs_notes(analyse_file(&arguments.file, &Limits::default()).map_err(|error| error.to_string())?)?;
    study.findings.iter().filter(|finding| finding.severity >= Severity::Warning).for_each(|finding| eprintln!("{finding}"));
    let score = &study.score;
    let said = |what: &dyn std::fmt::Display| format!("{}: {what}", arguments.file.display());
    let options = BookOptions {
        cue_after: arguments.cue_after,
        splits: !arguments.keep_together,
        leaders: leaders(&study),
        ..BookOptions::default()
    };
    let books = books(score, &options).map_err(|error| said(&error))?;
    let names: Vec<String> =
        books.iter().enumerate().map(|(place, book)| format!("{:02} {}", place + 1, plain(&book.name))).collect();
    let (parts, full) = (arguments.out.join("parts"), arguments.out.join("score"));
    for folder in [&parts, &full] {
        fs::create_dir_all(folder).map_err(|error| format!("{}: cannot be made ({error})", folder.display()))?;
    }
    for (book, name) in books.iter().zip(&names) {
        save(&parts.join(format!("{name}.musicxml")), write_printed(&book.score, &book.printing()).as_bytes())?;
    }
    save(&full.join("score.musicxml"), write(score).as_bytes())?;
    let last = BarIndex(u32::try_from(score.bars.len().saturating_sub(1)).unwrap_or(u32::MAX));
    let concert =
        cut(score, &Cut { pitch: PitchShown::Concert, ..Cut::bars(BarIndex(0), last) }).map_err(|error| said(&error))?;
    save(&full.join("score at concert pitch.musicxml"), write(&concert.score).as_bytes())?;
    save(&full.join("score.mid"), &midi::write(score, Unroll::AsPlayed))?;
    let played = Sounding::new(score, Unroll::AsPlayed);
    save(&arguments.out.join("cover list.txt"), cover(score, &played, &books).as_bytes())?;
    let settings = if arguments.no_pages { vec![None; books.len()] } else { pages::set(arguments, &study, &books, &names)? };
    if arguments.sound {
        let folder = arguments.out.join("sound");
        fs::create_dir_all(&folder).map_err(|error| format!("{}: cannot be made ({error})", folder.display()))?;
        crate::hear::mock_up(score, &played, &folder).map_err(|error| said(&error))?;
    }
    let mut open = unresolved(score, &books, &settings);
    open.extend(objections(score, &played, arguments.level));
    save(&arguments.out.join("proof list.csv"), table(&open)?.as_bytes())?;
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

/// What players would object to, but for mere remarks.
fn objections(score: &Score, played: &Sounding, level: Level) -> Vec<Unresolved> {
    let options = ripieno_players::Options { level, only: Vec::new() };
    let mut found = check(score, played, &options);
    found.retain(|one| one.severity <= ripieno_players::Severity::Caution);
    let told = |group: &Group| Unresolved {
        part: who(score, &group.first),
        bars: group.bars_text(score),
        what: format!("{} ({}): {}", group.first.kind, group.first.severity, group.first.reason),
        remedy: group.first.remedy.clone(),
    };
    grouped(&found).iter().map(told).collect()
}

/// For each bar of the page the part that carries the melody.
fn leaders(study: &Study) -> Vec<Option<usize>> {
    let mut leaders = vec![None; study.score.bars.len()];
    for carried in &study.roles.roles.melody {
        for bar in carried.bars.clone() {
            let written = study.sounding.bars.get(bar as usize).and_then(|played| leaders.get_mut(played.bar.at()));
            if let Some(leader) = written {
                *leader = Some(carried.part);
            }
        }
    }
    leaders
}

/// A name that any file system takes.
fn plain(name: &str) -> String {
    let kept: String = name.chars().map(|c| if c.is_alphanumeric() || " .-()♭♯".contains(c) { c } else { '-' }).collect();
    kept.trim().trim_end_matches('.').to_owned()
}

fn table(open: &[Unresolved]) -> Result<String, String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |error: &dyn std::fmt::Display| format!("the proof list cannot be written ({error})");
    writer.write_record(["part", "bars", "what", "remedy"]).map_err(|error| failed(&error))?;
    for one in open {
        writer.write_record([&one.part, &one.bars, &one.what, &one.remedy]).map_err(|error| failed(&error))?;
    }
    let bytes = writer.into_inner().map_err(|error| failed(&error))?;
    String::from_utf8(bytes).map_err(|error| failed(&error))
}

#[cfg(not(feature = "engraving"))]
mod pages {
    use super::{Book, DeliverArguments, Setting, Study};

    pub(super) fn set(_: &DeliverArguments, _: &Study, books: &[Book], _: &[String]) -> Result<Vec<Option<Setting>>, String> {
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

    use ripieno_deliver::{Paper, Title, set_book, set_score};
    use ripieno_engraving::{engraver, pdf};

    use super::{Book, DeliverArguments, PartPaper, ScorePaper, Setting, Study, save};

    pub(super) fn set(
        arguments: &DeliverArguments,
        study: &Study,
        books: &[Book],
        names: &[String],
    ) -> Result<Vec<Option<Setting>>, String> {
        let score = &study.score;
        let engraver = engraver().map_err(|error| error.to_string())?;
        let paper = match arguments.paper {
            PartPaper::Orchestra => Paper::ORCHESTRA,
            PartPaper::A4 => Paper::A4,
            PartPaper::B4 => Paper::B4,
        };
        let title = |reader: &str| Title {
            title: score.about.title(),
            composer: score.about.composer().unwrap_or_default().to_owned(),
            reader: reader.to_owned(),
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
        for (book, name) in books.iter().zip(names) {
            tell(name);
            let setting = set_book(&*engraver, book, &study.sounding.tempo, &paper, &title(&book.name))
                .map_err(|error| format!("{}: {error}", book.name))?;
            let bytes = pdf(&setting.pages).map_err(|error| format!("{}: {error}", book.name))?;
            save(&arguments.out.join("parts").join(format!("{name}.pdf")), &bytes)?;
            settings.push(Some(setting));
        }
        let reader = if score.about.concert_pitch { "Full score, at concert pitch" } else { "Full score, transposed" };
        let on = match arguments.score_paper {
            ScorePaper::A3 => Paper::SCORE_A3,
            ScorePaper::A2 => Paper::SCORE_A2,
        };
        let mut seen = |bars: usize| {
            tell(&format!("full score, bar {bars} of {}", score.bars.len()));
            ControlFlow::Continue(())
        };
        match set_score(&*engraver, score, &on, &title(reader), &mut seen) {
            Ok(setting) => {
                let bytes = pdf(&setting.pages).map_err(|error| format!("full score: {error}"))?;
                save(&arguments.out.join("score").join("score.pdf"), &bytes)?;
            }
            Err(error) => eprintln!("\rfull score: {error}"),
        }
        tell("");
        Ok(settings)
    }
}
