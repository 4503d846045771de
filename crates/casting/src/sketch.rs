//! The sketch: strands of music with a role, in concert pitch.
//!
//! A sketch is a score like any other; its strands are read from staves named by role ("Melody", "Chords", "Bass", "Figure",
//! "Answer" ...), or from the roles that `texture` found in it. [`crate::reduce`] makes one of bars of a studied score.

use std::sync::Arc;

use ripieno_score::{Crotchets, DirectionKind, Edge, Mark, Part, PartLevels, Pitch, Score, Sounding, Unroll};
use ripieno_texture::{Harmony, Lines, Role, harmony};

use crate::lineup::same_name;
use crate::numbers::number;
use crate::phrases::seams;

/// A note of a strand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SketchNote {
    /// When it begins, from the start of the sketch.
    pub onset: Crotchets,
    /// How long it sounds; zero for a grace note.
    pub duration: Crotchets,
    /// Concert pitch.
    pub pitch: Pitch,
    /// The written note it begins with, index into the notes of the strand's part.
    pub written: usize,
    /// The rest of a note that began in a phrase before: no attack of its own.
    pub(crate) held: bool,
}

impl SketchNote {
    /// Key of the keyboard, 60 being middle C.
    #[must_use]
    pub const fn key(&self) -> i32 {
        self.pitch.semitones()
    }

    /// When it ends.
    #[must_use]
    pub fn end(&self) -> Crotchets {
        self.onset + self.duration
    }
}

/// One strand of a sketch.
#[derive(Debug, Clone, PartialEq)]
pub struct Strand {
    /// Name for reading, unique within the sketch: "Melody", "Chords 2".
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// The part of [`Sketch::score`] it stands in.
    pub part: usize,
    /// Its notes by onset, then from below.
    pub notes: Vec<SketchNote>,
    /// Of a line written in octaves: when a note of it begins, and by how many octaves above (or below, negative) it is written too. By onset.
    pub octaves: Vec<(Crotchets, i32)>,
    /// How long the longest of its notes lasts.
    longest: Crotchets,
}

impl Strand {
    /// A strand of notes in any order.
    pub(crate) fn new(name: String, role: Role, part: usize, mut notes: Vec<SketchNote>, octaves: Vec<(Crotchets, i32)>) -> Self {
        // Grace notes stay in their order, before the note they lead to.
        let height = |note: &SketchNote| note.duration.is_positive().then(|| note.key());
        notes.sort_by_key(|note| (note.onset, note.duration.is_positive(), height(note)));
        let longest = notes.iter().map(|note| note.duration).max().unwrap_or(Crotchets::ZERO);
        Self { name, role, part, notes, octaves, longest }
    }

    /// Whether it is made of chords rather than one line.
    #[must_use]
    pub const fn is_chordal(&self) -> bool {
        matches!(self.role, Role::Harmony | Role::Rhythm | Role::Punctuation)
    }

    /// Notes that begin from one moment up to another.
    #[must_use]
    pub fn between(&self, from: Crotchets, to: Crotchets) -> &[SketchNote] {
        let first = self.notes.partition_point(|note| note.onset < from);
        let end = self.notes.partition_point(|note| note.onset < to);
        &self.notes[first..end]
    }

    /// The octaves in which a line is written besides its own in a span, each with the share of its notes that are so written.
    #[must_use]
    pub fn octaves_in(&self, span: (Crotchets, Crotchets)) -> Vec<(i32, f64)> {
        let within = self.octaves.iter().filter(|(at, _)| span.0 <= *at && *at < span.1);
        let mut counts: std::collections::BTreeMap<i32, u32> = std::collections::BTreeMap::new();
        for (_, octave) in within {
            *counts.entry(*octave).or_default() += 1;
        }
        let all = number(self.between(span.0, span.1).len()).max(1.0);
        counts.into_iter().map(|(octave, count)| (octave, f64::from(count) / all)).collect()
    }

    /// Every moment of a span at which a note that lasts begins, with the pitch classes that sound from there, as bits. Takes time in
    /// proportion to the notes.
    pub(crate) fn moments(&self, span: (Crotchets, Crotchets)) -> impl Iterator<Item = (Crotchets, u16)> {
        let mut begun = self.notes.partition_point(|note| note.onset + self.longest < span.0);
        let mut held: Vec<(Crotchets, u16)> = Vec::new();
        let mut found = Vec::new();
        while let Some(note) = self.notes.get(begun).filter(|note| note.onset < span.1) {
            let at = note.onset;
            held.retain(|(end, _)| *end > at);
            let mut new = false;
            while let Some(note) = self.notes.get(begun).filter(|note| note.onset == at) {
                if note.duration.is_positive() {
                    held.push((note.end(), 1 << note.key().rem_euclid(12)));
                    new = true;
                }
                begun += 1;
            }
            if new && at >= span.0 {
                found.push((at, held.iter().fold(0u16, |have, (_, class)| have | class)));
            }
        }
        found.into_iter()
    }

    /// The notes that sound at a moment, by onset.
    pub(crate) fn sounding(&self, at: Crotchets) -> impl DoubleEndedIterator<Item = &SketchNote> {
        let first = self.notes.partition_point(|note| note.onset + self.longest < at);
        let next = self.notes.partition_point(|note| note.onset <= at);
        self.notes[first..next].iter().filter(move |note| at < note.end())
    }

    /// The notes that begin in a span or are held into it, by onset.
    pub fn sounding_in(&self, (from, to): (Crotchets, Crotchets)) -> impl Iterator<Item = &SketchNote> {
        let first = self.notes.partition_point(|note| note.onset + self.longest < from);
        let end = self.notes.partition_point(|note| note.onset < to);
        self.notes[first..end.max(first)].iter().filter(move |note| from <= note.onset || from < note.end())
    }

    /// The pitch classes that sound at a moment, as bits.
    pub(crate) fn classes_at(&self, at: Crotchets) -> u16 {
        self.sounding(at).fold(0, |have, note| have | 1 << note.key().rem_euclid(12))
    }

    /// The note that sounds at a moment; of several the one begun last.
    #[must_use]
    pub fn at(&self, at: Crotchets) -> Option<&SketchNote> {
        self.sounding(at).next_back()
    }
}

/// A sketch ready for casting.
#[derive(Debug, Clone)]
pub struct Sketch {
    /// The sketch as a score; strands point into its parts.
    pub score: Score,
    /// What it sounds like, in page order.
    pub sounding: Sounding,
    /// Its strands.
    pub strands: Vec<Strand>,
    /// Chords and keys.
    pub harmony: Harmony,
    /// What has to be said about it.
    pub remarks: Vec<String>,
    /// Loudness of each part of the score.
    levels: Arc<[PartLevels]>,
    /// Slurs of each part of the score: when the first and the last note under each begin.
    slurs: Arc<[Vec<(Crotchets, Crotchets)>]>,
    /// When a phrase that begins with each bar begins.
    seams: Vec<Crotchets>,
}

/// The role a staff's name says, if it says one.
#[must_use]
pub fn role_named(name: &str) -> Option<Role> {
    let lower = name.trim().to_lowercase();
    let head = lower.split(|c: char| !c.is_alphabetic()).find(|word| !word.is_empty())?;
    let rest = lower.trim_start().strip_prefix(head).unwrap_or("").trim();
    // "Bass trombone" is an instrument: after the role only a number, a letter or something in brackets or after a colon may stand.
    let alone = rest.is_empty()
        || rest.starts_with(['(', ':', ',', '-'])
        || rest.chars().all(|c| c.is_ascii_digit() || c == '.')
        || rest.len() == 1
        || rest == "line";
    let role = match head {
        "melody" | "tune" | "theme" => Role::Melody,
        "answer" | "countermelody" | "counter" => Role::Countermelody,
        "chords" | "chord" | "harmony" => Role::Harmony,
        "bass" => Role::Bass,
        "figure" | "figures" | "figuration" => Role::Figuration,
        "rhythm" | "pulse" => Role::Rhythm,
        "pedal" => Role::Pedal,
        "hits" | "punctuation" => Role::Punctuation,
        "effect" | "effects" => Role::Effect,
        _ => return None,
    };
    alone.then_some(role)
}

impl Sketch {
    /// Reads the strands of a score whose staves are named by role. Staves without a role in their name are left out, which
    /// [`Sketch::remarks`] says; `None` when no staff is named by a role.
    #[must_use]
    pub fn by_names(score: Score) -> Option<Self> {
        let roles: Vec<Option<Role>> = score.parts.iter().map(|part| role_named(&part.name)).collect();
        if roles.iter().all(Option::is_none) {
            return None;
        }
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let lines = Lines::new(&score, &sounding);
        let mut strands: Vec<Strand> = Vec::new();
        let mut remarks = Vec::new();
        for (part, role) in roles.iter().enumerate() {
            let name = score.parts[part].name.trim();
            let Some(role) = *role else {
                remarks.push(format!("the staff “{name}” is named by no role and is left out; call it Melody, Chords, Bass, Figure, Rhythm, Pedal or Answer"));
                continue;
            };
            let strand = |name: String, rows: Vec<usize>| {
                let notes = &sounding.notes;
                let of_row = |row: usize| {
                    notes.key[row].map(|_| SketchNote {
                        onset: notes.onset[row],
                        duration: notes.duration[row],
                        pitch: notes.pitch[row],
                        written: notes.written[row] as usize,
                        held: false,
                    })
                };
                Strand::new(name, role, part, rows.into_iter().filter_map(of_row).collect(), Vec::new())
            };
            let whole = strand(name.to_owned(), sounding.notes.of_part[part].clone().collect());
            if whole.notes.is_empty() {
                let what = if score.parts[part].notes.is_empty() { "nothing but rests" } else { "no note of definite pitch" };
                remarks.push(format!(
                    "the staff “{name}” has {what} and is left out; what is beaten is added to the cast score by hand"
                ));
                continue;
            }
            if whole.is_chordal() {
                strands.push(whole);
                continue;
            }
            let of_line = |line: usize| strand(String::new(), lines.lines[line].rows.iter().map(|&row| row as usize).collect());
            let found: Vec<Strand> = lines.of_part[part].clone().map(of_line).collect();
            let found = if role == Role::Bass { from_the_lowest(found, &score.parts[part]) } else { found };
            for (n, mut line) in in_octaves(found).into_iter().enumerate() {
                line.name = if n == 0 { name.to_owned() } else { format!("{name}, line {}", n + 1) };
                strands.push(line);
            }
        }
        strands.retain(|strand| !strand.notes.is_empty());
        remarks.extend(each_by_its_name(&mut strands));
        for (part, _) in score.parts.iter().zip(&roles).filter(|(_, role)| role.is_some()) {
            remarks.extend(open_hairpins(part, &score));
        }
        let harmony = harmony(&sounding);
        let slurs = score.parts.iter().map(|part| slurs_of(part, &score)).collect();
        let mut sketch = Self { levels: levels_of(&score), slurs, score, sounding, strands, harmony, remarks, seams: Vec::new() };
        sketch.seams = seams(&sketch);
        Some(sketch)
    }

    /// Leaves out all but the first strand of each staff.
    pub(crate) fn keep_one_strand_a_staff(&mut self) {
        self.strands.dedup_by_key(|strand| strand.part);
        self.seams = seams(self);
    }

    /// A sketch of bars in which nothing sounds.
    pub(crate) fn of_nothing(score: Score) -> Self {
        Self {
            harmony: Harmony::default(),
            strands: Vec::new(),
            remarks: vec!["nothing sounds in these bars".to_owned()],
            levels: levels_of(&score),
            slurs: Arc::from([]),
            seams: Vec::new(),
            sounding: Sounding::new(&score, Unroll::AsWritten),
            score,
        }
    }

    /// The first strand of a role.
    #[must_use]
    pub fn strand(&self, role: Role) -> Option<usize> {
        self.strands.iter().position(|strand| strand.role == role)
    }

    /// Whether a line strand has a further line beside it ("Answer 2").
    pub(crate) fn tells_every_line(&self) -> bool {
        let further = |(at, strand): (usize, &Strand)| {
            !strand.is_chordal() && self.strands[..at].iter().any(|before| before.role == strand.role)
        };
        self.strands.iter().enumerate().any(further)
    }

    /// When a bar begins.
    #[must_use]
    pub fn bar_start(&self, bar: usize) -> Crotchets {
        self.score.bars.get(bar).map_or_else(|| self.score.length(), |bar| bar.start)
    }

    /// When a phrase that has this bar as its first begins: at the bar, or earlier where the tune has an upbeat to it.
    #[must_use]
    pub fn seam(&self, bar: usize) -> Crotchets {
        self.seams.get(bar).copied().unwrap_or_else(|| self.bar_start(bar))
    }

    /// Slurs of a part of the score: when the first and the last note under each begin.
    pub(crate) fn slurs(&self, part: usize) -> &[(Crotchets, Crotchets)] {
        self.slurs.get(part).map_or(&[], Vec::as_slice)
    }

    /// What a bar is called on the page.
    #[must_use]
    pub fn bar_name(&self, bar: usize) -> String {
        self.score.bars.get(bar).map_or_else(
            || "?".to_owned(),
            |found| {
                if found.number.is_empty() { (bar + 1).to_string() } else { found.number.to_string() }
            },
        )
    }

    /// Loudness in force at a moment, of a strand or of any part; `None` before the first mark.
    #[must_use]
    pub fn level_at(&self, part: usize, at: Crotchets) -> Option<f32> {
        let of = |levels: &PartLevels| levels.at(1, 1, at).map(|level| level.0);
        self.levels.get(part).and_then(of).or_else(|| self.levels.iter().find_map(of))
    }
}

/// Numbers strands of one name from the second on, so that a plan can ask for each; capitals make no difference. Returns what has to be said.
fn each_by_its_name(strands: &mut [Strand]) -> Vec<String> {
    let mut taken: Vec<String> = strands.iter().map(|strand| strand.name.clone()).collect();
    let mut remarks = Vec::new();
    for at in 1..strands.len() {
        let (before, strand) = strands.split_at_mut(at);
        if !before.iter().any(|other| same_name(&other.name, &strand[0].name)) {
            continue;
        }
        let free = |name: &String| !taken.iter().any(|other| same_name(other, name));
        // "Melody 2" once more is "Melody 3"; a plan has to know the role by the name.
        let name = strand[0].name.as_str();
        let base = name.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end();
        let known = |number: i32| {
            let whole = format!("{base} {number}");
            let word = name.split(|c: char| !c.is_alphabetic()).next().unwrap_or(name);
            if role_named(&whole).is_some() { whole } else { format!("{word} {number}") }
        };
        let numbered = (2..).map(known).find(free);
        if let Some(name) = numbered {
            remarks.push(format!("several staves are called “{}”; one of them is “{name}” here and in plans", strand[0].name));
            taken.push(name.clone());
            strand[0].name = name;
        }
    }
    remarks
}

/// Lines of a bass staff with the lowest note of each chord in the line that has most notes: lines are told from the top, and the bass is what lies lowest.
/// Voices stay what they are: one that doubles the bass in octaves does so for a while.
fn from_the_lowest(mut lines: Vec<Strand>, part: &Part) -> Vec<Strand> {
    let voice = |note: &SketchNote| part.notes.get(note.written).map(|note| note.voice);
    let Some(main) = main_of(&lines) else { return lines };
    for at in 0..lines[main].notes.len() {
        let note = lines[main].notes[at];
        let with = |(line, other): (usize, &Strand)| {
            let first = other.notes.partition_point(|other| other.onset < note.onset);
            let chord = other.notes[first..].iter().take_while(|other| other.onset == note.onset).zip(first..);
            let lower = chord.filter(|(other, _)| voice(other) == voice(&note) && other.key() < note.key());
            lower.map(|(other, place)| (other.key(), line, place)).min()
        };
        let below = lines.iter().enumerate().filter(|(line, _)| *line != main).filter_map(with).min();
        if let Some((_, line, place)) = below.filter(|_| note.duration.is_positive()) {
            lines[main].notes[at] = lines[line].notes[place];
            lines[line].notes[place] = note;
        }
    }
    lines
}

/// Of lines of one staff the one that has most notes, against which others are measured.
fn main_of(lines: &[Strand]) -> Option<usize> {
    (0..lines.len()).max_by_key(|&at| (lines[at].notes.len(), std::cmp::Reverse(at)))
}

/// Lines of one staff in which octaves written together are one line: chords of octaves, and lines that have most of their notes an octave from another's.
fn in_octaves(mut lines: Vec<Strand>) -> Vec<Strand> {
    for line in &mut lines {
        let lowest = line.role == Role::Bass;
        let mut kept: Vec<SketchNote> = Vec::with_capacity(line.notes.len());
        for chord in line.notes.chunk_by(|a, b| a.onset == b.onset && a.duration.is_positive() && b.duration.is_positive()) {
            let own =
                if lowest { chord.iter().min_by_key(|note| note.key()) } else { chord.iter().max_by_key(|note| note.key()) };
            let Some(own) = own else { continue };
            for note in chord {
                let apart = note.key() - own.key();
                if apart != 0 && apart % 12 == 0 {
                    line.octaves.push((note.onset, apart / 12));
                } else {
                    kept.push(*note);
                }
            }
        }
        line.notes = kept;
    }
    let Some(main) = main_of(&lines) else { return lines };
    let mut octaves = std::mem::take(&mut lines[main].octaves);
    let own = lines[main].notes.clone();
    let doubling = |line: &Strand| -> Option<Vec<(Crotchets, i32)>> {
        let found: Vec<(Crotchets, i32)> = line
            .notes
            .iter()
            .filter_map(|note| {
                let first = own.partition_point(|other| other.onset < note.onset);
                let there = own[first..].iter().take_while(|other| other.onset == note.onset);
                let apart = there.map(|other| note.key() - other.key()).find(|apart| *apart != 0 && apart % 12 == 0)?;
                Some((note.onset, apart / 12))
            })
            .collect();
        (!found.is_empty() && found.len() * 5 >= line.notes.len() * 4).then_some(found)
    };
    let mut kept = Vec::with_capacity(lines.len());
    for (at, line) in lines.into_iter().enumerate() {
        match doubling(&line).filter(|_| at != main) {
            Some(found) => octaves.extend(found),
            None => kept.push((at == main, line)),
        }
    }
    octaves.sort_unstable();
    octaves.dedup();
    for (_, line) in kept.iter_mut().filter(|(is_main, _)| *is_main) {
        line.octaves = std::mem::take(&mut octaves);
    }
    kept.into_iter().map(|(_, line)| line).collect()
}

/// What is to be said of hairpins that begin on a staff and never end: nobody can play them.
fn open_hairpins(part: &Part, score: &Score) -> Option<String> {
    let mut open: std::collections::BTreeMap<u8, usize> = std::collections::BTreeMap::new();
    let mut never: Vec<usize> = Vec::new();
    for direction in &part.directions {
        match direction.kind {
            DirectionKind::HairpinStart { number, .. } => never.extend(open.insert(number, direction.bar.at())),
            DirectionKind::HairpinStop { number, .. } => {
                open.remove(&number);
            }
            _ => {}
        }
    }
    never.extend(open.into_values());
    never.sort_unstable();
    never.dedup();
    let name = |bar: &usize| match score.bars.get(*bar).map(|bar| &*bar.number) {
        None | Some("") => (bar + 1).to_string(),
        Some(number) => number.to_owned(),
    };
    let bars: Vec<String> = never.iter().map(name).collect();
    (!bars.is_empty()).then(|| {
        let (what, they_go) = if bars.len() == 1 {
            ("the hairpin that begins in bar", "it goes")
        } else {
            ("hairpins that begin in bars", "they go")
        };
        let verb = if bars.len() == 1 { "has no end and is" } else { "have no end and are" };
        format!("{what} {} of “{}” {verb} left out; say in the sketch how far {they_go}", bars.join(", "), part.name)
    })
}

fn slurs_of(part: &Part, score: &Score) -> Vec<(Crotchets, Crotchets)> {
    let onset = |note: usize| part.notes.get(note).map(|note| score.bars[note.bar.at()].start + note.at);
    let (mut slurs, mut open) = (Vec::new(), Vec::new());
    for (note, mark) in &part.marks {
        match (mark, onset(*note as usize)) {
            (Mark::Slur { edge: Edge::Start, number }, Some(at)) => open.push((*number, at)),
            (Mark::Slur { edge: Edge::Stop, number }, Some(at)) => {
                if let Some(place) = open.iter().rposition(|(other, _)| other == number) {
                    slurs.push((open.swap_remove(place).1, at));
                }
            }
            _ => {}
        }
    }
    slurs
}

fn levels_of(score: &Score) -> Arc<[PartLevels]> {
    score.parts.iter().map(|part| PartLevels::new(part, &score.bars)).collect()
}
