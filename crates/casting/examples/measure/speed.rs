//! How long 160 bars for 18 brass players take.

use std::time::Instant;

use ripieno_casting::{Cast, Habits, Lineup, Options, Plan, Seat, Sketch, cast, changed, proposals, recast};
use ripieno_score::{Bar, Crotchets, Head, Metre, Note, NoteValue, Part, Pitch, Score, Step};
use ripieno_texture::Role;

use crate::Answer;

/// 160 bars of melody, chords in minims and bass.
fn long_sketch() -> Option<Sketch> {
    let four = Crotchets::whole(4);
    let mut score = Score::default();
    for bar in 0..160i64 {
        let mut new = Bar::new((bar + 1).to_string(), Crotchets::whole(4 * bar), four);
        new.metre = (bar == 0).then(|| Metre::simple(4, 4));
        score.bars.push(new);
    }
    let scale = [(Step::C, 0), (Step::D, 0), (Step::E, 0), (Step::F, 0), (Step::G, 0), (Step::A, 0), (Step::B, 0)];
    let pitch = |degree: i64, octave: i8| {
        let step = scale[usize::try_from(degree.rem_euclid(7)).unwrap_or(0)];
        Pitch::new(step.0, step.1, octave + i8::try_from(degree.div_euclid(7)).unwrap_or(0))
    };
    let mut part = |name: &str, notes: Vec<(i64, i64, Crotchets, Vec<Pitch>)>| {
        let mut part = Part { id: name.to_owned(), name: name.to_owned(), staves: 1, ..Part::default() };
        for (bar, at, duration, pitches) in notes {
            for (n, pitch) in pitches.into_iter().enumerate() {
                let mut flags = ripieno_score::NoteFlags::empty();
                flags.set(ripieno_score::NoteFlags::CHORD, n > 0);
                part.notes.push(Note {
                    bar: ripieno_score::BarIndex(u32::try_from(bar).unwrap_or(0)),
                    at: Crotchets::whole(at),
                    duration,
                    head: Head::Pitched(pitch),
                    value: NoteValue::of_length(duration, 1),
                    flags,
                    ..Note::default()
                });
            }
        }
        score.parts.push(part);
    };
    let roots = [0i64, 5, 3, 4, 0, 3, 1, 4, 5, 2, 3, 0, 1, 4, 0, 4];
    let root = |bar: i64, half: i64| roots[usize::try_from((bar * 2 + half) % 16).unwrap_or(0)];
    let bars = 0..160i64;
    part(
        "Melody",
        bars.clone()
            .flat_map(|bar| {
                (0..4).map(move |at| {
                    (bar, at, Crotchets::ONE, vec![pitch(root(bar, at / 2) + [0, 2, 4, 2][usize::try_from(at).unwrap_or(0)], 5)])
                })
            })
            .collect(),
    );
    part(
        "Chords",
        bars.clone()
            .flat_map(|bar| {
                (0..2).map(move |half| {
                    (bar, 2 * half, Crotchets::whole(2), [0, 2, 4].map(|third| pitch(root(bar, half) + third, 4)).to_vec())
                })
            })
            .collect(),
    );
    part(
        "Bass",
        bars.flat_map(|bar| (0..2).map(move |half| (bar, 2 * half, Crotchets::whole(2), vec![pitch(root(bar, half), 2)])))
            .collect(),
    );
    score.finish();
    Sketch::by_names(score)
}

const EIGHTEEN: &str = "name = \"eighteen brass\"\n[[section]]\nname = \"Horns in F\"\nplayers = 6\n[[section]]\nname = \"Trumpets in C\"\nplayers = 4\n[[section]]\nname = \"Trombones\"\nplayers = 4\n\
instruments = [{ player = 4, plays = \"Bass trombone\" }]\n[[section]]\nname = \"Euphoniums\"\nplayers = 2\n[[section]]\nname = \"Tubas\"\nplayers = 2\n";

pub fn speed() -> Answer {
    let sketch = long_sketch().ok_or("no sketch")?;
    let lineup = Lineup::from_toml("eighteen", EIGHTEEN).map_err(|error| error.to_string())?;
    let (habits, options) = (Habits::usual(), Options::default());
    let begin = Instant::now();
    let first = cast(&sketch, &lineup, &Plan::default(), &habits, &options);
    println!(
        "first proposal: {:.2} s for {} bars, {} players; {}",
        begin.elapsed().as_secs_f64(),
        sketch.score.bars.len(),
        lineup.people(),
        first.optimality.reason()
    );
    let told = [
        "busiest player",
        "longest stretch without a rest",
        "cautions found by players",
        "faults and cautions for breath or lips",
    ];
    for name in told {
        println!("{name}: {:.2}", first.criteria.get(name).unwrap_or(0.0));
    }
    for (section, found) in lineup.sections.iter().enumerate() {
        let rests = |phrase: &&ripieno_casting::PhraseCast| {
            (0..found.chairs.len()).all(|chair| phrase.notes.get(&(section, chair)).is_none_or(Vec::is_empty))
        };
        let length = sketch.score.length().to_f64();
        let plays = |chair: usize| -> f64 {
            first.notes_of((section, chair)).iter().map(|note| note.duration.to_f64()).sum::<f64>() / length
        };
        let shares: Vec<String> = (0..found.chairs.len()).map(|chair| format!("{:.2}", plays(chair))).collect();
        let resting = first.phrases.iter().filter(rests).count();
        println!(
            "{} rest in {resting} of {} phrases; each plays {} of the time",
            found.name,
            first.phrases.len(),
            shares.join(" ")
        );
    }
    let begin = Instant::now();
    let three = proposals(&sketch, &lineup, &Plan::default(), &habits, &options, 3);
    let differ = |a: &Cast, b: &Cast| changed(&a.plan, &b.plan).len();
    println!(
        "three proposals: {:.2} s; phrases that differ: {} {} {} of {}",
        begin.elapsed().as_secs_f64(),
        differ(&three[0], &three[1]),
        differ(&three[0], &three[2]),
        differ(&three[1], &three[2]),
        first.plan.phrases.len()
    );
    let mut plan = first.plan.clone();
    if let Some(task) = plan.phrases[10].tasks.iter_mut().find(|task| task.role == Role::Harmony) {
        task.close = 1.0;
    }
    let begin = Instant::now();
    let again = recast(&sketch, &lineup, &plan, &habits, &options, &first, &[10]);
    let seats: Vec<Seat> = (0..lineup.sections.len())
        .flat_map(|section| (0..lineup.sections[section].chairs.len()).map(move |chair| (section, chair)))
        .collect();
    let same = first
        .phrases
        .iter()
        .zip(&again.phrases)
        .filter(|(a, b)| seats.iter().all(|seat| a.notes.get(seat) == b.notes.get(seat)))
        .count();
    println!(
        "one phrase again: {:.3} s; phrases that stayed note for note: {same} of {}",
        begin.elapsed().as_secs_f64(),
        first.phrases.len()
    );
    Ok(())
}
