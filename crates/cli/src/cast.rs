//! `ripieno cast`: from a sketch and a line-up to a full score.

use std::path::{Path, PathBuf};

use ripieno_casting::{
    Cast, Habits, Lineup, Options, Plan, Sketch, carried_over, cast, explain, proposals, reduce, side_by_side,
};
use ripieno_deliver::Unresolved;
use ripieno_formats::Limits;
use ripieno_formats::excerpt::bars_named;
use ripieno_players::{CAUTION, Group, Objection, Severity, grouped, who};
use ripieno_score::Score;
use ripieno_study::{Profile, Study, analyse_file};

use crate::deliver::{self, DeliverArguments};
use crate::library::print;
use crate::open::open;
use crate::save::{is_musicxml, save, save_score, spare};

/// Arguments of `ripieno cast`.
#[derive(clap::Args)]
pub struct CastArguments {
    /// The sketch: MusicXML, MIDI or kern. Staves named Melody, Chords, Bass, Figure, Rhythm, Pedal or Answer are taken at their word; without any such name the roles are found
    #[arg(value_name = "SKETCH")]
    sketch: PathBuf,
    /// Who is there: a line-up in TOML
    #[arg(long, value_name = "FILE")]
    lineup: PathBuf,
    /// Who does what, phrase by phrase: a plan in TOML; what it leaves open with `fill = true` is filled in
    #[arg(long, value_name = "FILE")]
    plan: Option<PathBuf>,
    /// Cast as this practice does: a score, or a profile saved by `ripieno profile`. Without it, as orchestral scores usually do
    #[arg(long, value_name = "SCORE_OR_PROFILE")]
    like: Option<PathBuf>,
    /// Take over who does what from a passage of this score (--bars): sections do what their like do there
    #[arg(long, value_name = "SCORE", requires = "bars", conflicts_with = "plan")]
    model: Option<PathBuf>,
    /// The bars of the model by their printed numbers: 40-56
    #[arg(long, value_name = "BARS", requires = "model")]
    bars: Option<String>,
    /// The score to write, as MusicXML; further proposals get a number before the ending
    #[arg(long, value_name = "NEW_FILE")]
    out: PathBuf,
    /// How many different proposals
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=9))]
    proposals: u8,
    /// Seed of the proposals after the first
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    seed: u64,
    /// Write the plan of the first proposal, to be changed by hand
    #[arg(long, value_name = "FILE")]
    save_plan: Option<PathBuf>,
    /// Also take the first proposal apart for the stands, into this folder: parts, full score, lists, sound
    #[arg(long, value_name = "FOLDER")]
    deliver: Option<PathBuf>,
    /// Write over an earlier delivery in that folder, and remove of it what is made no more
    #[arg(long, requires = "deliver")]
    replace: bool,
    /// Refuse a file about which the reader has to warn, instead of mending it
    #[arg(long)]
    strict: bool,
}

/// Casts, writes the scores and prints who does what and why.
pub fn run(arguments: &CastArguments) -> Result<(), String> {
    is_musicxml(&arguments.out, "casts")?;
    spares_sources(arguments)?;
    if let Some(folder) = &arguments.deliver {
        deliver::may_write(folder, arguments.replace)?;
    }
    let sketch = read_sketch(&arguments.sketch, arguments.strict)?;
    if sketch.strands.iter().all(|strand| strand.notes.is_empty()) {
        return Err(format!("{}: nothing with a definite pitch sounds in this sketch", arguments.sketch.display()));
    }
    let lineup = lineup(&arguments.lineup)?;
    let plan = match (&arguments.plan, &arguments.model) {
        (None, None) => Plan::default(),
        (None, Some(model)) => carried(model, arguments.bars.as_deref().unwrap_or_default(), &sketch, &lineup)?,
        (Some(file), _) => {
            Plan::from_toml(&file.display().to_string(), &text(file)?, &sketch, &lineup).map_err(|error| error.to_string())?
        }
    };
    let habits = arguments.like.as_deref().map_or_else(|| Ok(Habits::usual()), habits)?;
    let options = Options { seed: arguments.seed, ..Options::default() };
    let count = usize::from(arguments.proposals);
    let casts: Vec<Cast> = if count == 1 {
        vec![cast(&sketch, &lineup, &plan, &habits, &options)]
    } else {
        proposals(&sketch, &lineup, &plan, &habits, &options, count)
    };
    for (n, cast) in casts.iter().enumerate() {
        let out = path_of(&arguments.out, n);
        let score = cast.score(&sketch, &lineup);
        save_score(&out, &score)?;
        let idea = if cast.idea.is_empty() { String::new() } else { format!(", {}", cast.idea) };
        print(&format!("{}: proposal {} of {count}{idea}\n{}", out.display(), n + 1, explain(&sketch, &lineup, cast)))?;
        print(&objected(&score, &cast.objections))?;
    }
    if casts.len() > 1 {
        print(&side_by_side(&lineup, &casts))?;
    }
    if let (Some(file), Some(first)) = (&arguments.save_plan, casts.first()) {
        save(file, first.plan.to_toml(&sketch, &lineup).as_bytes())?;
    }
    match &arguments.deliver {
        Some(folder) => {
            let estimated = casts.first().map(|first| estimated(&sketch, first)).unwrap_or_default();
            deliver::run(&DeliverArguments::all(&arguments.out, folder, arguments.replace, estimated), Some(&lineup))
        }
        None => Ok(()),
    }
}

/// The file of a proposal, counted from 0: further ones have their number before the ending.
fn path_of(out: &Path, proposal: usize) -> PathBuf {
    let ending = out.extension().unwrap_or_default().to_string_lossy();
    if proposal == 0 { out.to_owned() } else { out.with_extension(format!("{}.{ending}", proposal + 1)) }
}

/// Refuses to write over what is read, or one thing written over another.
fn spares_sources(arguments: &CastArguments) -> Result<(), String> {
    let mut read: Vec<&Path> = vec![&arguments.sketch, &arguments.lineup];
    read.extend([&arguments.plan, &arguments.model, &arguments.like].into_iter().flatten().map(PathBuf::as_path));
    let written: Vec<PathBuf> = (0..usize::from(arguments.proposals)).map(|proposal| path_of(&arguments.out, proposal)).collect();
    if let Some(plan) = &arguments.save_plan {
        spare(plan, &read)?;
        if written.contains(plan) {
            return Err(format!("{}: is to hold a cast and a plan; give one of them another name", plan.display()));
        }
    }
    written.iter().try_for_each(|out| spare(out, &read))
}

/// What casting estimates and nobody has objected to, as points for the proof list.
fn estimated(sketch: &Sketch, cast: &Cast) -> Vec<Unresolved> {
    let points = cast.covered.iter();
    points.map(|one| Unresolved::of_all(one.named(sketch), one.what(), one.remedy()).at(one.bars.start)).collect()
}

/// Faults and cautions listed after a proposal.
const MOST_OBJECTIONS: usize = 12;

/// What the players of the line-up would object to, the gravest first.
fn objected(score: &Score, found: &[Objection]) -> String {
    let grave: Vec<Group> = grouped(found).into_iter().filter(|group| group.first.severity != Severity::Note).collect();
    let mut text = format!("players: {} objections\n", found.len());
    for group in grave.iter().take(MOST_OBJECTIONS) {
        let one = &group.first;
        let (who, bars) = (who(score, one), group.bars_text(score));
        text.push_str(&format!("  {} {}, bars {bars} ({}): {}. {}.\n", one.severity, who, one.kind, one.reason, one.remedy));
    }
    match grave.len().saturating_sub(MOST_OBJECTIONS) {
        0 => {}
        more => text.push_str(&format!("  and {more} more; `ripieno check` lists all\n")),
    }
    text + &format!("{CAUTION}\n")
}

fn carried(model: &Path, bars: &str, sketch: &Sketch, lineup: &Lineup) -> Result<Plan, String> {
    let study = studied(model)?;
    let (first, last) = bars_named(&study.score, bars).map_err(|error| format!("{}: {error}", model.display()))?;
    Ok(carried_over(sketch, lineup, &study.score, &study.roles.roles, first.at()..last.at() + 1))
}

/// A line-up from its file.
pub(crate) fn lineup(file: &Path) -> Result<Lineup, String> {
    Lineup::from_toml(&file.display().to_string(), &text(file)?).map_err(|error| error.to_string())
}

fn text(file: &Path) -> Result<String, String> {
    std::fs::read_to_string(file).map_err(|error| format!("{}: cannot be read ({error})", file.display()))
}

/// The sketch by the names of its staves, else by the roles found in it.
fn read_sketch(file: &Path, strict: bool) -> Result<Sketch, String> {
    let Some(reading) = open(file, strict) else { return Err(String::new()) };
    if let Some(sketch) = Sketch::by_names(reading.score) {
        return Ok(sketch);
    }
    let study = studied(file)?;
    let bars = 0..study.score.bars.len();
    Ok(reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars))
}

pub(crate) fn studied(file: &Path) -> Result<Study, String> {
    analyse_file(file, &Limits::default()).map_err(|error| error.to_string())
}

/// Habits of a saved profile, or of a score studied for it.
fn habits(file: &Path) -> Result<Habits, String> {
    let profile = if file.extension().is_some_and(|ending| ending == "json") {
        Profile::from_json(&text(file)?).map_err(|error| format!("{}: {error}", file.display()))?
    } else {
        studied(file)?.profile(false)
    };
    Ok(Habits::of(&profile, |_| false))
}
