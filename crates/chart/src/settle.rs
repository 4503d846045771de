//! From what a chart says to what an analysed score is made of.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::catalogue::{Instrument, catalogue};
use ripieno_instruments::recognise::{Clues, recognise};
use ripieno_score::{
    About, CountReason, Crotchets, Notes, Part, PartInstrument, Pitch, PlayerCount, Score, Sounding, Step, Unroll,
};
use ripieno_texture::{Carried, Doubling, Doublings, Evidence, Held, Line, Lines, Role, RoleReading, RoleSpan, Techniques, Told};

use crate::bars::bars;
use crate::called::{LONGEST, People};
use crate::layers::layers;
use crate::melody::melody;
use crate::model::{Chart, ChartPart, Row};
use crate::paint::{Painted, Stretch};
use crate::place::Places;

/// Most parts.
const MOST_PARTS: usize = 1_000;
/// Most rows.
const MOST_ROWS: usize = 100_000;
/// Bars times parts, or times lines that sound in them, beyond which a chart is refused: 25 times a long opera act.
const MOST_CELLS: usize = 2_000_000;
/// The same of stretches of sound.
const MOST_STRETCHES: usize = 1_000_000;
/// Most lines of one part.
const MOST_LINES: u16 = 64;
/// Most doublings.
const MOST_DOUBLINGS: usize = 200_000;
/// Most stretches looked at to find them.
const MOST_LOOKED_AT: usize = 20_000_000;
/// What is said of more.
const MANY_DOUBLINGS: &str = "with this row the chart has more doublings than can be";
/// Most faults told one by one.
pub(crate) const MOST_FAULTS: usize = 100;
/// What to do with a chart that is too large.
const SMALLER: &str = "Chart one movement at a time";

/// A chart settled: what an analysed score is made of, without notes.
///
/// Rows of [`Sounding::notes`] are stretches in which a line sounds, without key and without a written note; [`Line::attacks`] are empty: neither is
/// known. A [`Doubling`] counts as one common note where it is full and as none where it is in part.
#[derive(Debug, Clone, PartialEq)]
pub struct Settled {
    /// Parts and bars; no notes.
    pub score: Score,
    /// What sounds when, each bar once in the order of the page.
    pub sounding: Sounding,
    /// Ways of playing, by row of [`Sounding::notes`].
    pub ways: Vec<Techniques>,
    /// For each row of [`Sounding::notes`] the row of the chart it comes from.
    pub said: Vec<usize>,
    /// The lines.
    pub lines: Lines,
    /// Roles, layers and melody.
    pub roles: RoleReading,
    /// Who doubles whom.
    pub doublings: Doublings,
    /// What is worth knowing: where one row takes over from another.
    pub notes: Vec<Fault>,
}

/// Something about one table of a chart.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Fault {
    /// The row, counted from 0.
    pub row: Option<usize>,
    /// The part.
    pub part: Option<usize>,
    /// The stretch of bars.
    pub run: Option<usize>,
    /// What is the matter, without a full stop.
    pub what: String,
    /// What to do, without a full stop; may be empty.
    pub hint: String,
}

impl Fault {
    pub(crate) fn whole(what: impl Into<String>, hint: &str) -> Self {
        Self { what: what.into(), hint: hint.to_owned(), ..Self::default() }
    }

    pub(crate) fn of_run(run: usize, what: impl Into<String>, hint: &str) -> Self {
        Self { run: Some(run), ..Self::whole(what, hint) }
    }

    fn of_row(row: usize, what: impl AsRef<str>, hint: &str) -> Self {
        Self { row: Some(row), ..Self::whole(format!("row {}: {}", row + 1, what.as_ref()), hint) }
    }

    fn of_part(part: usize, what: impl Into<String>, hint: &str) -> Self {
        Self { part: Some(part), ..Self::whole(what, hint) }
    }
}

/// Faults on the way; the first hundred are kept, the others counted.
#[derive(Debug, Default)]
pub(crate) struct Faults {
    first: Vec<Fault>,
    all: usize,
}

impl Faults {
    pub fn push(&mut self, fault: Fault) {
        self.all += 1;
        if self.first.len() < MOST_FAULTS {
            self.first.push(fault);
        }
    }

    /// All of them: the first, and how many more.
    fn told(mut self) -> Vec<Fault> {
        let more = self.all - self.first.len();
        if more > 0 {
            self.first.push(Fault::whole(format!("and {more} more"), ""));
        }
        self.first
    }
}

/// One row, with whom and when found.
pub(crate) struct Meant {
    pub parts: Vec<usize>,
    pub line: u16,
    pub spans: Vec<(Crotchets, Crotchets)>,
}

/// A line, and when it sounds.
pub(crate) struct Sounds {
    pub part: usize,
    pub place: u16,
    pub stretches: Vec<Stretch>,
}

impl Chart {
    /// Settles the chart.
    ///
    /// # Errors
    /// All that is wrong: people and bars that are not there, bars without a length, an empty line-up, more of anything than can be.
    /// A hundred faults are told, and how many more there are.
    pub fn settle(&self) -> Result<Settled, Vec<Fault>> {
        let mut faults = Faults::default();
        let score = self.score(&mut faults);
        if faults.all > 0 {
            return Err(faults.told());
        }
        let mut people = People::of(&score);
        let meant = self.meant(&Places::of(&score), &mut people, &mut faults);
        let (mut sounds, mut notes) = self.paint(&meant, score.parts.len(), &mut faults);
        let index: BTreeMap<(usize, u16), usize> =
            sounds.iter().enumerate().map(|(line, sounds)| ((sounds.part, sounds.place), line)).collect();
        let doublings = self.doublings(&score, &mut people, &meant, &sounds, &index, &mut notes, &mut faults);
        if faults.all > 0 {
            return Err(faults.told());
        }
        let mut sounding = Sounding::new(&score, Unroll::AsWritten);
        if cells(&sounds, &sounding) > MOST_CELLS {
            let what = format!("the lines sound in more than {MOST_CELLS} bars, added up, which is more than can be");
            return Err(vec![Fault::whole(what, SMALLER)]);
        }
        let melody = melody(self, &meant, &sounds, &index, &sounding).map_err(|fault| vec![fault])?;
        cut(&mut sounds, &doublings, &melody);
        let (lines, ways, said) = self.sound(&score, &mut sounding, &sounds);
        let spans = sounds.iter().enumerate().flat_map(|(line, sounds)| self.spans(line, sounds, &sounding)).collect::<Vec<_>>();
        let layers = layers(self, &sounds, &sounding, &melody);
        let mut leads = vec![vec![0.0; sounding.bars.len()]; score.parts.len()];
        for carried in &melody {
            for bar in carried.bars.clone() {
                leads[carried.part][bar as usize] = 1.0;
            }
        }
        let mut roles = RoleReading { spans, layers, melody, leads };
        roles.spans.sort_by_key(|span| (span.part, span.from, span.line));
        Ok(Settled { score, sounding, ways, said, lines, roles, doublings: Doublings::of(doublings, sounds.len()), notes })
    }

    /// Parts and bars.
    fn score(&self, faults: &mut Faults) -> Score {
        for (count, most, what) in [(self.parts.len(), MOST_PARTS, "parts"), (self.rows.len(), MOST_ROWS, "rows")] {
            if count > most {
                faults.push(Fault::whole(format!("the chart has {count} {what}; {most} is the most"), SMALLER));
            }
        }
        if faults.all > 0 {
            return Score::default();
        }
        let bars = bars(&self.bars, faults);
        if self.parts.is_empty() {
            faults.push(Fault::whole(
                "the chart has no line-up",
                "Add a [[part]] with a name for each line of the score's left margin",
            ));
        }
        if self.parts.len().saturating_mul(bars.bars.len()) > MOST_CELLS {
            let what = format!("{} parts of {} bars are more than can be", self.parts.len(), bars.bars.len());
            faults.push(Fault::whole(what, SMALLER));
            return Score::default();
        }
        let mut names: BTreeSet<&str> = BTreeSet::new();
        let mut parts: Vec<Part> = Vec::new();
        for (index, told) in self.parts.iter().enumerate() {
            if told.name.trim().is_empty() {
                faults.push(Fault::of_part(index, "a part has no name", "Name it as the score's left margin does"));
            } else if told.name.chars().nth(LONGEST).or_else(|| told.instrument.chars().nth(LONGEST)).is_some() {
                let what = format!("the name of a part, and of what it plays, has at most {LONGEST} characters");
                faults.push(Fault::of_part(index, what, "Shorten it"));
                continue;
            } else if !names.insert(told.name.trim()) {
                let what = format!("two parts are called “{}”", told.name.trim());
                faults.push(Fault::of_part(index, what, "Tell them apart, as in “Horn 1.2” and “Horn 3.4”"));
            }
            let mut part = part(index, told, faults);
            if index == 0 {
                part.directions.clone_from(&bars.directions);
            }
            parts.push(part);
        }
        let creators = if self.composer.is_empty() { Vec::new() } else { vec![("composer".to_owned(), self.composer.clone())] };
        let about = About { work: self.title.clone(), movement: self.movement.clone(), creators, ..About::default() };
        let mut score = Score { about, bars: bars.bars, parts, brackets: Vec::new() };
        score.finish();
        score
    }

    /// Whom and when each row means.
    fn meant(&self, places: &Places<'_>, people: &mut People<'_>, faults: &mut Faults) -> Vec<Option<Meant>> {
        let mut all = Vec::with_capacity(self.rows.len());
        let mut count = 0usize;
        for (index, row) in self.rows.iter().enumerate() {
            let meant = meant(places, people, index, row, faults);
            count += meant.as_ref().map_or(1, |meant| meant.parts.len().max(1) * meant.spans.len().max(1));
            if count > MOST_STRETCHES / 2 {
                let what = format!("with this row the chart speaks of more than {} stretches of a part", MOST_STRETCHES / 2);
                faults.push(Fault::of_row(index, what, SMALLER));
                break;
            }
            all.push(meant);
        }
        all
    }

    /// When each line sounds, by part and place; with what was taken over from whom.
    fn paint(&self, meant: &[Option<Meant>], parts: usize, faults: &mut Faults) -> (Vec<Sounds>, Vec<Fault>) {
        let mut painted: Vec<BTreeMap<u16, Painted>> = vec![BTreeMap::new(); parts];
        let mut notes = Vec::new();
        let mut count = 0usize;
        for (index, (row, meant)) in self.rows.iter().zip(meant).enumerate() {
            let Some(meant) = meant.as_ref().filter(|_| !row.roles.is_empty()) else { continue };
            let silent = row.roles.contains(&Role::Tacet);
            let mut lost = None;
            for &part in &meant.parts {
                for &(from, to) in &meant.spans {
                    // Who is silent is so on all lines, unless one is named.
                    let every = silent && row.line.is_none();
                    count += if every { painted[part].len() } else { 1 };
                    if count > MOST_STRETCHES {
                        let what = format!("with this row the lines have more than {MOST_STRETCHES} stretches");
                        faults.push(Fault::of_row(index, what, SMALLER));
                        return (Vec::new(), notes);
                    }
                    if every {
                        for line in painted[part].values_mut() {
                            line.lay(from, to, None);
                        }
                    } else {
                        lost = lost.or(painted[part].entry(meant.line).or_default().lay(from, to, (!silent).then_some(index)));
                    }
                }
            }
            if let Some(other) = lost.filter(|_| !silent) {
                let what = format!("takes over from row {} where both speak of one line", other + 1);
                notes.push(Fault::of_row(index, what, "Say line = 2 if the part divides there"));
            }
        }
        let of_part = |(part, lines): (usize, BTreeMap<u16, Painted>)| {
            lines.into_iter().map(move |(place, line)| Sounds { part, place, stretches: line.stretches().collect() })
        };
        let sounds = painted.into_iter().enumerate().flat_map(of_part).filter(|line| !line.stretches.is_empty()).collect();
        (sounds, notes)
    }

    /// Rows of the sounding view, and the lines they form.
    fn sound(&self, score: &Score, sounding: &mut Sounding, sounds: &[Sounds]) -> (Lines, Vec<Techniques>, Vec<usize>) {
        let mut notes = Notes::default();
        let mut lines = Lines { lines: Vec::new(), of_row: Vec::new(), of_part: Vec::new() };
        let (mut ways, mut said) = (Vec::new(), Vec::new());
        for (part, printed) in score.parts.iter().enumerate() {
            let first_line = lines.lines.len();
            let own: Vec<&Sounds> = sounds.iter().filter(|sounds| sounds.part == part).collect();
            let first_row = notes.len();
            let mut rows: Vec<(Stretch, usize)> = own
                .iter()
                .enumerate()
                .flat_map(|(line, sounds)| sounds.stretches.iter().map(move |&stretch| (stretch, line)))
                .collect();
            rows.sort_by_key(|(stretch, line)| (stretch.from, *line));
            for sounds in &own {
                let told = if own.len() == 1 { Told::Alone } else { Told::Voices };
                lines.lines.push(Line { part, staff: 1, place: sounds.place, told, rows: Vec::new(), attacks: Vec::new() });
            }
            for (stretch, line) in rows {
                let row = &self.rows[stretch.row];
                let index = u32::try_from(notes.len()).unwrap_or(u32::MAX);
                let (players, reason) = people(row, stretch, printed, &own);
                notes.part.push(u16::try_from(part).unwrap_or(u16::MAX));
                notes.bar.push(u32::try_from(sounding.bar_at(stretch.from).unwrap_or(0)).unwrap_or(u32::MAX));
                notes.onset.push(stretch.from);
                notes.duration.push(stretch.to - stretch.from);
                notes.key.push(None);
                // A place on the staff, as rows without pitch have; it says nothing of pitch.
                notes.pitch.push(Pitch::new(Step::B, 0, 4));
                notes.voice.push(own[line].place);
                notes.staff.push(1);
                notes.instrument.push(0);
                notes.players.push(players);
                notes.players_reason.push(reason);
                notes.level.push(row.dynamic);
                notes.written.push(0);
                lines.of_row.push(u32::try_from(first_line + line).unwrap_or(u32::MAX));
                lines.lines[first_line + line].rows.push(index);
                ways.push(row.manner);
                said.push(stretch.row);
            }
            notes.of_part.push(first_row..notes.len());
            lines.of_part.push(first_line..lines.lines.len());
        }
        sounding.notes = notes;
        (lines, ways, said)
    }

    /// Spans of roles of a line: stretches that say the same, less than a bar apart, are one.
    fn spans(&self, line: usize, sounds: &Sounds, sounding: &Sounding) -> Vec<RoleSpan> {
        let mut spans: Vec<RoleSpan> = Vec::new();
        for stretch in &sounds.stretches {
            let row = &self.rows[stretch.row];
            let confidence = row.confidence.unwrap_or(1.0);
            let roles: Vec<Held> = row.roles.iter().map(|&role| Held { role, confidence }).collect();
            let (first, last) = (bar_of(sounding, stretch.from), last_bar(sounding, stretch.to));
            let length = sounding.bars[first as usize].length;
            match spans.last_mut().filter(|span| span.roles == roles && stretch.from - span.to < length) {
                Some(span) => (span.to, span.bars.end) = (stretch.to, last + 1),
                None => spans.push(RoleSpan {
                    part: sounds.part,
                    line,
                    bars: first..last + 1,
                    from: stretch.from,
                    to: stretch.to,
                    roles,
                    // What the analysis read of a score is no word of a person.
                    evidence: if row.confidence.is_none() { vec![Evidence::SetByHand] } else { Vec::new() },
                }),
            }
        }
        spans
    }

    /// Who doubles whom, line by line, while both sound.
    #[allow(clippy::too_many_arguments)] // what has been found so far, and two lists to tell
    fn doublings(
        &self,
        score: &Score,
        people: &mut People<'_>,
        meant: &[Option<Meant>],
        sounds: &[Sounds],
        index: &BTreeMap<(usize, u16), usize>,
        notes: &mut Vec<Fault>,
        faults: &mut Faults,
    ) -> Vec<Doubling> {
        let starts: Vec<Crotchets> = score.bars.iter().map(|bar| bar.start).collect();
        let bar =
            |at: Crotchets| u32::try_from(starts.partition_point(|start| *start <= at).saturating_sub(1)).unwrap_or(u32::MAX);
        let mut all: Vec<Doubling> = Vec::new();
        let mut looked_at = 0usize;
        for (at, (row, meant)) in self.rows.iter().zip(meant).enumerate() {
            let (Some(doubles), Some(meant)) = (&row.doubles, meant) else { continue };
            let targets = match people.called(&doubles.who) {
                Ok(targets) => targets,
                Err(what) => {
                    faults.push(Fault::of_row(at, what, ""));
                    continue;
                }
            };
            let before = all.len();
            for &part in &meant.parts {
                for &target in targets {
                    looked_at += 1;
                    if looked_at > MOST_LOOKED_AT {
                        faults.push(Fault::of_row(at, MANY_DOUBLINGS, SMALLER));
                        return Vec::new();
                    }
                    let own = index.get(&(part, meant.line));
                    let other = index.get(&(target, doubles.line.unwrap_or(1)));
                    let (Some(&own), Some(&other)) = (own, other) else { continue };
                    if own == other {
                        continue;
                    }
                    for &(from, to) in &meant.spans {
                        let within = |line: usize| within(&sounds[line].stretches, from, to);
                        let (one, two) = (within(own), within(other));
                        looked_at += one.len() + two.len();
                        if all.len() > MOST_DOUBLINGS || looked_at > MOST_LOOKED_AT {
                            faults.push(Fault::of_row(at, MANY_DOUBLINGS, SMALLER));
                            return Vec::new();
                        }
                        for (from, to) in both(one, two, from, to) {
                            let up = doubles.octaves.clamp(-9, 9) * 12;
                            let (a, b, interval) = if own < other { (own, other, -up) } else { (other, own, up) };
                            let shared = u32::from(!doubles.in_part);
                            // A moment before the end lies in the last bar.
                            let bars = (
                                bar(from),
                                bar(to)
                                    .saturating_sub(u32::from(starts.binary_search(&to).is_ok() || to >= score.length()))
                                    .max(bar(from)),
                            );
                            all.push(Doubling { a, b, interval, a_attacks: (0, 0), b_attacks: (0, 0), from, to, bars, shared });
                        }
                    }
                }
            }
            if all.len() == before {
                let what = format!("doubles {} where one of the two does not sound", doubles.who);
                notes.push(Fault::of_row(at, what, "Give both a role in these bars, or take the doubling out"));
            }
        }
        all.sort_by_key(|one| (one.from, one.a, one.b, one.interval));
        all.dedup();
        all
    }
}

/// Cuts stretches where a doubling or a carrier of the melody begins or ends: what is counted moment by moment has to see a moment there.
fn cut(sounds: &mut [Sounds], doublings: &[Doubling], melody: &[Carried]) {
    let mut edges: Vec<BTreeSet<Crotchets>> = vec![BTreeSet::new(); sounds.len()];
    doublings.iter().for_each(|one| edges[one.a].extend([one.from, one.to]));
    melody.iter().for_each(|one| edges[one.line].extend([one.from, one.to]));
    for (line, edges) in sounds.iter_mut().zip(edges) {
        let mut pieces = Vec::with_capacity(line.stretches.len());
        for stretch in std::mem::take(&mut line.stretches) {
            let mut from = stretch.from;
            // Strictly inside: two open ends need no range of their own.
            for &edge in edges.range(stretch.from..stretch.to).filter(|edge| **edge > stretch.from) {
                pieces.push(Stretch { from, to: edge, ..stretch });
                from = edge;
            }
            pieces.push(Stretch { from, ..stretch });
        }
        line.stretches = pieces;
    }
}

/// The bars in which lines sound, added up over the lines.
fn cells(sounds: &[Sounds], sounding: &Sounding) -> usize {
    let bars = |one: &Stretch| (last_bar(sounding, one.to) - bar_of(sounding, one.from)) as usize + 1;
    sounds.iter().flat_map(|line| &line.stretches).map(bars).sum()
}

/// The stretches that sound between `from` and `to`.
fn within(all: &[Stretch], from: Crotchets, to: Crotchets) -> &[Stretch] {
    let first = all.partition_point(|one| one.to <= from);
    &all[first..all.partition_point(|one| one.from < to).max(first)]
}

/// Times between `from` and `to` in which two lines sound at once, those that abut as one.
fn both(a: &[Stretch], b: &[Stretch], from: Crotchets, to: Crotchets) -> Vec<(Crotchets, Crotchets)> {
    let joined = |all: &[Stretch]| -> Vec<(Crotchets, Crotchets)> {
        let mut joined: Vec<(Crotchets, Crotchets)> = Vec::new();
        for one in all {
            match joined.last_mut().filter(|last| last.1 == one.from) {
                Some(last) => last.1 = one.to.min(to),
                None => joined.push((one.from.max(from), one.to.min(to))),
            }
        }
        joined
    };
    let (a, b) = (joined(a), joined(b));
    let (mut at, mut found) = (0, Vec::new());
    for (from, to) in a {
        while b.get(at).is_some_and(|other| other.1 <= from) {
            at += 1;
        }
        found.extend(b[at..].iter().take_while(|other| other.0 < to).map(|other| (from.max(other.0), to.min(other.1))));
    }
    found
}

pub(crate) fn bar_of(sounding: &Sounding, at: Crotchets) -> u32 {
    u32::try_from(sounding.bar_at(at).unwrap_or(0)).unwrap_or(u32::MAX)
}

/// The bar in which a stretch that ends at `to` still sounds.
pub(crate) fn last_bar(sounding: &Sounding, to: Crotchets) -> u32 {
    let next = sounding.bars.partition_point(|bar| bar.start < to);
    u32::try_from(next.saturating_sub(1)).unwrap_or(u32::MAX)
}

/// People on a stretch of a line.
fn people(row: &Row, stretch: Stretch, part: &Part, lines: &[&Sounds]) -> (PlayerCount, CountReason) {
    if let Some(players) = row.players {
        return (players, CountReason::Mark);
    }
    let beside = |line: &&&Sounds| {
        let next = line.stretches.partition_point(|other| other.to <= stretch.from);
        line.stretches.get(next).is_some_and(|other| other.from < stretch.to)
    };
    let several = u16::try_from(lines.iter().filter(beside).count()).unwrap_or(u16::MAX);
    match (several, part.is_body) {
        (0 | 1, false) => (part.players, CountReason::Part),
        (0 | 1, true) => (part.players, CountReason::Body),
        (_, false) => (part.players.shared(several), CountReason::Lines),
        (_, true) => (part.players.shared(several), CountReason::Divided),
    }
}

/// Whom and when a row means.
fn meant(places: &Places<'_>, people: &mut People<'_>, index: usize, row: &Row, faults: &mut Faults) -> Option<Meant> {
    let before = faults.all;
    let mut parts: Vec<usize> = Vec::new();
    let mut named: BTreeSet<usize> = BTreeSet::new();
    for who in &row.who {
        match people.called(who) {
            Ok(found) => parts.extend(found.iter().copied().filter(|part| named.insert(*part))),
            Err(what) => faults.push(Fault::of_row(index, what, "")),
        }
    }
    let mut spans = Vec::new();
    for span in &row.bars {
        match span.settle(places) {
            Ok(span) => spans.push(span),
            Err(what) => faults.push(Fault::of_row(index, what, "")),
        }
    }
    let mut fault = |what: &str, hint: &str| faults.push(Fault::of_row(index, what, hint));
    if row.who.is_empty() {
        fault("nobody is named", "Say who = \"horns\"");
    }
    if row.bars.is_empty() {
        fault("no bars are named", "Say bars = \"35-45\"");
    }
    if row.line.is_some_and(|line| line == 0 || line > MOST_LINES) {
        fault("lines of a part are counted from 1 to 64", "");
    }
    if row.layer.chars().nth(LONGEST).is_some() {
        fault("a layer is called by a letter, not by so many", "");
    }
    if row.confidence.is_some_and(|confidence| !(0.0..=1.0).contains(&confidence)) {
        fault("confidence lies between 0 and 1", "");
    }
    if row.roles.is_empty() && !row.lead && row.doubles.is_none() {
        fault("the row says nothing: it has no role, leads nobody and doubles nobody", "Give it a role");
    }
    let nothing = PlayerCount::exactly(0);
    if row.players == Some(nothing) {
        fault("nobody plays in this row", "Say role = \"tacet\" instead");
    }
    (faults.all == before).then(|| Meant { parts, line: row.line.unwrap_or(1), spans })
}

/// Below this a name is not believed to be an instrument.
const SURE: f32 = 0.6;

fn part(index: usize, told: &ChartPart, faults: &mut Faults) -> Part {
    let named = recognise(&Clues { name: &told.name, ..Clues::default() });
    let instrument: &'static Instrument = if told.instrument.is_empty() {
        if named.fallback || named.confidence < SURE {
            let what = format!("“{}” is no instrument the catalogue knows", told.name);
            faults.push(Fault::of_part(index, what, "Add what it plays: instrument = \"horn\""));
        }
        named.instrument
    } else {
        let given = catalogue().by_id(&told.instrument).or_else(|| {
            let found = recognise(&Clues { name: &told.instrument, ..Clues::default() });
            (!found.fallback && found.confidence >= SURE).then_some(found.instrument)
        });
        given.unwrap_or_else(|| {
            let what = format!("“{}” is no instrument the catalogue knows", told.instrument);
            faults.push(Fault::of_part(index, what, "Name it as a score would, such as “horn” or “bass trombone”"));
            named.instrument
        })
    };
    let usual = PlayerCount::between(u16::from(instrument.players.0.max(1)), u16::from(instrument.players.1.max(1)));
    let players = told
        .players
        .or_else(|| named.printed_players().map(|count| PlayerCount::exactly(count.max(1))))
        .unwrap_or(if instrument.section_instrument { usual } else { PlayerCount::exactly(1) });
    let is_body = told.body.unwrap_or(instrument.section_instrument && players.most > 2);
    Part {
        id: format!("P{}", index + 1),
        name: told.name.trim().to_owned(),
        instruments: vec![PartInstrument {
            id: format!("P{}-I1", index + 1),
            name: instrument.name().to_owned(),
            ..PartInstrument::default()
        }],
        staves: 1,
        players,
        is_body,
        instrument_id: instrument.id.clone(),
        ..Part::default()
    }
}
