//! `ripieno balance`

use std::collections::BTreeMap;
use std::path::PathBuf;

use ripieno_formats::Limits;
use ripieno_instruments::printed;
use ripieno_score::Score;
use ripieno_sound::groups::parts_named;
use ripieno_study::acoustics::exposure::{CAUTION, Dose, schemes};
use ripieno_study::acoustics::{Day, EvenGrade, Grade, Plan, Room, Situation};
use ripieno_study::{Balance, FullChord, Help, Judged, MelodyBar, Spot, Study, analyse_file};
use serde_json::{Value, json};

use crate::chart::needs_notes;
use crate::library::print;

/// Arguments of `ripieno balance`.
#[derive(clap::Args)]
pub struct BalanceArguments {
    /// The score to read
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Only these bars, as printed, such as 40-56 or 40
    #[arg(long, value_name = "FIRST-LAST")]
    bars: Option<String>,
    /// Where it is heard
    #[arg(long, value_enum, default_value_t = Where::Hall)]
    situation: Where,
    /// With --situation stage: at the desk of this part instead of the conductor's
    #[arg(long, value_name = "PART")]
    at: Option<String>,
    /// With --situation mix: what the mix adds to each, in dB, such as "strings=0,horns=-6"; every part needs a level
    #[arg(long, value_name = "NAME=DB", value_delimiter = ',', allow_hyphen_values = true)]
    levels: Vec<String>,
    /// How to print
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Where {
    /// A seat in a concert hall, 15 m behind the conductor
    Hall,
    /// On the stage of that hall, at the conductor's place or a player's desk
    Stage,
    /// Sections recorded apart and mixed at the levels given
    Mix,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// Sentences and tables to read
    Text,
    /// Comma-separated values, a row for each bar
    Csv,
    /// All of it as one object
    Json,
}

/// Reads, analyses, weighs and prints.
pub fn run(arguments: &BalanceArguments) -> Result<(), String> {
    let study = needs_notes(analyse_file(&arguments.file, &Limits::default()).map_err(|error| error.to_string())?)?;
    let said = |what: String| format!("{}: {what}", arguments.file.display());
    let situation = situation(&study.score, arguments).map_err(said)?;
    let wanted = bars(&study, arguments.bars.as_deref()).map_err(said)?;
    let mut balance = study.balance(situation).map_err(|refused| said(refused.to_string()))?;
    balance.melody.retain(|told| wanted.contains(&told.bar));
    balance.chords.retain(|chord| wanted.contains(&chord.bar));
    balance.spots.retain(|spot| wanted.contains(&spot.worst));
    balance.judged.retain(|judged| wanted.contains(&judged.worst));
    print(&match arguments.format {
        Form::Text => text(&study, &balance),
        Form::Csv => csv(&study, &balance)?,
        Form::Json => format!("{:#}\n", object(&study, &balance)),
    })
}

fn situation(score: &Score, arguments: &BalanceArguments) -> Result<Situation, String> {
    if arguments.at.is_some() && arguments.situation != Where::Stage {
        return Err("a part’s desk is on the stage: add --situation stage, or leave --at out".to_owned());
    }
    if !arguments.levels.is_empty() && arguments.situation != Where::Mix {
        return Err("levels are those of a mix: add --situation mix, or leave --levels out".to_owned());
    }
    match arguments.situation {
        Where::Hall => Ok(Situation::hall()),
        Where::Stage => {
            let part = arguments.at.as_deref().map(|name| first_named(score, name)).transpose()?;
            Ok(Situation::Stage { room: Room::hall(), plan: Plan::ViolinsTogether, part })
        }
        Where::Mix if arguments.levels.is_empty() => Ok(Situation::Mix { gains_db: None }),
        Where::Mix => Ok(Situation::Mix { gains_db: Some(levels(score, &arguments.levels)?) }),
    }
}

fn first_named(score: &Score, name: &str) -> Result<usize, String> {
    parts_named(score, name)?.into_iter().next().ok_or_else(|| format!("the score has nobody called “{name}”"))
}

/// The level of each part; what is named later wins.
fn levels(score: &Score, given: &[String]) -> Result<Vec<f64>, String> {
    let mut levels: Vec<Option<f64>> = vec![None; score.parts.len()];
    for one in given {
        let wrong = || format!("“{one}” is no level; write a name, =, and decibels from -60 to 20, such as horns=-6");
        let (name, db) = one.rsplit_once('=').ok_or_else(wrong)?;
        let db: f64 = db.trim().parse().map_err(|_| wrong())?;
        if !(-60.0..=20.0).contains(&db) {
            return Err(wrong());
        }
        parts_named(score, name)?.into_iter().for_each(|part| levels[part] = Some(db));
    }
    let without = score.parts.iter().zip(&levels).filter(|(_, level)| level.is_none());
    let without: Vec<String> = without.map(|(part, _)| printed(&part.name)).collect();
    if !without.is_empty() {
        return Err(format!("the mix needs a level for every part; none is given for {}", without.join(", ")));
    }
    Ok(levels.into_iter().flatten().collect())
}

/// Played bars from the first printed with one number to the last with the other.
fn bars(study: &Study, asked: Option<&str>) -> Result<std::ops::Range<u32>, String> {
    let count = u32::try_from(study.sounding.bars.len()).unwrap_or(u32::MAX);
    let Some(asked) = asked else { return Ok(0..count) };
    let (first, last) = asked.split_once(['-', '–']).unwrap_or((asked, asked));
    let missing = |number: &str| {
        let ends = (study.bar_label(0), study.bar_label(count.saturating_sub(1)));
        format!("the score has no bar {number}; its bars are {} to {}", ends.0, ends.1)
    };
    let is = |bar: &u32, number: &str| study.bar_label(*bar) == number.trim();
    let from = (0..count).find(|bar| is(bar, first)).ok_or_else(|| missing(first))?;
    let to = (0..count).rev().find(|bar| is(bar, last)).ok_or_else(|| missing(last))?;
    if to < from {
        return Err(format!("bar {} comes before bar {}; give the earlier bar first", last.trim(), first.trim()));
    }
    Ok(from..to + 1)
}

fn name(study: &Study, part: usize) -> String {
    study.score.parts.get(part).map(|part| printed(&part.name)).unwrap_or_default()
}

fn names(study: &Study, parts: &[usize]) -> Vec<String> {
    parts.iter().map(|part| name(study, *part)).collect()
}

fn text(study: &Study, balance: &Balance) -> String {
    let mut out = format!(
        "{}\nHeard: {}. An estimate from published and remembered values, not a measurement.\n",
        study.title(),
        study.place(&balance.situation)
    );
    match balance.unmarked {
        0 => {}
        1 => out += "One note stands before its part’s first dynamic and is taken as mezzo forte.\n",
        more => out += &format!("{more} notes stand before their part’s first dynamic and are taken as mezzo forte.\n"),
    }
    out += "\nThe melody, with all who double it\n";
    for grade in [Grade::Covered, Grade::Hard, Grade::Among, Grade::Clear, Grade::Prominent] {
        let bars = balance.bars_graded(|of| of == grade);
        if !bars.is_empty() {
            out += &format!("  {:20} {:4} bars: {}\n", grade.to_string(), bars.len(), study.cite(&bars));
        }
    }
    out += &doubtful(study, balance);
    out += "\nWhere it is covered or hard to hear, and what would help\n";
    for spot in &balance.spots {
        let bars: Vec<u32> = spot.bars.clone().collect();
        out += &format!("  {}: {}\n", study.cite(&bars), spot.told(study));
    }
    out += "\nTwo verdicts: by rule, by estimate\n";
    for judged in &balance.judged {
        let bars: Vec<u32> = judged.bars.clone().collect();
        out += &format!(
            "  {} (bar {}, {} against {}): {}\n",
            study.cite(&bars),
            study.bar_label(judged.worst),
            name(study, judged.part),
            study.called(&judged.against),
            judged.verdicts.told
        );
    }
    out += "\nFull chords, without the melody\n";
    for grade in [EvenGrade::Even, EvenGrade::Fair, EvenGrade::Uneven] {
        let bars = balance.bars_of_chords(grade);
        if !bars.is_empty() {
            out += &format!("  {:20} {:4} bars: {}\n", grade.to_string(), bars.len(), study.cite(&bars));
        }
    }
    for chord in balance.chords.iter().filter(|chord| chord.evenness.grade() == EvenGrade::Uneven) {
        let sections: Vec<String> =
            chord.evenness.sections.iter().map(|share| format!("{} {:+.0}", share.section, share.above_mean)).collect();
        out += &format!(
            "  {}: {:.1} phon spread over {} tones; against the mean: {}\n",
            study.bar_label(chord.bar),
            chord.evenness.spread,
            chord.evenness.tones.len(),
            sections.join(", ")
        );
    }
    out += &hints(study, balance);
    out + &exposed(study, balance)
}

/// The chords that grate most, and those whose sections lie furthest apart in colour: a tenth of all, five at most.
fn hints(study: &Study, balance: &Balance) -> String {
    let most = |by: &dyn Fn(&FullChord) -> f64| -> String {
        let mut chords: Vec<&FullChord> = balance.chords.iter().collect();
        chords.sort_by(|a, b| by(b).total_cmp(&by(a)).then(a.bar.cmp(&b.bar)));
        let mut bars: Vec<u32> = chords.iter().take((chords.len() / 10).clamp(1, 5)).map(|chord| chord.bar).collect();
        bars.sort_unstable();
        study.cite(&bars).to_string()
    };
    if balance.chords.len() < 2 {
        return String::new();
    }
    format!(
        "  Hints: the roughest chords are in bars {}; sections differ most in colour, and so blend least, in bars {}.\n",
        most(&|chord| chord.evenness.roughness),
        most(&|chord| chord.evenness.colours_apart)
    )
}

/// Bars in which the next grade is as likely, by grades.
fn doubtful(study: &Study, balance: &Balance) -> String {
    let mut by: BTreeMap<(Grade, Grade), Vec<u32>> = BTreeMap::new();
    for told in &balance.melody {
        if let Some(or) = told.audible.or() {
            by.entry((told.audible.grade().min(or), told.audible.grade().max(or))).or_default().push(told.bar);
        }
    }
    let mut out = String::new();
    if !by.is_empty() {
        out += "  The estimate is too uncertain to tell these grades apart:\n";
    }
    for ((lower, upper), bars) in by {
        out += &format!("    {lower} or {upper}: {}\n", study.cite(&bars));
    }
    out
}

fn exposed(study: &Study, balance: &Balance) -> String {
    let Ok(desks) = study.exposure(&balance.situation, Day::default()) else { return String::new() };
    let day = Day::default();
    let mut out = format!(
        "\nExposure at each desk over a day with this piece ({} h of rehearsal, {:.0} % of it playing, and {} h of performance)\n{CAUTION}\n",
        day.rehearsal,
        day.playing * 100.0,
        day.performance
    );
    out += &format!(
        "  {:24} {:>14} {:>14}   dose in % by (from one standard deviation less to one more)\n",
        "", "playing dB(A)", "8 h dB(A)"
    );
    let schemes = schemes();
    for desk in desks {
        let doses: Vec<String> = schemes
            .iter()
            .zip(&desk.doses)
            .map(|(scheme, dose)| {
                let Dose { percent, least, most } = dose.rounded();
                format!("{} {:.0}: {percent:.0} ({least:.0}–{most:.0})", scheme.name, scheme.criterion)
            })
            .collect();
        out += &format!(
            "  {:24} {:>14} {:>14}   {}\n",
            name(study, desk.part),
            format!("{:.0} ± {:.0}", desk.playing, desk.spread),
            format!("{:.0} ± {:.0}", desk.daily, desk.spread),
            doses.join(", ")
        );
    }
    out
}

fn csv(study: &Study, balance: &Balance) -> Result<String, String> {
    let failed = |error: csv::Error| format!("the table cannot be printed: {error}");
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record([
        "bar_index",
        "bar",
        "melody_in",
        "margin_db",
        "margin_spread_db",
        "grade",
        "or_grade",
        "covered_share",
        "masked_by",
        "chord_tones",
        "chord_spread_phon",
        "chord_grade",
        "chord_roughness",
        "colours_apart_erb",
        "sections_above_mean",
    ])
    .map_err(failed)?;
    for bar in balance.bars() {
        let (told, chord) = (balance.melody_in(bar), balance.chord_in(bar));
        let of = |value: &dyn Fn(&MelodyBar) -> String| told.map(value).unwrap_or_default();
        let of_chord = |value: &dyn Fn(&FullChord) -> String| chord.map(value).unwrap_or_default();
        let row = [
            bar.to_string(),
            study.bar_label(bar),
            of(&|told| name(study, told.part)),
            of(&|told| format!("{:.1}", told.audible.margin_db)),
            of(&|told| format!("{:.1}", told.audible.spread_db)),
            of(&|told| told.audible.grade().to_string()),
            of(&|told| told.audible.or().map(|or| or.to_string()).unwrap_or_default()),
            of(&|told| format!("{:.2}", told.audible.covered)),
            of(&|told| {
                let names =
                    told.maskers.iter().take(3).map(|masker| format!("{} {:.1}", study.called(&masker.parts), masker.gain_db));
                names.collect::<Vec<_>>().join("; ")
            }),
            of_chord(&|chord| chord.evenness.tones.len().to_string()),
            of_chord(&|chord| format!("{:.1}", chord.evenness.spread)),
            of_chord(&|chord| chord.evenness.grade().to_string()),
            of_chord(&|chord| format!("{:.2}", chord.evenness.roughness)),
            of_chord(&|chord| format!("{:.1}", chord.evenness.colours_apart)),
            of_chord(&|chord| {
                let shares = chord.evenness.sections.iter().map(|share| format!("{} {:+.1}", share.section, share.above_mean));
                shares.collect::<Vec<_>>().join("; ")
            }),
        ];
        csv.write_record(row).map_err(failed)?;
    }
    let bytes = csv.into_inner().map_err(|error| format!("the table cannot be printed: {error}"))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// To a tenth.
fn tenth(value: f64) -> Value {
    json!((value * 10.0).round() / 10.0)
}

fn object(study: &Study, balance: &Balance) -> Value {
    let maskers = |maskers: &[ripieno_study::Masking]| -> Value {
        maskers.iter().map(|masker| json!({ "called": study.called(&masker.parts), "parts": names(study, &masker.parts), "gain_db": tenth(masker.gain_db) })).collect()
    };
    let melody = |told: &MelodyBar| {
        json!({
            "bar_index": told.bar, "bar": study.bar_label(told.bar), "part": name(study, told.part),
            "margin_db": tenth(told.audible.margin_db), "spread_db": tenth(told.audible.spread_db),
            "grade": told.audible.grade().to_string(), "or_grade": told.audible.or().map(|or| or.to_string()), "covered_share": tenth(told.audible.covered), "maskers": maskers(&told.maskers),
        })
    };
    let spot = |spot: &Spot| {
        let help = |help: &Help| {
            json!({
                "what": help.what, "first_bar": study.bar_label(help.bars.start), "last_bar": study.bar_label(help.bars.end - 1),
                "gain_db": tenth(help.gain_db), "margin_db": tenth(help.margin_db),
            })
        };
        let help: Vec<Value> = spot.help.iter().map(help).collect();
        json!({
            "first_bar": study.bar_label(spot.bars.start), "last_bar": study.bar_label(spot.bars.end - 1),
            "worst_bar": study.bar_label(spot.worst), "part": name(study, spot.part), "grade": spot.audible.grade().to_string(),
            "margin_db": tenth(spot.audible.margin_db), "maskers": maskers(&spot.maskers), "help": help, "told": spot.told(study),
        })
    };
    let judged = |judged: &Judged| {
        let ruled = judged.verdicts.ruled.as_ref().map(|ruled| {
            json!({ "author": ruled.author, "melody": ruled.first, "against": ruled.second, "stands": ruled.stands.to_string(), "rules": ruled.rules })
        });
        let estimated = &judged.verdicts.estimated;
        json!({
            "first_bar": study.bar_label(judged.bars.start), "last_bar": study.bar_label(judged.bars.end - 1),
            "bar": study.bar_label(judged.worst), "part": name(study, judged.part), "against": study.called(&judged.against),
            "by_rule": ruled,
            "by_estimate": {
                "loudness_phon": tenth(estimated.loudness_phon), "power_db": tenth(estimated.power_db),
                "spread_db": tenth(estimated.spread_db), "stands": estimated.stands.to_string(),
            },
            "told": judged.verdicts.told,
        })
    };
    let chord = |chord: &FullChord| {
        let sections: Vec<Value> = (chord.evenness.sections.iter())
            .map(|share| json!({ "section": share.section, "above_mean_phon": tenth(share.above_mean), "spread_phon": tenth(share.spread), "tones": share.tones }))
            .collect();
        json!({
            "bar_index": chord.bar, "bar": study.bar_label(chord.bar), "tones": chord.evenness.tones.len(),
            "spread_phon": tenth(chord.evenness.spread), "grade": chord.evenness.grade().to_string(), "sections": sections,
            "roughness": (chord.evenness.roughness * 100.0).round() / 100.0, "colours_apart_erb": tenth(chord.evenness.colours_apart),
        })
    };
    let schemes = schemes();
    let desks = study.exposure(&balance.situation, Day::default()).ok().map(|desks| {
        let desk =
            |desk: &ripieno_study::acoustics::Exposed| {
                let doses: Vec<Value> = (schemes.iter().zip(&desk.doses))
                .map(|(scheme, dose)| json!({
                    "scheme": scheme.name, "what": scheme.what, "criterion_dba": scheme.criterion,
                    "percent": dose.percent.round(), "least_percent": dose.least.round(), "most_percent": dose.most.round(),
                }))
                .collect();
                json!({
                    "part": name(study, desk.part), "playing_dba": tenth(desk.playing), "daily_dba": tenth(desk.daily),
                    "spread_db": desk.spread, "doses": doses,
                })
            };
        json!({ "caution": CAUTION, "desks": desks.iter().map(desk).collect::<Vec<_>>() })
    });
    json!({
        "title": study.title(), "situation": study.place(&balance.situation), "unmarked_notes": balance.unmarked,
        "melody": balance.melody.iter().map(melody).collect::<Vec<_>>(),
        "spots": balance.spots.iter().map(spot).collect::<Vec<_>>(),
        "verdicts": balance.judged.iter().map(judged).collect::<Vec<_>>(),
        "chords": balance.chords.iter().map(chord).collect::<Vec<_>>(),
        "exposure": desks,
    })
}
