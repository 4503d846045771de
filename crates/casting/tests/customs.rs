//! What players are for: laws over all line-ups of the demo and its three sketches. Common practice on which the handbooks agree (from memory), as an orchestrator who read our drafts asked for it.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use ripieno_casting::{Cast, Habits, Lineup, Options, PhrasePlan, Plan, Seat, Sketch, Task, cast, reduce};
use ripieno_formats::Limits;
use ripieno_texture::Role;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

/// Bars 35 to 45 (ff), 51 to 66 (p to mf) and 81 to 100 (ff) of the demo.
fn sketches() -> [Sketch; 3] {
    let study = ripieno_study::analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let bars = |number: &str| study.score.bars.iter().position(|bar| &*bar.number == number).unwrap();
    [("35", "45"), ("51", "66"), ("81", "100")]
        .map(|(from, to)| reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars(from)..bars(to) + 1))
}

fn lineups() -> Vec<(String, Lineup)> {
    let mut names: Vec<PathBuf> = std::fs::read_dir(demo("lineups")).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    let read = |path: PathBuf| {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let lineup = Lineup::from_toml("l.toml", &std::fs::read_to_string(path).unwrap()).unwrap();
        (name, lineup)
    };
    names.into_iter().map(read).collect()
}

/// A line-up, a sketch, and its first proposal.
struct Case {
    place: String,
    lineup: Lineup,
    sketch: usize,
    done: Cast,
}

fn cases(sketches: &[Sketch]) -> Vec<Case> {
    let mut found = Vec::new();
    for (name, lineup) in lineups() {
        for (sketch, score) in sketches.iter().enumerate() {
            let done = cast(score, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
            found.push(Case { place: format!("{name}, sketch {sketch}"), lineup: lineup.clone(), sketch, done });
        }
    }
    found
}

impl Case {
    fn kind(&self, task: &Task) -> &'static str {
        self.lineup.sections[task.section].kind
    }

    fn strings(&self) -> bool {
        self.lineup.sections.iter().any(|section| section.is_body)
    }

    fn seats(&self) -> Vec<Seat> {
        let chairs = |section: usize| (0..self.lineup.sections[section].chairs.len()).map(move |chair| (section, chair));
        (0..self.lineup.sections.len()).flat_map(chairs).collect()
    }
}

fn playing(phrase: &PhrasePlan) -> impl Iterator<Item = &Task> {
    phrase.tasks.iter().filter(|task| task.strand.is_some())
}

fn with(phrase: &PhrasePlan, role: Role) -> impl Iterator<Item = &Task> {
    playing(phrase).filter(move |task| task.role == role)
}

#[test]
fn players_do_what_they_are_for() {
    let sketches = sketches();
    for case in cases(&sketches) {
        let (place, sketch) = (&case.place, &sketches[case.sketch]);
        let loud = case.sketch != 1;
        let mut left = Vec::new();
        for phrase in &case.done.plan.phrases {
            let bars = &phrase.bars;
            for task in playing(phrase) {
                let deep = ["tubas", "double basses"].contains(&case.kind(task));
                assert!(
                    !(deep && task.role == Role::Melody && task.octave_heard() < 0),
                    "{place}, {bars:?}: {} take the tune down",
                    case.kind(task)
                );
                let bass = with(phrase, Role::Bass).next().is_some();
                assert!(
                    !(bass && case.kind(task) == "double basses") || matches!(task.role, Role::Bass | Role::Pedal),
                    "{place}, {bars:?}: double basses have {:?}",
                    task.role
                );
                let heavy = ["trumpets", "trombones", "tubas"].contains(&case.kind(task));
                assert!(
                    !(heavy && !loud && case.strings() && task.role == Role::Melody),
                    "{place}, {bars:?}: {} have a soft tune",
                    case.kind(task)
                );
            }
            for task in phrase.tasks.iter().filter(|task| task.strand.is_none()) {
                let body = case.lineup.sections[task.section].is_body;
                assert!(!(body && task.why.contains("cover")), "{place}, {bars:?}: {} are sent out", case.kind(task));
            }
            // The trumpets or cornets of a band lead where it is loud.
            let bright = |task: &&Task| ["trumpets", "cornets"].contains(&case.kind(task));
            let accompanies = |task: &Task| !matches!(task.role, Role::Melody | Role::Bass | Role::Pedal);
            if loud && !case.strings() && !with(phrase, Role::Melody).any(|task| bright(&task)) {
                left.extend(playing(phrase).filter(bright).filter(|task| accompanies(task)).map(|_| bars.clone()).next());
            }
        }
        assert!(left.is_empty(), "{place}: trumpets accompany others' tune in {left:?}");
        // A loud end has everybody: nobody rests for the lips, and the last bar is as full as the others.
        if loud {
            let last = case.done.plan.phrases.last().unwrap();
            assert!(last.tasks.iter().all(|task| !task.why.contains("lips")), "{place}: rests at the end");
            let sounding = |bar: usize| {
                let at = sketch.bar_start(bar);
                let sounds = |seat: &Seat| case.done.notes_of(*seat).iter().any(|note| note.onset <= at && at < note.end());
                case.seats().iter().filter(|seat| sounds(seat)).count()
            };
            let bars = sketch.score.bars.len();
            let all: usize = (0..bars).map(sounding).sum();
            assert!(
                sounding(bars - 1) * bars * 10 >= all * 9 || case.strings(),
                "{place}: {} sound in the last bar, {all} in all {bars}",
                sounding(bars - 1)
            );
        }
    }
}

/// Who plays along in a rest doubles somebody, within reach; and nobody who needs breath has a figure of six notes a second for more than two bars on end,
/// unless nobody else has it: then for no longer than a breath (fourteen seconds, `breath.rs`).
#[test]
fn fills_double_others_and_quick_figures_are_shared() {
    let sketches = sketches();
    let mut filled = 0;
    for case in cases(&sketches) {
        let (place, sketch) = (&case.place, &sketches[case.sketch]);
        for (planned, phrase) in case.done.plan.phrases.iter().zip(&case.done.phrases) {
            for task in playing(planned).filter(|task| task.why.contains("doubling chords besides")) {
                for &chair in &task.chairs {
                    let seat = (task.section, chair);
                    let added = phrase.notes[&seat].iter().filter(|note| Some(note.line.strand) != task.strand);
                    for note in added {
                        filled += 1;
                        let same = |other: &ripieno_casting::CastNote| {
                            other.onset <= note.onset && note.onset < other.end() && (other.key() - note.key()) % 12 == 0
                        };
                        let others = phrase.notes.iter().filter(|(other, _)| **other != seat);
                        assert!(others.flat_map(|(_, notes)| notes).any(same), "{place}, {seat:?}: {note:?} doubles nobody");
                        assert!(
                            case.lineup.sections[seat.0].chairs[chair].reach.allows(note.key()),
                            "{place}, {seat:?}: {note:?}"
                        );
                    }
                }
            }
        }
        for seat in case.seats().into_iter().filter(|seat| !case.lineup.sections[seat.0].is_body) {
            let family = case.lineup.sections[seat.0].chairs[seat.1].instrument.family.name();
            if !["brass", "woodwind"].contains(&family) {
                continue;
            }
            let tempo = &sketch.sounding.tempo;
            let mut run: Option<(ripieno_score::Crotchets, ripieno_score::Crotchets)> = None;
            for note in case.done.notes_of(seat) {
                let quick = (tempo.seconds(note.end()) - tempo.seconds(note.onset)) * 6.0 <= 1.0 + 1e-6;
                if !quick || sketch.strands[note.line.strand].role != Role::Figuration {
                    run = None;
                    continue;
                }
                let from = run.filter(|run| run.1 == note.onset).map_or(note.onset, |run| run.0);
                run = Some((from, note.end()));
                let bar = sketch.score.bars[1].length.to_f64();
                let long = (note.end() - from).to_f64();
                let seconds = tempo.seconds(note.end()) - tempo.seconds(from);
                let others = case.done.phrases.iter().flat_map(|phrase| &phrase.notes).filter(|(other, _)| **other != seat);
                let same = |other: &ripieno_casting::CastNote| (other.onset, other.line) == (note.onset, note.line);
                let alone = !others.flat_map(|(_, notes)| notes).any(same);
                assert!(
                    long <= 2.0 * bar + 1.0 || alone && seconds <= 14.0,
                    "{place}, {seat:?}: a quick figure for {long} crotchets to {:?}",
                    note.end()
                );
            }
        }
        // What is left out for breath is told with its bars, and nothing else of a figure is lost that somebody has.
        for (planned, phrase) in case.done.plan.phrases.iter().zip(&case.done.phrases) {
            for task in playing(planned).filter(|task| task.why.contains("; the end of bar")) {
                let (strand, span) = (task.strand.unwrap(), &sketch.score.bars[planned.bars.clone()]);
                let heard = |at| phrase.notes.values().flatten().any(|note| (note.onset, note.line.strand) == (at, strand));
                let told = |name: &str| {
                    let bars = case.done.remarks.iter().filter_map(|one| one.split_once(": for breath "));
                    bars.into_iter().any(|(bars, _)| bars.split([' ', ',']).any(|bar| bar == name))
                };
                for bar in span.iter().filter(|bar| !told(&bar.number)) {
                    let end = bar.start + bar.length;
                    let notes = sketch.strands[strand].notes.iter().filter(|note| bar.start <= note.onset && note.onset < end);
                    for note in notes {
                        assert!(heard(note.onset), "{place}, bar {}: {:?} is heard of nobody", bar.number, note.onset);
                    }
                }
            }
        }
    }
    assert!(filled > 0, "nobody ever plays along");
}
