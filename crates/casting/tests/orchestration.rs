//! What an orchestrator would ask of a proposal: density, breath, balance, what is given up first, and what a practice adds.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::{BTreeMap, BTreeSet};

use ripieno_casting::{Cast, Habits, Lineup, Options, Plan, Seat, Sketch, cast, proposals};
use ripieno_formats::{Limits, read};
use ripieno_players::{Kind, Severity};
use ripieno_score::Articulations;
use ripieno_texture::Role;

/// What a staff has in a bar: chords of steps with their octaves, and how many crotchets each lasts.
type Bar = Vec<(Vec<(char, i32)>, i32)>;

/// A staff of a sketch: its name, its mark, and what it has in each bar, as (steps with octave, length in crotchets).
struct Staff<'a> {
    name: &'a str,
    mark: &'a str,
    bar: &'a dyn Fn(usize) -> Bar,
    /// Tied over every barline but each so-many-eth.
    held: usize,
}

fn sketch(bars: usize, staves: &[Staff<'_>]) -> Sketch {
    let part = |(id, staff): (usize, &Staff<'_>)| {
        let music: String = (0..bars)
            .map(|n| {
                let start = if n == 0 {
                    let mark = format!("<direction placement=\"below\"><direction-type><dynamics><{0}/></dynamics></direction-type></direction>", staff.mark);
                    let mark = if staff.mark.is_empty() { String::new() } else { mark };
                    format!("<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>{mark}")
                } else {
                    String::new()
                };
                let notes: String = (staff.bar)(n)
                    .into_iter()
                    .map(|(chord, length)| {
                        let kind = ["", "quarter", "half", "", "whole"][usize::try_from(length).unwrap()];
                        let (from, on) = (staff.held > 0 && n % staff.held > 0, staff.held > 0 && (n + 1) % staff.held > 0 && n + 1 < bars);
                        let tie = |edge: &str, there: bool| if there { format!("<tie type=\"{edge}\"/>") } else { String::new() };
                        let ties = tie("stop", from) + &tie("start", on);
                        let note = |(at, (step, octave)): (usize, (char, i32))| {
                            let chord = if at > 0 { "<chord/>" } else { "" };
                            format!("<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{length}</duration>{ties}<type>{kind}</type></note>")
                        };
                        chord.into_iter().enumerate().map(note).collect::<String>()
                    })
                    .collect();
                format!("<measure number=\"{}\">{start}{notes}</measure>", n + 1)
            })
            .collect();
        format!("<part id=\"P{id}\">{music}</part>")
    };
    let names: String = staves
        .iter()
        .enumerate()
        .map(|(id, staff)| format!("<score-part id=\"P{id}\"><part-name>{}</part-name></score-part>", staff.name))
        .collect();
    let parts: String = staves.iter().enumerate().map(part).collect();
    let text = format!("<score-partwise version=\"4.0\"><part-list>{names}</part-list>{parts}</score-partwise>");
    Sketch::by_names(read("sketch.musicxml", text.as_bytes(), &Limits::default()).unwrap().score).unwrap()
}

const CHORDS: [[char; 3]; 4] = [['C', 'E', 'G'], ['F', 'A', 'C'], ['G', 'B', 'D'], ['C', 'E', 'G']];

fn tune(n: usize) -> Bar {
    let [a, b, c] = CHORDS[n % 4];
    [a, b, c, b].into_iter().map(|step| (vec![(step, 5)], 1)).collect()
}

fn chords(n: usize) -> Bar {
    vec![(CHORDS[n % 4].into_iter().map(|step| (step, 4)).collect(), 2); 2]
}

fn bass(n: usize) -> Bar {
    vec![(vec![(CHORDS[n % 4][0], 2)], 2); 2]
}

/// Tune, chords and bass, each at its mark.
fn plain(bars: usize, marks: [&str; 3]) -> Sketch {
    let staff = |name, mark, bar| Staff { name, mark, bar, held: 0 };
    sketch(bars, &[staff("Melody", marks[0], &tune), staff("Chords", marks[1], &chords), staff("Bass", marks[2], &bass)])
}

const EIGHTEEN: &str = "[[section]]\nname = \"Horns in F\"\nplayers = 6\n[[section]]\nname = \"Trumpets in C\"\nplayers = 4\n[[section]]\nname = \"Trombones\"\nplayers = 4\n\
instruments = [{ player = 4, plays = \"Bass trombone\" }]\n[[section]]\nname = \"Euphoniums\"\nplayers = 2\n[[section]]\nname = \"Tubas\"\nplayers = 2\n";

fn lineup(text: &str) -> Lineup {
    Lineup::from_toml("l.toml", text).unwrap()
}

fn usual(sketch: &Sketch, lineup: &Lineup) -> Cast {
    cast(sketch, lineup, &Plan::default(), &Habits::usual(), &Options::default())
}

fn seats(lineup: &Lineup) -> Vec<Seat> {
    (0..lineup.sections.len()).flat_map(|at| (0..lineup.sections[at].chairs.len()).map(move |chair| (at, chair))).collect()
}

/// Share of the time in which a player sounds.
fn share(sketch: &Sketch, cast: &Cast, seat: Seat) -> f64 {
    cast.notes_of(seat).iter().map(|note| note.duration.to_f64()).sum::<f64>() / sketch.score.length().to_f64()
}

/// That brass rest as they play is a rule for practice (`endurance-rule` in `ripieno_players`); the limits here are those of its check, which must find nothing, and ours:
/// nobody plays more than nine tenths of the time, nor two windows of its `endurance.csv` (60 s each) on end.
#[test]
fn eighteen_brass_rest_and_breathe_through_a_long_piece() {
    for mark in ["", "p", "f"] {
        let (sketch, lineup) = (plain(96, [mark; 3]), lineup(EIGHTEEN));
        let done = usual(&sketch, &lineup);
        let stamina = |kind| matches!(kind, Kind::Breath | Kind::NoRest | Kind::Endurance);
        let found: Vec<_> = done.objections.iter().filter(|one| stamina(one.kind) && one.severity != Severity::Note).collect();
        assert!(found.is_empty(), "{mark}: {found:?}");
        for seat in seats(&lineup) {
            let share = share(&sketch, &done, seat);
            assert!(share < 0.9, "{mark}: {seat:?} plays {share:.2} of the time");
        }
        assert!(done.criteria.get("longest stretch without a rest").unwrap() <= 120.0, "{mark}");
        assert_eq!(done.criteria.get("chord tones sounded"), Some(1.0), "{mark}");
        assert_eq!(done.criteria.get("melody notes kept"), Some(1.0), "{mark}");
    }
}

/// At p one or two of a section have a line (handbooks: "1.", "a 2"; from memory), and few of a band play; at ff more do. Of four the open scores have 1.39 on a tune at up to mp,
/// 1.82 at ff (`examples/density.rs`).
#[test]
fn the_softer_the_fewer_play() {
    let lineup = lineup(EIGHTEEN);
    let sounding = |mark: &str| {
        let sketch = plain(32, [mark; 3]);
        let done = usual(&sketch, &lineup);
        let mut most = 0;
        for phrase in &done.plan.phrases {
            for task in phrase.tasks.iter().filter(|task| task.role == Role::Melody) {
                most = most.max(task.chairs.len());
            }
        }
        let all: f64 = seats(&lineup).iter().map(|&seat| share(&sketch, &done, seat)).sum();
        (all, most)
    };
    let [(soft, line), (middle, _), (loud, _), (most, _)] = ["p", "mf", "f", "ff"].map(sounding);
    assert!(soft < 12.0 && line <= 2, "{soft:.1} at p, {line} on the tune");
    assert!(soft + 1.0 < middle && middle < loud && loud <= most, "{soft:.1} {middle:.1} {loud:.1} {most:.1}");
}

/// Staggered breathing through what is held (common practice, from memory): two on a long pedal breathe at different times, each within what a breath of his lasts, and the parts have the marks.
#[test]
fn who_holds_on_together_breathes_in_turn() {
    let pedal = |_: usize| vec![(vec![('C', 2)], 4)];
    let staff = |name, bar, held| Staff { name, mark: "f", bar, held };
    let sketch = sketch(16, &[staff("Melody", &tune, 0), staff("Bass", &pedal, 8)]);
    let lineup = lineup("[[section]]\nname = \"Trumpets in C\"\nplayers = 2\n[[section]]\nname = \"Tubas\"\nplayers = 2\n");
    let text = "[[phrase]]\nbars = \"1-16\"\n[[phrase.task]]\nsection = \"Trumpets in C\"\nrole = \"melody\"\n[[phrase.task]]\nsection = \"Tubas\"\nrole = \"bass\"\n";
    let plan = Plan::from_toml("p.toml", text, &sketch, &lineup).unwrap();
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    let breaths = |chair: usize| -> BTreeSet<_> {
        done.notes_of((1, chair)).iter().filter(|note| note.breath).map(ripieno_casting::CastNote::end).collect()
    };
    let (first, second) = (breaths(0), breaths(1));
    assert!(first.len() > 2 && second.len() > 2, "{first:?} {second:?}");
    let end = sketch.score.length();
    assert!(first.intersection(&second).all(|at| *at == end), "{first:?} {second:?}");
    assert!(done.objections.iter().all(|one| one.severity == Severity::Note || !matches!(one.kind, Kind::Breath | Kind::NoRest)));
    let score = done.score(&sketch, &lineup);
    let marked = score.parts[2].notes.iter().filter(|note| note.articulations.contains(Articulations::BREATH_MARK)).count();
    assert!(marked + 1 >= first.len() && marked > 2, "{marked}");
    let says = |one: &&ripieno_score::Direction| matches!(&one.kind, ripieno_score::DirectionKind::Words(text) if &**text == "breathe in turn");
    assert!(score.parts[2..].iter().all(|part| part.directions.iter().filter(says).count() == 1));
    assert!(
        done.remarks.iter().any(|one| one == "Tubas breathe in turn in bars 1–16, as marked in their parts"),
        "{:?}",
        done.remarks
    );
}

/// A light wind has air for long, and still breathes: `stale-air` of `ripieno_players` begins at 20 s (from memory), casting keeps to 14.
#[test]
fn a_long_soft_note_of_a_light_wind_has_breaths() {
    let pedal = |_: usize| vec![(vec![('G', 4)], 4)];
    let staff = |name, bar, held| Staff { name, mark: "pp", bar, held };
    let sketch = sketch(16, &[staff("Melody", &tune, 0), staff("Bass", &bass, 0), staff("Pedal", &pedal, 16)]);
    let lineup = lineup("[[section]]\nname = \"Oboe\"\n[[section]]\nname = \"Flute\"\n[[section]]\nname = \"Bassoon\"\n");
    let task = |section: &str, role: &str| format!("[[phrase.task]]\nsection = \"{section}\"\nrole = \"{role}\"\n");
    let text =
        ["[[phrase]]\nbars = \"1-16\"\n".to_owned(), task("Flute", "melody"), task("Oboe", "pedal"), task("Bassoon", "bass")]
            .concat();
    let plan = Plan::from_toml("p.toml", &text, &sketch, &lineup).unwrap();
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    let notes = done.notes_of((0, 0));
    let seconds = |from, to| sketch.sounding.tempo.seconds(to) - sketch.sounding.tempo.seconds(from);
    let mut from = notes[0].onset;
    for note in &notes {
        assert!(seconds(from, note.end()) <= 14.0 + 1e-9, "{:.0} s without a breath", seconds(from, note.end()));
        if note.breath {
            from = note.end();
        }
    }
}

/// An accompaniment a dynamic below the tune (handbooks, from memory), where the sketch gives one to all and nowhere else.
#[test]
fn what_would_cover_the_tune_is_marked_softer() {
    let lineup =
        lineup("[[section]]\nname = \"Flute\"\n[[section]]\nname = \"Trombones\"\nplayers = 3\n[[section]]\nname = \"Tuba\"\n");
    let marked = |marks: [&str; 3]| {
        let done = usual(&plain(8, marks), &lineup);
        let tasks = || done.plan.phrases.iter().flat_map(|phrase| &phrase.tasks);
        let softer = tasks().filter(|task| task.role != Role::Melody && task.dynamic.is_some()).count();
        assert!(tasks().all(|task| task.dynamic.is_none() || task.why.contains("marked") || task.role == Role::Melody));
        (softer, done.criteria.get("melody louder than all others together").unwrap())
    };
    let (softer, evened) = marked(["f", "f", "f"]);
    assert!(softer > 0);
    let (kept, apart) = marked(["f", "mp", "mp"]);
    assert_eq!(kept, 0);
    assert!((evened - apart).abs() < 4.0, "{evened} {apart}");
}

/// Figures and effects go first, then rhythm, then an answer; never tune or bass (common practice on writing for few, from memory).
#[test]
fn with_few_players_tune_and_bass_stay() {
    let rhythm = |n: usize| vec![(vec![(CHORDS[n % 4][1], 4)], 1); 4];
    let staff = |name, bar| Staff { name, mark: "mf", bar, held: 0 };
    let sketch = sketch(
        8,
        &[
            staff("Melody", &tune as &dyn Fn(usize) -> _),
            staff("Answer", &rhythm),
            staff("Figure", &tune),
            staff("Rhythm", &rhythm),
            staff("Chords", &chords),
            staff("Bass", &bass),
        ],
    );
    for brass in ["brass_four", "brass_quintet"] {
        let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../../demo/lineups/{brass}.toml"));
        let lineup = lineup(&std::fs::read_to_string(file).unwrap());
        for (n, done) in
            proposals(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default(), 3).iter().enumerate()
        {
            for phrase in &done.plan.phrases {
                let has = |role: Role| phrase.tasks.iter().any(|task| task.role == role && task.strand.is_some());
                assert!(has(Role::Melody) && has(Role::Bass) && has(Role::Harmony), "{brass}, proposal {n}");
                assert!(!has(Role::Figuration), "{brass}, proposal {n}: a figure while others are given up");
            }
        }
    }
}

/// Proposals show different things: the tune lies with others in at least half of the phrases where there are others.
#[test]
fn proposals_put_the_tune_elsewhere() {
    let (sketch, lineup) = (plain(32, ["mf"; 3]), lineup(EIGHTEEN));
    let all = proposals(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default(), 3);
    let carriers = |cast: &Cast| -> Vec<BTreeSet<usize>> {
        let of = |phrase: &ripieno_casting::PhrasePlan| {
            phrase.tasks.iter().filter(|task| task.role == Role::Melody).map(|task| task.section).collect()
        };
        cast.plan.phrases.iter().map(of).collect()
    };
    let first = carriers(&all[0]);
    for other in &all[1..] {
        let differ = carriers(other).iter().zip(&first).filter(|(a, b)| a != b).count();
        assert!(differ * 2 >= first.len(), "{differ} of {}: {}", first.len(), other.idea);
    }
    assert!(all[1..].iter().all(|cast| cast.idea.contains("colour")));
}

/// A practice with one figure more than usual habits have.
fn practice(figures: &[(&str, f64)]) -> Habits {
    let figures: BTreeMap<String, f64> = figures.iter().map(|(what, value)| ((*what).to_owned(), *value)).collect();
    Habits { together: ripieno_casting::Together { figures }, ..Habits::usual() }
}

fn like(sketch: &Sketch, lineup: &Lineup, figures: &[(&str, f64)]) -> Cast {
    cast(sketch, lineup, &Plan::default(), &practice(figures), &Options::default())
}

/// Phrases in which sections have one strand together, at the distance of so many octaves.
fn doubled(cast: &Cast, a: usize, b: usize, apart: i32) -> usize {
    let has = |phrase: &ripieno_casting::PhrasePlan| {
        phrase.tasks.iter().filter(|task| task.section == a && task.octave.is_some()).any(|x| {
            phrase.tasks.iter().any(|y| {
                y.section == b
                    && y.strand == x.strand
                    && y.strand.is_some()
                    && (x.octave_heard() - y.octave_heard()).abs() == apart
            })
        })
    };
    cast.plan.phrases.iter().filter(|phrase| has(phrase)).count()
}

const WINDS: &str = "[[section]]\nname = \"Flutes\"\nplayers = 2\n[[section]]\nname = \"Oboes\"\nplayers = 2\n[[section]]\nname = \"Clarinets in Bb\"\nplayers = 2\n\
[[section]]\nname = \"Bassoons\"\nplayers = 2\n[[section]]\nname = \"Horns in F\"\nplayers = 4\n";

#[test]
fn a_practices_doublings_are_sought() {
    let (sketch, lineup) = (plain(32, ["mf"; 3]), lineup(WINDS));
    let (oboes, clarinets) = (lineup.find("oboes").unwrap(), lineup.find("clarinets").unwrap());
    let with = like(&sketch, &lineup, &[("unison oboes/clarinets", 0.9)]);
    let without = like(&sketch, &lineup, &[("unison oboes/clarinets", 0.0)]);
    let both = (doubled(&with, oboes, clarinets, 0), doubled(&without, oboes, clarinets, 0));
    assert!(both.0 > both.1, "{both:?}");
}

#[test]
fn a_practices_hand_offs_are_sought() {
    let (sketch, lineup) = (plain(48, ["mf"; 3]), lineup(WINDS));
    let changes = |done: &Cast| {
        let of = |phrase: &ripieno_casting::PhrasePlan| -> BTreeSet<usize> {
            phrase.tasks.iter().filter(|task| task.role == Role::Melody).map(|task| task.section).collect()
        };
        done.plan.phrases.windows(2).filter(|pair| of(&pair[0]) != of(&pair[1])).count()
    };
    let busy = like(
        &sketch,
        &lineup,
        &[
            ("hands", 25.0),
            ("hands flutes/oboes", 12.0),
            ("hands oboes/flutes", 12.0),
            ("hands oboes/clarinets", 12.0),
            ("hands clarinets/oboes", 12.0),
        ],
    );
    let still = like(&sketch, &lineup, &[("hands", 0.0)]);
    assert!(changes(&busy) > changes(&still), "{} {}", changes(&busy), changes(&still));
}

#[test]
fn a_practices_reserve_is_kept() {
    let lineup = lineup(EIGHTEEN);
    let trombones = lineup.find("trombones").unwrap();
    let plays = |mark: &str, figures: &[(&str, f64)]| {
        let sketch = plain(32, [mark; 3]);
        let done = like(&sketch, &lineup, figures);
        (0..4).map(|chair| share(&sketch, &done, (trombones, chair))).sum::<f64>()
    };
    let kept = [("loud trombones", 0.95), ("loud of brass", 0.4)];
    let even = [("loud trombones", 0.4), ("loud of brass", 0.4)];
    assert!(plays("p", &kept) < plays("p", &even));
    assert!(plays("p", &kept) < plays("ff", &kept));
}

#[test]
fn a_practices_cohesion_is_sought() {
    let (sketch, lineup) = (
        plain(32, ["mf"; 3]),
        lineup(
            "[[section]]\nname = \"Trumpets in C\"\nplayers = 3\n[[section]]\nname = \"Horns in F\"\nplayers = 2\n[[section]]\nname = \"Trombones\"\nplayers = 3\n",
        ),
    );
    // Of all pairs of players of one section who play at once, the share that has one strand.
    let together = |done: &Cast| {
        let (mut same, mut all) = (0u32, 0u32);
        for phrase in &done.plan.phrases {
            let has: Vec<(usize, usize)> = phrase
                .tasks
                .iter()
                .flat_map(|task| task.chairs.iter().filter_map(|_| Some((task.section, task.strand?))))
                .collect();
            for (n, a) in has.iter().enumerate() {
                for b in has[n + 1..].iter().filter(|b| b.0 == a.0) {
                    all += 1;
                    same += u32::from(a.1 == b.1);
                }
            }
        }
        f64::from(same) / f64::from(all.max(1))
    };
    let holds = |share: f64| [("cohesion trumpets", share), ("cohesion horns", share), ("cohesion trombones", share)];
    let (firm, loose) = (together(&like(&sketch, &lineup, &holds(1.0))), together(&like(&sketch, &lineup, &holds(0.0))));
    assert!(firm > loose + 0.1, "{firm} {loose}");
}

#[test]
fn a_practices_separation_is_sought() {
    let (sketch, lineup) = (
        plain(16, ["ff", "f", "f"]),
        lineup(
            "[[section]]\nname = \"Trumpets in C\"\nplayers = 4\n[[section]]\nname = \"Horns in F\"\nplayers = 4\n[[section]]\nname = \"Trombones\"\nplayers = 4\n[[section]]\nname = \"Tuba\"\n",
        ),
    );
    let text = "[[phrase]]\nbars = \"1-16\"\nfill = true\n[[phrase.task]]\nsection = \"Trumpets in C\"\nrole = \"melody\"\n[[phrase.task]]\nsection = \"Tuba\"\nrole = \"bass\"\n";
    let plan = Plan::from_toml("p.toml", text, &sketch, &lineup).unwrap();
    let gap = |apart: f64| {
        let options = Options { playing: Some(vec![vec![true; ripieno_casting::units(&lineup).len()]]), ..Options::default() };
        let done = cast(&sketch, &lineup, &plan, &practice(&[("apart horns/trombones", apart)]), &options);
        let mean = |section: usize| {
            let keys: Vec<i32> = (0..4).flat_map(|chair| done.notes_of((section, chair))).map(|note| note.key()).collect();
            f64::from(keys.iter().sum::<i32>()) / f64::from(u32::try_from(keys.len().max(1)).unwrap())
        };
        mean(lineup.find("horns").unwrap()) - mean(lineup.find("trombones").unwrap())
    };
    let (wide, narrow) = (gap(8.0), gap(-8.0));
    assert!(wide > narrow + 2.0, "{wide} {narrow}");
}
