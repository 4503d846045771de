//! From what a person said about one state of a score to what holds in the score as it is now.

use std::collections::BTreeMap;

use ripieno_formats::{Finding, Place, Severity};
use ripieno_score::{Crotchets, Score, Sounding};

use super::align::align;
use super::change::{Change, Instruction, Who};
use super::file::{Contents, Edge, Entry, PartName, Record, ScoreEntry};
use super::fingerprint::Fingerprint;
use super::parts::{Pair, expected, pair_parts, plain};

/// Corrections settled on a score.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Placed {
    /// What holds, in the order it was said: where two contradict each other the later wins.
    pub instructions: Vec<Instruction>,
    /// What a person should look at.
    pub findings: Vec<Finding>,
    /// Identifiers of corrections that have no place in this score; they are kept in the file.
    pub unplaced: Vec<String>,
}

/// Bars, and a part's notes in a bar, are the same music more or less from this likeness on.
const SAME_MUSIC: f32 = 0.4;

/// Where parts and bars of one state of the score are now.
struct Mapping<'a> {
    old: &'a Fingerprint,
    pairs: Vec<Option<Pair>>,
    bars: Vec<Option<(usize, f32)>>,
}

impl<'a> Mapping<'a> {
    fn new(old: &'a Fingerprint, new: &Fingerprint) -> Self {
        if old.same_music(new) {
            return Self::unchanged(old);
        }
        let found = pair_parts(old, new);
        let bars = align(old, new, &found).bars;
        let mut pairs = vec![None; old.parts.len()];
        for pair in found {
            pairs[pair.old] = Some(pair);
        }
        Self { old, pairs, bars }
    }

    /// Everything where it was.
    fn unchanged(old: &'a Fingerprint) -> Self {
        let pairs = (0..old.parts.len()).map(|part| Some(Pair { old: part, new: part, shift: 0 })).collect();
        Self { old, pairs, bars: (0..old.lengths.len()).map(|bar| Some((bar, 1.0))).collect() }
    }
}

/// Settles every correction on the score as it is now; `sounding` is its view with each bar once, `file` its name for findings.
pub(super) fn place(file: &str, contents: &Contents, score: &Score, sounding: &Sounding) -> Placed {
    let now = Fingerprint::new(score, sounding);
    let mut mappings: BTreeMap<&str, Mapping<'_>> = BTreeMap::new();
    let here = Mapping::unchanged(&now);
    let mut placed = Placed::default();
    for entry in &contents.entries {
        let Entry::Known(record) = entry else { continue };
        let settled = match &record.score {
            None => Placing { record, map: &here, now: &now, score, sounding }.settle(),
            Some(id) => match print_of(contents, id) {
                None => Err(format!("the fingerprint {id:?} of the score it was made on is missing from the file")),
                Some(print) => {
                    let map = mappings.entry(id.as_str()).or_insert_with(|| Mapping::new(print, &now));
                    Placing { record, map, now: &now, score, sounding }.settle()
                }
            },
        };
        let mut tell = |severity, code, what: String, hint: &str| {
            let place = Place { file: file.to_owned(), part: part_word(record), bar: Some(record.from.word()), line: None };
            let what = format!("correction {} ({}, {}) {what}", record.id, record.change, span_words(record));
            placed.findings.push(Finding { severity, code, place, what, hint: hint.to_owned() });
        };
        match settled {
            Ok((instruction, remarks)) => {
                for remark in remarks {
                    let hint = "It is in force; look whether it still holds";
                    tell(remark.0, "correction-on-changed-music", remark.1, hint);
                }
                placed.instructions.push(instruction);
            }
            Err(why) => {
                let hint = "It is kept in the corrections file and not in force; set it anew where it belongs, or remove it";
                tell(Severity::Warning, "correction-without-place", format!("has no place: {why}"), hint);
                placed.unplaced.push(record.id.clone());
            }
        }
    }
    placed
}

fn print_of<'a>(contents: &'a Contents, wanted: &str) -> Option<&'a Fingerprint> {
    contents.scores.iter().find_map(|score| match score {
        ScoreEntry::Known { id, print, .. } if id == wanted => Some(&**print),
        _ => None,
    })
}

impl Edge {
    /// The bar as a musician would call it.
    pub(super) fn word(&self) -> String {
        let counted = || self.bar.map_or_else(String::new, |bar| (u64::from(bar) + 1).to_string());
        self.printed.clone().filter(|printed| !printed.is_empty()).unwrap_or_else(counted)
    }
}

/// "bar 12", "bars 35 to 45"; where it begins or ends inside a bar "bars 35, after 2 crotchets, to 45, the first 3 1/2 crotchets".
pub(super) fn span_words(record: &Record) -> String {
    let crotchets = |at: Crotchets| format!("{} crotchet{}", mixed(at), if at == Crotchets::whole(1) { "" } else { "s" });
    let (first, last) = (record.from.word(), record.to.word());
    let inside = |edge: &Edge| edge.at.filter(|at| !at.is_zero());
    let from = inside(&record.from).map(|at| format!("after {}", crotchets(at)));
    let to = inside(&record.to).map(|at| match at {
        at if at == Crotchets::whole(1) => "the first crotchet".to_owned(),
        at => format!("the first {}", crotchets(at)),
    });
    match (first == last, from, to) {
        (true, None, None) => format!("bar {first}"),
        (true, Some(from), None) => format!("bar {first}, {from}"),
        (true, None, Some(to)) => format!("bar {first}, {to}"),
        (true, Some(from), Some(to)) => format!("bar {first}, {from}, to {to}"),
        (false, from, to) => {
            let from = from.map_or_else(String::new, |from| format!(", {from},"));
            let to = to.map_or_else(String::new, |to| format!(", {to}"));
            format!("bars {first}{from} to {last}{to}")
        }
    }
}

/// "3 1/2": whole crotchets and the rest.
fn mixed(at: Crotchets) -> String {
    let (whole, rest) = (at.floor(), at - Crotchets::whole(at.floor()));
    match (whole, rest.is_zero()) {
        (whole, true) => whole.to_string(),
        (0, false) => rest.to_string(),
        (whole, false) => format!("{whole} {rest}"),
    }
}

fn part_word(record: &Record) -> Option<String> {
    record.parts.first().map(PartName::word)
}

impl PartName {
    /// The part as a musician would call it.
    pub(super) fn word(&self) -> String {
        let counted = || self.place.map_or_else(String::new, |place| format!("part {}", place.saturating_add(1)));
        self.name.clone().or_else(|| self.id.clone()).unwrap_or_else(counted)
    }

    /// The one part that bears all that is said of it.
    fn find(&self, print: &Fingerprint) -> Result<usize, String> {
        let is = |(place, part): &(usize, &super::fingerprint::PartPrint)| {
            self.name.as_ref().is_none_or(|name| plain(name) == plain(&part.name))
                && self.id.as_ref().is_none_or(|id| *id == part.id)
                && self.place.is_none_or(|wanted| wanted == *place)
        };
        let mut found = print.parts.iter().enumerate().filter(is).map(|(place, _)| place);
        match (found.next(), found.next()) {
            (Some(place), None) => Ok(place),
            (Some(_), Some(_)) => Err(format!("several parts are called {}; give the \"place\" of the one meant", self.word())),
            (None, _) => Err(format!("there is no part {}", self.word())),
        }
    }
}

/// One correction on its way.
struct Placing<'a> {
    record: &'a Record,
    map: &'a Mapping<'a>,
    now: &'a Fingerprint,
    score: &'a Score,
    sounding: &'a Sounding,
}

type Remark = (Severity, String);

impl Placing<'_> {
    fn settle(&self) -> Result<(Instruction, Vec<Remark>), String> {
        let record = self.record;
        let mut remarks = Vec::new();
        let mut pairs: Vec<(Pair, &PartName)> = Vec::new();
        for part in &record.parts {
            match self.map.pairs[part.find(self.map.old)?] {
                Some(pair) => pairs.push((pair, part)),
                None => remarks.push((Severity::Warning, format!("no longer finds the part {}", part.word()))),
            }
        }
        if pairs.is_empty() {
            return Err("the part is no longer in the score".to_owned());
        }
        let (first, last, to_at) = self.bars()?;
        let found: Vec<(usize, usize, f32)> =
            (first..=last).filter_map(|bar| self.map.bars[bar].map(|(new, alike)| (bar, new, alike))).collect();
        let (Some(begin), Some(end)) = (found.first(), found.last()) else {
            return Err("its bars are no longer in the score".to_owned());
        };
        let own = self.likeness_of_notes(&pairs, &found);
        if found.iter().all(|bar| bar.2 < SAME_MUSIC) && own.is_none_or(|own| own < SAME_MUSIC) {
            return Err("the music it was made on is no longer in the score".to_owned());
        }
        let moment = |bar: usize, at: Option<Crotchets>, edge: Crotchets| {
            let bar = &self.sounding.bars[bar];
            bar.start + at.map_or(edge, |at| at.min(bar.length))
        };
        let from = moment(begin.1, record.from.at.filter(|_| begin.0 == first), Crotchets::ZERO);
        let to = moment(end.1, to_at.filter(|_| end.0 == last), self.sounding.bars[end.1].length);
        if from >= to {
            return Err("the beats it was made on are no longer in the score".to_owned());
        }
        let mut who: Vec<Who> = Vec::new();
        for (pair, part) in &pairs {
            let one = Who { part: pair.new, voice: part.voice, staff: part.staff };
            let played = found.iter().any(|bar| !expected(self.map.old, *pair, bar.0).is_silent()) || part.voice.is_some();
            if played && !matches!(record.change, Change::Remark(_)) && !plays(self.sounding, &one, from, to) {
                remarks.push((Severity::Warning, format!("finds that {} is silent there now", part.word())));
            } else {
                who.push(one);
            }
        }
        if who.is_empty() {
            return Err("nothing sounds there in its part".to_owned());
        }
        if own.is_some_and(|own| own < SAME_MUSIC) {
            remarks.push((Severity::Warning, "stands on notes that have all been changed".to_owned()));
        }
        let gone = last + 1 - first - found.len();
        if gone > 0 {
            remarks.push((Severity::Note, format!("has lost {gone} of its {} bars", last + 1 - first)));
        }
        who.sort_by_key(|one| (one.part, one.staff, one.voice));
        who.dedup();
        let (correction, change) = (record.id.clone(), record.change.clone());
        Ok((Instruction { correction, change, who, from, to }, remarks))
    }

    /// First and last bar of the span in the older score, and where in the last it ends.
    fn bars(&self) -> Result<(usize, usize, Option<Crotchets>), String> {
        let (from, to) = (&self.record.from, &self.record.to);
        let (first, mut last) = (self.bar(from)?, self.bar(to)?);
        let mut at = to.at;
        // An end at the barline belongs to the bar before.
        if at.is_some_and(Crotchets::is_zero) && last > first {
            (last, at) = (last - 1, None);
        }
        if first > last {
            return Err("it ends before it begins".to_owned());
        }
        Ok((first, last, at))
    }

    fn bar(&self, edge: &Edge) -> Result<usize, String> {
        let count = self.map.old.lengths.len();
        if let Some(bar) = edge.bar {
            let index = usize::try_from(bar).ok().filter(|&bar| bar < count);
            return index.ok_or_else(|| format!("bar {bar}, counted from 0, lies beyond the {count} bars"));
        }
        let wanted = edge.printed.as_deref().unwrap_or_default();
        let mut found = self.score.bars.iter().enumerate().filter(|(_, bar)| &*bar.number == wanted).map(|(index, _)| index);
        match (found.next(), found.next()) {
            (Some(index), None) => Ok(index),
            (Some(_), Some(_)) => Err(format!("several bars bear the number {wanted}; give the \"bar\" counted from 0")),
            (None, _) => Err(format!("there is no bar {wanted:?}")),
        }
    }

    /// The greatest likeness of any part's notes in any bar, before and now; `None` where nothing sounded.
    fn likeness_of_notes(&self, pairs: &[(Pair, &PartName)], found: &[(usize, usize, f32)]) -> Option<f32> {
        let likeness = |(pair, (old, new, _)): (Pair, (usize, usize, f32))| {
            let before = expected(self.map.old, pair, old);
            let after = self.now.parts.get(pair.new)?.cells.get(new)?;
            (!before.is_silent()).then(|| before.likeness(*after))
        };
        let all = pairs.iter().flat_map(|(pair, _)| found.iter().map(|bar| (*pair, *bar)));
        all.filter_map(likeness).max_by(f32::total_cmp)
    }
}

/// Whether a part, or a line of it, sounds within the span.
fn plays(sounding: &Sounding, who: &Who, from: Crotchets, to: Crotchets) -> bool {
    let notes = &sounding.notes;
    let Some(rows) = notes.of_part.get(who.part) else { return false };
    rows.clone().take_while(|&row| notes.onset[row] < to).any(|row| {
        let (onset, end) = (notes.onset[row], notes.onset[row] + notes.duration[row]);
        (end > from || onset >= from)
            && who.voice.is_none_or(|voice| voice == notes.voice[row])
            && who.staff.is_none_or(|staff| staff == notes.staff[row])
    })
}
