//! The sketch: strands of music with a role, in concert pitch.
//!
//! A sketch is a score like any other; its strands are read from staves named by role ("Melody", "Chords", "Bass", "Figure",
//! "Answer" ...), or from the roles that `texture` found in it. [`reduce`] makes one of bars of a studied score.

use ripieno_score::{
    About, BarIndex, Change, ChangeKind, Clef, ClefSign, Crotchets, DirectionKind, Part, Pitch, Score, Sounding, Transposition,
    Unroll,
};
use ripieno_texture::{Harmony, Lines, Role, RoleReading, harmony};

use crate::notate::{Event, Like, lay};

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
}

impl Strand {
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

    /// The note that sounds at a moment; of several the one begun last.
    #[must_use]
    pub fn at(&self, at: Crotchets) -> Option<&SketchNote> {
        let next = self.notes.partition_point(|note| note.onset <= at);
        self.notes[..next].iter().rev().take(16).find(|note| at < note.end())
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
            let name = &score.parts[part].name;
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
                    })
                };
                let mut found: Vec<SketchNote> = rows.into_iter().filter_map(of_row).collect();
                // Grace notes stay in their order, before the note they lead to.
                let height = |note: &SketchNote| note.duration.is_positive().then(|| note.key());
                found.sort_by_key(|note| (note.onset, note.duration.is_positive(), height(note)));
                Strand { name, role, part, notes: found }
            };
            let whole = strand(name.clone(), sounding.notes.of_part[part].clone().collect());
            if whole.is_chordal() {
                strands.push(whole);
                continue;
            }
            for (n, line) in lines.of_part[part].clone().enumerate() {
                let name = if n == 0 { name.clone() } else { format!("{name}, line {}", n + 1) };
                strands.push(strand(name, lines.lines[line].rows.iter().map(|&row| row as usize).collect()));
            }
        }
        strands.retain(|strand| !strand.notes.is_empty());
        let harmony = harmony(&sounding);
        Some(Self { score, sounding, strands, harmony, remarks })
    }

    /// The first strand of a role.
    #[must_use]
    pub fn strand(&self, role: Role) -> Option<usize> {
        self.strands.iter().position(|strand| strand.role == role)
    }

    /// When a bar begins.
    #[must_use]
    pub fn bar_start(&self, bar: usize) -> Crotchets {
        self.score.bars.get(bar).map_or_else(|| self.score.length(), |bar| bar.start)
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
        let of = |part: &Part| ripieno_score::PartLevels::new(part, &self.score.bars).at(1, 1, at).map(|level| level.0);
        of(&self.score.parts[part]).or_else(|| self.score.parts.iter().find_map(of))
    }
}

/// Strands of a reduction, in the order of the page.
const STAVES: [(Role, &str); 7] = [
    (Role::Melody, "Melody"),
    (Role::Countermelody, "Answer"),
    (Role::Figuration, "Figure"),
    (Role::Rhythm, "Rhythm"),
    (Role::Harmony, "Chords"),
    (Role::Pedal, "Pedal"),
    (Role::Bass, "Bass"),
];

/// Which strand of a reduction a role goes to.
const fn staff_of(role: Role) -> Option<Role> {
    Some(match role {
        Role::Melody => Role::Melody,
        Role::Countermelody => Role::Countermelody,
        Role::Bass => Role::Bass,
        Role::Harmony => Role::Harmony,
        Role::Pedal => Role::Pedal,
        Role::Rhythm | Role::Punctuation => Role::Rhythm,
        Role::Figuration => Role::Figuration,
        _ => return None,
    })
}

/// Reduces bars of a studied score to a condensed sketch by role, in concert pitch: one staff a role. A line strand takes, bar by bar, the line that
/// leads (melody: the strongest lead; others: the one with most attacks, of equals the highest, for the bass the lowest); chords take all
/// pitches of their lines, each once. The sketch has the bars asked for alone, renumbered from their printed numbers.
#[must_use]
pub fn reduce(score: &Score, sounding: &Sounding, lines: &Lines, roles: &RoleReading, bars: std::ops::Range<usize>) -> Sketch {
    let bars = bars.start.min(score.bars.len())..bars.end.min(score.bars.len());
    let start = score.bars.get(bars.start).map_or(Crotchets::ZERO, |bar| bar.start);
    let mut reduced = Score { about: About { concert_pitch: true, ..score.about.clone() }, ..Score::default() };
    reduced.bars = score.bars[bars.clone()]
        .iter()
        .map(|bar| ripieno_score::Bar {
            start: bar.start - start,
            repeat_start: false,
            repeat_end: None,
            ending_start: Vec::new(),
            ending_stop: false,
            jumps: Vec::new(),
            ..bar.clone()
        })
        .collect();
    if let Some(first) = reduced.bars.first_mut()
        && first.metre.is_none()
    {
        first.metre = score.bars[..=bars.start].iter().rev().find_map(|bar| bar.metre.clone());
    }
    for (role, name) in STAVES {
        let chordal = matches!(role, Role::Harmony | Role::Rhythm);
        // (row) of each strand.
        let mut rows: Vec<usize> = Vec::new();
        for bar in bars.clone() {
            let Ok(played) = u32::try_from(bar) else { continue };
            let mut here: Vec<(f32, i32, usize)> = Vec::new();
            for span in roles.spans.iter().filter(|span| span.bars.contains(&played) && staff_of(span.role()) == Some(role)) {
                let line = &lines.lines[span.line];
                let (from, to) = (score.bars[bar].start, score.bars[bar].start + score.bars[bar].length);
                let attacks = &line.attacks[line.attacks_in(from, to)];
                if attacks.is_empty() || attacks.iter().any(|attack| attack.top.is_none()) {
                    continue;
                }
                #[allow(clippy::cast_precision_loss)] // attacks of a bar
                let weight = if role == Role::Melody {
                    roles.leads.get(span.part).and_then(|leads| leads.get(bar)).copied().unwrap_or(0.0)
                } else {
                    attacks.len() as f32
                };
                let top = attacks.iter().filter_map(|attack| attack.top).map(i32::from).sum::<i32>()
                    / i32::try_from(attacks.len()).unwrap_or(1).max(1);
                here.push((weight, if role == Role::Bass { -top } else { top }, span.line));
            }
            here.sort_by(|a, b| b.0.total_cmp(&a.0).then(b.1.cmp(&a.1)).then(a.2.cmp(&b.2)));
            if !chordal {
                here.truncate(1);
            }
            for (_, _, line) in here {
                let of_line = lines.lines[line].rows.iter().map(|&row| row as usize);
                rows.extend(of_line.filter(|&row| sounding.notes.bar[row] == played && sounding.notes.key[row].is_some()));
            }
        }
        if rows.is_empty() {
            continue;
        }
        rows.sort_by_key(|&row| (sounding.notes.onset[row], sounding.notes.key[row], row));
        rows.dedup();
        let events = if chordal { chord_events(sounding, &rows, start) } else { line_events(sounding, &rows, start) };
        let mut part = Part { id: format!("S{}", reduced.parts.len() + 1), name: name.to_owned(), staves: 1, ..Part::default() };
        // Chords without length of their own (grace notes) say nothing of harmony.
        lay(&mut part, &reduced.bars, &events, &score.parts, true);
        let mean = events.iter().flat_map(|event| &event.pitches).map(|(pitch, _)| pitch.semitones()).sum::<i32>()
            / i32::try_from(events.iter().map(|event| event.pitches.len()).sum::<usize>()).unwrap_or(1).max(1);
        let (sign, line) = if mean < 58 { (ClefSign::F, 4) } else { (ClefSign::G, 2) };
        let at = |kind| Change { bar: BarIndex(0), at: Crotchets::ZERO, staff: None, kind };
        part.changes.push(at(ChangeKind::Clef(Clef { sign, line, octaves: 0 })));
        if let Some(key) = concert_key(score, bars.start) {
            part.changes.push(at(ChangeKind::Key(key)));
        }
        // Levels come from the part that has the strand in the first bar, or from any.
        part.directions = levels(score, sounding, &rows, &bars);
        reduced.parts.push(part);
    }
    tempo(score, &bars, &mut reduced);
    reduced.finish();
    let mut sketch = Sketch::by_names(reduced.clone()).unwrap_or_else(|| {
        let sounding = Sounding::new(&reduced, Unroll::AsWritten);
        Sketch {
            harmony: Harmony::default(),
            strands: Vec::new(),
            remarks: vec!["nothing sounds in these bars".to_owned()],
            sounding,
            score: reduced,
        }
    });
    // One staff, one strand: a line read as several by its page would be cast twice.
    sketch.strands.dedup_by_key(|strand| strand.part);
    sketch
}

/// The rows of a line strand as events; what overlaps the next is cut there.
fn line_events(sounding: &Sounding, rows: &[usize], start: Crotchets) -> Vec<Event> {
    let notes = &sounding.notes;
    let mut events: Vec<Event> = Vec::new();
    for &row in rows {
        if !notes.duration[row].is_positive() {
            continue;
        }
        let (from, to) = (notes.onset[row] - start, notes.onset[row] + notes.duration[row] - start);
        match events.last_mut() {
            Some(last) if last.from == from => {
                // Of a chord the highest note is the line.
                if notes.pitch[row].semitones() > last.pitches[0].0.semitones() {
                    *last = Event { from, to, pitches: vec![(notes.pitch[row], false)], like: None, voice: 1 };
                }
                continue;
            }
            Some(last) if last.to > from => last.to = from,
            _ => {}
        }
        let like = Like { part: usize::from(notes.part[row]), note: notes.written[row] as usize };
        events.push(Event { from, to, pitches: vec![(notes.pitch[row], false)], like: Some(like), voice: 1 });
    }
    events
}

/// The rows of a chord strand as chords, one for each moment at which any of them begins.
fn chord_events(sounding: &Sounding, rows: &[usize], start: Crotchets) -> Vec<Event> {
    let notes = &sounding.notes;
    let rows: Vec<usize> = rows.iter().copied().filter(|&row| notes.duration[row].is_positive()).collect();
    let mut onsets: Vec<Crotchets> = rows.iter().map(|&row| notes.onset[row]).collect();
    onsets.dedup();
    let mut events: Vec<Event> = Vec::new();
    for (n, &from) in onsets.iter().enumerate() {
        let end = |row: usize| notes.onset[row] + notes.duration[row];
        let now: Vec<usize> = rows.iter().copied().filter(|&row| notes.onset[row] <= from && end(row) > from).collect();
        let last = now.iter().map(|&row| end(row)).max().unwrap_or(from);
        let to = onsets.get(n + 1).map_or(last, |&next| next.min(last));
        let mut pitches: Vec<(Pitch, bool)> = Vec::new();
        for &row in &now {
            let held = notes.onset[row] < from;
            match pitches.iter_mut().find(|(pitch, _)| pitch.semitones() == notes.pitch[row].semitones()) {
                Some(known) => known.1 &= held,
                None => pitches.push((notes.pitch[row], held)),
            }
        }
        pitches.sort_by_key(|(pitch, _)| pitch.semitones());
        events.push(Event { from: from - start, to: to - start, pitches, like: None, voice: 1 });
    }
    events
}

/// The key signature in force in concert pitch.
pub(crate) fn concert_key(score: &Score, bar: usize) -> Option<ripieno_score::Key> {
    let mut best: Option<ripieno_score::Key> = None;
    for part in &score.parts {
        let before = || part.changes.iter().rev().filter(|change| change.bar.at() <= bar);
        let key = before().find_map(|change| if let ChangeKind::Key(key) = change.kind { Some(key) } else { None });
        let by = before().find_map(|change| if let ChangeKind::Transposition(by) = change.kind { Some(by) } else { None });
        let Some(key) = key else { continue };
        let by = by.unwrap_or(Transposition::NONE);
        if by.chromatic == 0 && by.diatonic == 0 {
            return Some(key);
        }
        // Seven fifths for a semitone, twelve back for a letter: a tone down is two flats more.
        let shift = (i32::from(by.chromatic) * 7 - i32::from(by.diatonic) * 12).clamp(-12, 12);
        let fifths = key.fifths.saturating_add(i8::try_from(shift).unwrap_or(0));
        best = best.or(Some(ripieno_score::Key { fifths, major: key.major }));
    }
    best
}

/// Dynamics of the strand: the level of its rows where it changes.
fn levels(score: &Score, sounding: &Sounding, rows: &[usize], bars: &std::ops::Range<usize>) -> Vec<ripieno_score::Direction> {
    let mut last: Option<&'static str> = None;
    let mut found = Vec::new();
    for &row in rows {
        let Some(level) = sounding.notes.level[row] else { continue };
        let mark = level.mark();
        if last == Some(mark) {
            continue;
        }
        last = Some(mark);
        let bar = sounding.notes.bar[row] as usize;
        let Some(bar_start) = score.bars.get(bar).map(|bar| bar.start) else { continue };
        let Some(level) = ripieno_score::DynamicLevel::from_mark(mark) else { continue };
        found.push(ripieno_score::Direction {
            bar: BarIndex(u32::try_from(bar - bars.start).unwrap_or(0)),
            at: sounding.notes.onset[row] - bar_start,
            staff: 1,
            voice: None,
            above: Some(false),
            kind: DirectionKind::Dynamic(ripieno_score::DynamicMark::Level(level)),
        });
    }
    found
}

/// Tempo in force at the first bar, and the marks after it, on the first staff.
fn tempo(score: &Score, bars: &std::ops::Range<usize>, reduced: &mut Score) {
    let mut marks: Vec<ripieno_score::Direction> = Vec::new();
    let mut before: Option<ripieno_score::Direction> = None;
    for part in &score.parts {
        for direction in &part.directions {
            let kept = matches!(
                direction.kind,
                DirectionKind::Metronome { .. } | DirectionKind::PlaybackTempo { .. } | DirectionKind::Rehearsal(_)
            );
            let bar = direction.bar.at();
            if !kept || bar >= bars.end {
                continue;
            }
            let moved = |bar: usize, at| ripieno_score::Direction {
                bar: BarIndex(u32::try_from(bar).unwrap_or(0)),
                at,
                staff: 1,
                voice: None,
                ..direction.clone()
            };
            if bar >= bars.start {
                let new = moved(bar - bars.start, direction.at);
                if !marks.contains(&new) {
                    marks.push(new);
                }
            } else if !matches!(direction.kind, DirectionKind::Rehearsal(_))
                && before.as_ref().is_none_or(|known| direction.bar >= known.bar)
            {
                before = Some(direction.clone());
            }
        }
    }
    let starts = marks.iter().any(|mark| mark.bar.0 == 0 && !matches!(mark.kind, DirectionKind::Rehearsal(_)));
    if let (Some(known), false) = (before, starts) {
        marks.push(ripieno_score::Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff: 1, voice: None, ..known });
    }
    if let Some(first) = reduced.parts.first_mut() {
        first.directions.extend(marks);
    }
}
