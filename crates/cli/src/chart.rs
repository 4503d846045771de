//! `ripieno chart`: charts of scores that exist only on paper.

use std::path::{Path, PathBuf};

use clap::Subcommand;
use ripieno_casting::Lineup;
use ripieno_chart::{Chart, ChartPart, Run};
use ripieno_formats::{Limits, load};
use ripieno_score::{Crotchets, PlayerCount};
use ripieno_study::{Grain, Study};

use crate::cast::studied;
use crate::library::print;
use crate::save::save;

/// Arguments of `ripieno chart`.
#[derive(clap::Args)]
pub struct ChartArguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// Begin a chart: line-up and bars, to be filled with rows in a text editor or on the desk
    New(NewArguments),
    /// Chart a score that can be read, so that it can be laid beside a chart made by hand
    From(FromArguments),
    /// Say everything that is wrong with charts, and what they hold
    Check {
        /// Charts to check
        #[arg(required = true, value_name = "CHART")]
        files: Vec<PathBuf>,
    },
}

#[derive(clap::Args)]
struct NewArguments {
    /// The chart to write
    #[arg(value_name = "NEW_FILE")]
    file: PathBuf,
    /// A line-up (docs/casting.md): its sections become the parts
    #[arg(long, value_name = "FILE", required_unless_present = "parts")]
    lineup: Option<PathBuf>,
    /// The parts instead, from the top of the page down, with commas: "Flute 1.2, Oboe 1.2, Horn 1.2, Horn 3.4"
    #[arg(long, value_name = "NAMES", conflicts_with = "lineup", value_delimiter = ',')]
    parts: Vec<String>,
    /// How many bars
    #[arg(long, value_name = "N")]
    bars: u32,
    /// Metre of the first bar
    #[arg(long, default_value = "4/4")]
    metre: String,
    /// Length of an upbeat in crotchets, which is bar 0
    #[arg(long, value_name = "CROTCHETS")]
    upbeat: Option<Crotchets>,
    /// Tempo in crotchets a minute
    #[arg(long)]
    tempo: Option<f64>,
    /// Title
    #[arg(long, default_value = "")]
    title: String,
    /// Composer
    #[arg(long, default_value = "")]
    composer: String,
    /// Write over a file that is there already
    #[arg(long)]
    overwrite: bool,
}

#[derive(clap::Args)]
struct FromArguments {
    /// The score to read
    #[arg(value_name = "SCORE")]
    file: PathBuf,
    /// The chart to write; without it the chart is printed
    #[arg(long, value_name = "NEW_FILE")]
    out: Option<PathBuf>,
    /// Whole bars, as a person charts: what to lay beside a chart made by hand. Without it every entry and rest is kept to the moment
    #[arg(long)]
    whole_bars: bool,
}

/// A study for what needs its notes.
pub fn needs_notes(study: Study) -> Result<Study, String> {
    if study.is_chart() {
        let what = "this is a chart, which tells who does what and holds no notes; give the score itself here";
        return Err(format!("{}: {what}", study.file));
    }
    Ok(study)
}

/// Does what is asked.
pub fn run(arguments: &ChartArguments) -> Result<(), String> {
    match &arguments.what {
        What::New(arguments) => new(arguments),
        What::From(arguments) => from(arguments),
        What::Check { files } => check(files),
    }
}

fn new(arguments: &NewArguments) -> Result<(), String> {
    if arguments.file.exists() && !arguments.overwrite {
        return Err(format!("{}: is there already; give another name, or --overwrite", arguments.file.display()));
    }
    let parts = match &arguments.lineup {
        Some(path) => of_lineup(path)?,
        None => ChartPart::of_names(&arguments.parts),
    };
    let mut bars = Run::begin(arguments.bars, &arguments.metre, arguments.upbeat);
    bars[0].tempo = arguments.tempo;
    let chart = Chart { title: arguments.title.clone(), composer: arguments.composer.clone(), parts, bars, ..Chart::default() };
    let text = chart.write();
    // What is begun has to be a chart.
    Chart::read(&arguments.file.display().to_string(), &text).map_err(|faults| sentences(&faults))?;
    save(&arguments.file, text.as_bytes())?;
    print(&format!(
        "{}: {} parts, {} bars. Add rows (docs/charts.md), or open it on the desk\n",
        arguments.file.display(),
        chart.parts.len(),
        chart.bars.iter().map(|run| run.count).sum::<u32>()
    ))
}

fn of_lineup(path: &Path) -> Result<Vec<ChartPart>, String> {
    let name = path.display().to_string();
    let text = std::fs::read_to_string(path).map_err(|error| format!("{name}: the line-up cannot be read ({error})"))?;
    let lineup = Lineup::from_toml(&name, &text).map_err(|error| error.to_string())?;
    let part = |section: &ripieno_casting::LineupSection| ChartPart {
        name: section.name.clone(),
        instrument: section.chairs.first().map_or_else(String::new, |chair| chair.instrument.id.clone()),
        players: Some(PlayerCount::exactly(section.chairs.iter().map(|chair| chair.people).sum())),
        body: Some(section.is_body),
        ..ChartPart::default()
    };
    Ok(lineup.sections.iter().map(part).collect())
}

fn from(arguments: &FromArguments) -> Result<(), String> {
    let study = studied(&arguments.file)?;
    let chart = study.chart(if arguments.whole_bars { Grain::Bars } else { Grain::Exact });
    let text = chart.write();
    match &arguments.out {
        None => print(&text),
        Some(path) => {
            save(path, text.as_bytes())?;
            print(&format!("{}: {} parts, {} rows\n", path.display(), chart.parts.len(), chart.rows.len()))
        }
    }
}

fn sentences(findings: &[ripieno_formats::Finding]) -> String {
    findings.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

fn check(files: &[PathBuf]) -> Result<(), String> {
    let mut faults = Vec::new();
    for path in files {
        let (name, bytes) = match load(path, &Limits::default()) {
            Ok(loaded) => loaded,
            Err(error) => {
                faults.push(error.to_string());
                continue;
            }
        };
        let Ok(text) = String::from_utf8(bytes) else {
            faults.push(format!("{name}: the chart is not written in UTF-8. Save it as UTF-8 text."));
            continue;
        };
        match Chart::read(&name, &text) {
            Err(found) => faults.push(sentences(&found)),
            Ok((chart, settled, notes)) => {
                notes.iter().for_each(|note| eprintln!("{note}"));
                let charted = settled.sounding.notes.of_part.iter().filter(|rows| !rows.is_empty()).count();
                print(&format!(
                    "{name}: {} of {} parts charted, {} bars, {} rows; nothing is wrong\n",
                    charted,
                    chart.parts.len(),
                    settled.score.bars.len(),
                    chart.rows.len()
                ))?;
            }
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.join("\n")) }
}
