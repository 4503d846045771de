//! Laws a casting keeps, on the demo's sketch and line-ups.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use ripieno_casting::{
    Arrangement, Habits, Lineup, LockedNote, Options, Plan, Seat, Sketch, carried_over, cast, changed, proposals, recast, reduce,
    reduce_in_octaves,
};
use ripieno_formats::{Limits, musicxml, read, read_file};
use ripieno_score::{BarIndex, Crotchets, Direction, DirectionKind, DynamicLevel, DynamicMark, Sounding, Unroll};
use ripieno_texture::Role;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

fn sketch() -> Sketch {
    Sketch::by_names(read_file(&demo("sketch_second_theme.musicxml"), &Limits::default()).unwrap().score).unwrap()
}

fn lineup(file: &str) -> Lineup {
    let path = demo("lineups").join(file);
    Lineup::from_toml(file, &std::fs::read_to_string(path).unwrap()).unwrap()
}

fn seats(lineup: &Lineup) -> Vec<Seat> {
    let of = |section: usize| (0..lineup.sections[section].chairs.len()).map(move |chair| (section, chair));
    (0..lineup.sections.len()).flat_map(of).collect()
}

#[test]
fn every_lineup_of_the_demo_is_read_and_cast_within_reach() {
    let sketch = sketch();
    for file in std::fs::read_dir(demo("lineups")).unwrap() {
        let name = file.unwrap().file_name().into_string().unwrap();
        let lineup = lineup(&name);
        let done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
        assert_eq!(done.criteria.get("notes beyond reach"), Some(0.0), "{name}");
        assert_eq!(done.criteria.get("melody notes kept"), Some(1.0), "{name}");
    }
}

#[test]
fn what_is_written_reads_back_to_the_notes_cast() {
    let (sketch, lineup) = (sketch(), lineup("lifeboat_brass.toml"));
    let done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    let text = musicxml::write(&done.score(&sketch, &lineup));
    let again = read("cast.musicxml", text.as_bytes(), &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&again, Unroll::AsWritten);
    for (part, seat) in seats(&lineup).into_iter().enumerate() {
        let mut heard: Vec<_> = sounding.notes.of_part[part]
            .clone()
            .map(|row| (sounding.notes.onset[row], sounding.notes.duration[row], sounding.notes.pitch[row].semitones()))
            .collect();
        let mut cast: Vec<_> = done.notes_of(seat).iter().map(|note| (note.onset, note.duration, note.key())).collect();
        heard.sort_unstable();
        cast.sort_unstable();
        assert_eq!(heard, cast, "{}", again.parts[part].name);
    }
}

#[test]
fn the_same_question_has_the_same_answer_and_proposals_differ() {
    let (sketch, lineup) = (sketch(), lineup("lifeboat_brass.toml"));
    let ask = || proposals(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options { seed: 7, ..Options::default() }, 3);
    let (first, second) = (ask(), ask());
    for (a, b) in first.iter().zip(&second) {
        assert_eq!(musicxml::write(&a.score(&sketch, &lineup)), musicxml::write(&b.score(&sketch, &lineup)));
    }
    assert!(!changed(&first[0].plan, &first[1].plan).is_empty());
    assert!(!changed(&first[1].plan, &first[2].plan).is_empty());
}

#[test]
fn recasting_a_phrase_leaves_the_others_note_for_note() {
    let (sketch, lineup) = (sketch(), lineup("lifeboat_brass.toml"));
    let before = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    let mut plan = before.plan.clone();
    let last = plan.phrases.len() - 1;
    for task in plan.phrases[last].tasks.iter_mut().filter(|task| task.role == Role::Harmony) {
        task.close = -1.0;
        task.register = Some((48, 60));
    }
    let again = recast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default(), &before, &changed(&before.plan, &plan));
    assert_eq!(before.phrases[..last], again.phrases[..last]);
    assert_ne!(before.phrases[last], again.phrases[last]);
}

#[test]
fn a_locked_note_stays() {
    let (sketch, lineup) = (sketch(), lineup("brass_quintet.toml"));
    let before = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    // Some chord note, an octave lower or higher than casting had it.
    let seat = *seats(&lineup).iter().find(|seat| before.notes_of(**seat).iter().any(|note| note.line.voice > 0)).unwrap();
    let note = before.notes_of(seat).into_iter().find(|note| note.line.voice > 0).unwrap();
    let reach = lineup.sections[seat.0].chairs[seat.1].reach;
    let key = if reach.allows(note.key() - 12) { note.key() - 12 } else { note.key() + 12 };
    let locks = vec![LockedNote { seat, from: note.onset, to: note.end(), key }];
    let after = cast(&sketch, &lineup, &before.plan, &Habits::usual(), &Options { locks, ..Options::default() });
    assert!(after.notes_of(seat).iter().any(|other| other.onset == note.onset && other.key() == key));
}

/// Who doubles a voice keeps a note that is set for him as well, whatever others of the voice have, and however many share a third.
#[test]
fn a_locked_note_of_one_who_doubles_stays() {
    let (sketch, lineup) = (sketch(), lineup("lifeboat_brass.toml"));
    let before = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    let chords = |seat: &Seat| before.notes_of(*seat).into_iter().filter(|note| note.line.voice > 0).collect::<Vec<_>>();
    let all: Vec<Seat> = seats(&lineup);
    let mut tried = 0;
    for (n, seat) in all.iter().enumerate() {
        let earlier: Vec<_> = all[..n].iter().flat_map(chords).collect();
        let same =
            |note: &ripieno_casting::CastNote| earlier.iter().any(|other| (other.onset, other.line) == (note.onset, note.line));
        let Some(note) = chords(seat).into_iter().find(|note| note.duration.is_positive() && same(note)) else { continue };
        let reach = lineup.sections[seat.0].chairs[seat.1].reach;
        let Some(key) = [note.key() - 12, note.key() + 12].into_iter().find(|key| reach.allows(*key)) else { continue };
        let locks = vec![LockedNote { seat: *seat, from: note.onset, to: note.end(), key }];
        let after = cast(&sketch, &lineup, &before.plan, &Habits::usual(), &Options { locks, ..Options::default() });
        assert!(after.notes_of(*seat).iter().any(|other| other.onset == note.onset && other.key() == key), "{seat:?}: {key}");
        tried += 1;
        if tried == 3 {
            break;
        }
    }
    assert!(tried > 0);
}

#[test]
fn a_plan_is_written_and_read_back() {
    let (sketch, lineup) = (sketch(), lineup("lifeboat_brass.toml"));
    let mut done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    done.plan.phrases[0].arrangement = Arrangement::Interlocked;
    let text = done.plan.to_toml(&sketch, &lineup);
    assert_eq!(Plan::from_toml("plan.toml", &text, &sketch, &lineup).unwrap(), done.plan);
}

#[test]
fn a_passage_hands_over_who_does_what() {
    // Planted (demo/PLANTED.md): in bars 81 to 88 everybody plays; in bars 9 to 16 trombones and tuba do not.
    let study = ripieno_study::analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let (sketch, lineup) = (sketch(), lineup("brass_of_threes.toml"));
    let plan = carried_over(&sketch, &lineup, &study.score, &study.roles.roles, 9..17);
    let rests = |section: &str| {
        let at = lineup.find(section).unwrap();
        plan.phrases.iter().all(|phrase| phrase.tasks.iter().any(|task| task.section == at && task.role == Role::Tacet))
    };
    assert!(rests("trombones") && rests("tuba"));
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    assert!(done.notes_of((lineup.find("tuba").unwrap(), 0)).is_empty());
    // Four horns in unison have the tune there.
    let horns = lineup.find("Horns in F").unwrap();
    assert!(plan.phrases.iter().all(|phrase| phrase.tasks.iter().any(|task| task.section == horns && task.role == Role::Melody)));
}

#[test]
fn faults_are_told_with_their_line() {
    let lineup_fault = |text: &str| Lineup::from_toml("l.toml", text).unwrap_err().to_string();
    assert!(lineup_fault("[[section]]\nname = \"Hornets\"\n").starts_with("l.toml, line 2: “Hornets” is no instrument"));
    assert!(
        lineup_fault("[[section]]\nname = \"Horns\"\nplayers = 2\nstrong_high = [3]\n")
            .starts_with("l.toml, line 4: “Horns” has no player 3")
    );
    assert!(lineup_fault("[[section]]\nname = \"Horns\"\nplayer = 2\n").starts_with("l.toml, line 3: "));
    let (sketch, lineup) = (sketch(), lineup("brass_quintet.toml"));
    let plan_fault = |text: &str| Plan::from_toml("p.toml", text, &sketch, &lineup).unwrap_err().to_string();
    assert!(plan_fault("[[phrase]]\nbars = \"900\"\n").starts_with("p.toml, line 2: the sketch has no bar “900”"));
    let bar = sketch.bar_name(0);
    let one = format!("[[phrase]]\nbars = \"{bar}\"\n[[phrase.task]]\nsection = \"Harps\"\nrole = \"melody\"\n");
    assert!(plan_fault(&one).starts_with("p.toml, line 4: the line-up has no section “Harps”"));
    let far = format!("[[phrase]]\nbars = \"{bar}\"\n[[phrase.task]]\nsection = \"Tuba\"\nrole = \"melody\"\noctave = 400000\n");
    assert!(plan_fault(&far).starts_with("p.toml, line 6: a line is moved by -4 to 4 octaves"));
}

#[test]
fn plans_survive_repeated_bar_numbers_and_section_names() {
    let mut sketch = sketch();
    for bar in &mut sketch.score.bars {
        bar.number = "7".into();
    }
    let text = "[[section]]\nname = \"Horns in F\"\nplayers = 2\n[[section]]\nname = \"Horns in F\"\nplayers = 2\n[[section]]\nname = \"Tuba\"\n";
    let lineup = Lineup::from_toml("l.toml", text).unwrap();
    let mut done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    // Letters that Rust would escape in ways TOML does not know.
    done.plan.phrases[0].tasks[0].why = "so\u{a0}that “all” hear it, \"dolce\"\n".to_owned();
    let text = done.plan.to_toml(&sketch, &lineup);
    assert_eq!(Plan::from_toml("plan.toml", &text, &sketch, &lineup).unwrap(), done.plan);
    let twice = "[[phrase]]\nbars = \"#1-#2\"\n[[phrase.task]]\nsection = \"Horns in F\"\nrole = \"melody\"\n";
    let fault = Plan::from_toml("p.toml", twice, &sketch, &lineup).unwrap_err().to_string();
    assert!(fault.contains("Horns in F (1), Horns in F (2)"), "{fault}");
}

#[test]
fn everybody_plays_where_it_is_loud() {
    // Planted (demo/PLANTED.md): in bars 81 to 88 everybody plays, fortissimo.
    let study = ripieno_study::analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, 81..89);
    let (whole, _) = Lineup::of_score(&study.score);
    let done = cast(&sketch, &whole, &Plan::default(), &Habits::usual(), &Options::default());
    let silent: Vec<&str> = (0..whole.sections.len())
        .filter(|&at| (0..whole.sections[at].chairs.len()).all(|chair| done.notes_of((at, chair)).is_empty()))
        .map(|at| whole.sections[at].name.as_str())
        .collect();
    assert!(silent.len() <= 1, "{silent:?} of {}", whole.sections.len());
    assert!(done.plan.phrases.iter().flat_map(|phrase| &phrase.tasks).all(|task| !task.why.contains(" 0 %")));
}

#[test]
fn a_line_in_octaves_is_one_line_and_asks_for_its_octaves() {
    let study = ripieno_study::analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let of = |reduction: fn(_, _, _, _, _) -> Sketch| {
        reduction(&study.score, &study.sounding, &study.lines, &study.roles.roles, 81..89)
    };
    let (lean, rich) = (of(reduce), of(reduce_in_octaves));
    let tune = |sketch: &Sketch| sketch.strands[sketch.strand(Role::Melody).unwrap()].clone();
    assert!(tune(&lean).octaves.is_empty());
    assert!(!tune(&rich).octaves.is_empty());
    assert_eq!(
        lean.strands.iter().map(|strand| &strand.name).collect::<Vec<_>>(),
        rich.strands.iter().map(|strand| &strand.name).collect::<Vec<_>>()
    );
}

#[test]
fn a_reduction_keeps_every_rhythm_whole() {
    let study = ripieno_study::analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, 0..40);
    // No chord is cut inside a bar where a value could have been written.
    for strand in sketch.strands.iter().filter(|strand| strand.is_chordal()) {
        let part = &sketch.score.parts[strand.part];
        let tied = part
            .notes
            .iter()
            .filter(|note| note.flags.contains(ripieno_score::NoteFlags::TIE_STOP) && !note.at.is_zero())
            .count();
        assert!(tied * 50 <= part.notes.len(), "{}: {tied} of {}", strand.name, part.notes.len());
    }
}

#[test]
fn a_held_note_has_one_dynamic() {
    // The chord staff of a sketch may carry the marks of all it stands for; a player reads those of his own notes.
    let mut sketch = sketch();
    let chords = sketch.strands.iter().find(|strand| strand.role == Role::Harmony).unwrap().part;
    let (first, bars) = (sketch.score.parts[chords].directions.clone(), sketch.score.bars.len());
    let marks = (0..bars).flat_map(|bar| {
        ["p", "mp", "p", "mf"].into_iter().enumerate().map(move |(at, mark)| Direction {
            bar: BarIndex(u32::try_from(bar).unwrap()),
            at: Crotchets::new(i64::try_from(at).unwrap(), 2).unwrap(),
            staff: 1,
            voice: None,
            above: None,
            kind: DirectionKind::Dynamic(DynamicMark::Level(DynamicLevel::from_mark(mark).unwrap())),
        })
    });
    sketch.score.parts[chords].directions = first.into_iter().chain(marks).collect();
    sketch.score.parts[chords].directions.sort_by_key(|direction| (direction.bar, direction.at));
    let lineup = Lineup::from_toml("l.toml", "[[section]]\nname = \"Trumpets\"\nplayers = 2\n[[section]]\nname = \"Trombones\"\nplayers = 3\n[[section]]\nname = \"Tuba\"\n").unwrap();
    let done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    let score = done.score(&sketch, &lineup);
    let mut seen = 0;
    for part in &score.parts {
        for direction in &part.directions {
            let level = matches!(direction.kind, DirectionKind::Dynamic(DynamicMark::Level(_)));
            let begins = part.notes_in(direction.bar).iter().any(|note| note.at == direction.at);
            let swell = part.directions.iter().any(|other| {
                (other.bar, other.at) == (direction.bar, direction.at) && matches!(other.kind, DirectionKind::HairpinStop { .. })
            });
            assert!(!level || begins || swell, "{} {} {}", part.name, direction.bar, direction.at);
            seen += usize::from(level);
        }
    }
    assert!(seen > 3, "{seen}");
}

#[test]
fn a_melody_likely_to_be_covered_is_told_with_its_bars() {
    let sketch = sketch();
    let text = "[[section]]\nname = \"Flute\"\n[[section]]\nname = \"Trombones\"\nplayers = 3\n[[section]]\nname = \"Tuba\"\n";
    let lineup = Lineup::from_toml("l.toml", text).unwrap();
    let told = |loud: &str, soft: &str| {
        let task = |section: &str, role: &str, dynamic: &str| {
            format!("[[phrase.task]]\nsection = \"{section}\"\nrole = \"{role}\"\ndynamic = \"{dynamic}\"\n")
        };
        let tasks = [task("Flute", "melody", loud), task("Trombones", "chords", soft), task("Tuba", "bass", soft)].concat();
        let plan = Plan::from_toml("p.toml", &format!("[[phrase]]\nbars = \"#1-#8\"\n{tasks}"), &sketch, &lineup).unwrap();
        let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
        let melody = done.criteria.get("melody louder than all others together").unwrap();
        (melody, done.remarks.iter().filter(|one| one.contains("the melody may be covered")).cloned().collect::<Vec<_>>())
    };
    let (db, remarks) = told("p", "ff");
    assert!(db < -6.0 && remarks.len() == 1 && remarks[0].starts_with("caution, bars 51–58: "), "{db} {remarks:?}");
    let (db, remarks) = told("ff", "pp");
    assert!(db > -6.0 && remarks.is_empty(), "{db} {remarks:?}");
}

#[test]
fn borrowed_figures_say_from_whom() {
    let habits = Habits::usual();
    assert_eq!((habits.lender("euphoniums"), habits.lender("trombones")), (Some("trombones"), None));
    let done = cast(&sketch(), &lineup("lifeboat_brass.toml"), &Plan::default(), &habits, &Options::default());
    let mut told = 0;
    for task in done.plan.phrases.iter().flat_map(|phrase| &phrase.tasks) {
        let Some((kind, _)) = task.why.split_once(" have this role ") else { continue };
        assert_eq!(
            habits.lender(kind).is_some(),
            task.why.ends_with(" in usual practice (taken from trombones)"),
            "{}",
            task.why
        );
        told += 1;
    }
    assert!(told > 0);
}

#[test]
fn criteria_read_as_figures_a_musician_uses() {
    let done = cast(&sketch(), &lineup("brass_quintet.toml"), &Plan::default(), &Habits::usual(), &Options::default());
    let text = ripieno_casting::explain(&sketch(), &lineup("brass_quintet.toml"), &done);
    let rows: Vec<&str> = text.lines().skip_while(|line| *line != "criteria").skip(1).take(done.criteria.all.len()).collect();
    for (row, criterion) in rows.iter().zip(&done.criteria.all) {
        assert!(row.contains(criterion.name) && row.contains(&criterion.text()), "{row}");
        let decimals =
            criterion.text().split_once('.').map_or(0, |(_, after)| after.chars().take_while(char::is_ascii_digit).count());
        assert!(decimals <= 1, "{row}");
    }
    assert!(rows[0].trim_start().starts_with("chord tones sounded ") && rows[0].trim_end().ends_with(" %"), "{}", rows[0]);
}
