//! What a casting is worth, criterion by criterion.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_players::{Kind, Objection, Severity};
use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::balance::{Balance, mean, of_phrase, reason};
use crate::cast::Cast;
use crate::coverage::{self, Heard};
use crate::craft::craft;
use crate::lineup::Lineup;
use crate::numbers::number;
use crate::plan::{PhrasePlan, Plan};
use crate::realise::{CastNote, LineId, Seat, sounding};
use crate::sketch::Sketch;

/// One number about a casting.
#[derive(Debug, Clone, PartialEq)]
pub struct Criterion {
    /// What it is about: "chord tones sounded".
    pub name: &'static str,
    /// The number.
    pub value: f64,
    /// In what it is counted.
    pub unit: &'static str,
    /// Whether more is better.
    pub more_is_better: bool,
}

impl Criterion {
    /// The number as it is read: "98.8 %", "3", "-4.2".
    #[must_use]
    pub fn text(&self) -> String {
        let figure = |value: f64| format!("{value:.1}");
        if self.unit.starts_with("share") {
            return format!("{} %", figure(self.value * 100.0));
        }
        let plain = if self.value.fract() == 0.0 { format!("{:.0}", self.value) } else { figure(self.value) };
        if self.unit.starts_with("per cent") { format!("{plain} %") } else { plain }
    }

    /// What the number counts, without what [`Criterion::text`] says: "of the time", "places".
    #[must_use]
    pub fn counted(&self) -> &'static str {
        let bare = self.unit.strip_prefix("share").or_else(|| self.unit.strip_prefix("per cent"));
        bare.unwrap_or(self.unit).trim_start()
    }
}

/// All of them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Criteria {
    /// In a fixed order.
    pub all: Vec<Criterion>,
}

impl Criteria {
    /// The value of a criterion.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<f64> {
        self.all.iter().find(|criterion| criterion.name == name).map(|criterion| criterion.value)
    }
}

fn share(part: usize, whole: usize) -> f64 {
    if whole == 0 { 1.0 } else { number(part) / number(whole) }
}

/// What a cast is worth, and what of it has to be said.
pub(crate) struct Judged {
    pub criteria: Criteria,
    /// Phrases in which the melody may be covered.
    pub covered: Vec<Covered>,
    /// Chord tones that nobody sounds, in words.
    pub missing: Vec<String>,
}

/// Judges a cast whose objections are known.
pub(crate) fn criteria(sketch: &Sketch, lineup: &Lineup, cast: &Cast) -> Judged {
    let seats: Vec<Seat> = (0..lineup.sections.len())
        .flat_map(|section| (0..lineup.sections[section].chairs.len()).map(move |chair| (section, chair)))
        .collect();
    let notes: BTreeMap<Seat, Vec<CastNote>> = seats.iter().map(|&seat| (seat, cast.notes_of(seat))).collect();
    let spans = coverage::spans(sketch, &cast.plan);
    let heard = coverage::heard(sketch, &spans, &notes);
    let tones = |of: fn(&Heard) -> u16| heard.iter().map(|one| of(one).count_ones() as usize).sum::<usize>();
    let (wanted, missing) = (tones(|one| one.wanted), tones(|one| one.missing));
    let kept = melody(sketch, cast, &notes);
    let (mut all_notes, mut comfortable, mut beyond, mut moves, mut leaps) = (0, 0, 0, 0, 0);
    for (planned, done) in cast.plan.phrases.iter().zip(&cast.phrases) {
        let seated = lineup.holding(&planned.tasks);
        for (seat, own) in &done.notes {
            let chair = &seated.sections[seat.0].chairs[seat.1];
            all_notes += own.len();
            comfortable += own.iter().filter(|note| chair.reach.strain(note.key()) == 0).count();
            beyond += own.iter().filter(|note| !chair.reach.allows(note.key())).count();
        }
    }
    for own in notes.values() {
        for pair in own.windows(2).filter(|pair| pair[0].line.voice > 0 && pair[0].line == pair[1].line) {
            moves += 1;
            leaps += usize::from((pair[0].key() - pair[1].key()).abs() > 7);
        }
    }
    let craft = craft(sketch, lineup, cast, &notes);
    let (parallels, crossings) = motion(sketch, lineup, &notes);
    let (margins, spread_db) = balance(sketch, lineup, cast, &notes);
    let melody_db = mean(&margins.concat());
    let (busiest, longest) = endurance(sketch, &notes);
    let criterion = |name, value, unit, more_is_better| Criterion { name, value, unit, more_is_better };
    let mut found = vec![
        criterion("chord tones sounded", share(wanted - missing, wanted), "share", true),
        criterion("melody notes kept", kept, "share", true),
        criterion("what the sketch sounds", coverage::time_sounded(sketch, &spans, &notes), "share of its time", true),
        criterion("tune on top", craft.on_top, "share of its notes", true),
        criterion("phrases whose tune nobody has", number(craft.without_tune), "phrases", false),
        criterion("phrases whose bass nobody has", number(craft.without_bass), "phrases", false),
        criterion("chords turned over from below the bass", number(craft.turned_over), "places", false),
        criterion("thirds with more than two players of five", number(craft.crowded_thirds), "barlines", false),
        criterion("sevenths and leading notes left hanging", number(craft.hanging), "notes of chords", false),
        criterion("hand-offs of the tune", number(craft.hand_offs), "times all its players change", false),
        criterion("players sounding", craft.players_sounding, "on the mean of the barlines", false),
        criterion("notes beyond reach", number(beyond), "notes", false),
        criterion("notes in comfortable register", share(comfortable, all_notes), "share", true),
        criterion("leaps over a fifth in inner voices", 100.0 * share(leaps, moves.max(1)), "per cent of their steps", false),
        criterion("parallel fifths and octaves", number(parallels), "places", false),
        criterion("crossings within a section and role", number(crossings), "places", false),
        criterion("busiest player", busiest, "share of the time", false),
        criterion("longest stretch without a rest", longest, "seconds", false),
    ];
    let of = |wanted: &dyn Fn(&Objection) -> bool| number(cast.objections.iter().filter(|one| wanted(one)).count());
    let stamina =
        |one: &Objection| matches!(one.kind, Kind::Breath | Kind::NoRest | Kind::Endurance) && one.severity != Severity::Note;
    found.push(criterion("faults found by players", of(&|one| one.severity == Severity::Fault), "objections", false));
    found.push(criterion("cautions found by players", of(&|one| one.severity == Severity::Caution), "objections", false));
    found.push(criterion("faults and cautions for breath or lips", of(&stamina), "places", false));
    if let Some(db) = melody_db {
        found.push(criterion("melody louder than all others together", db, "dB, estimated", true));
    }
    if let Some(db) = spread_db {
        found.push(criterion("loudest chord tone over the softest", db, "dB, estimated", false));
    }
    let covered = cast.plan.phrases.iter().zip(&margins).filter_map(|(phrase, margins)| {
        let decibels = -mean(margins)?;
        (decibels > -COVERED).then(|| Covered { bars: phrase.bars.clone(), decibels, reason: reason(sketch, phrase) })
    });
    let missing = coverage::told(sketch, &cast.plan, &heard);
    Judged { criteria: Criteria { all: found }, covered: covered.collect(), missing }
}

/// From so many dB of sound power below all others together on, a melody is said to be in danger: our own estimate, for a line is heard by its register and
/// colour as well.
const COVERED: f64 = -6.0;

/// A phrase in which the melody may be covered.
#[derive(Debug, Clone, PartialEq)]
pub struct Covered {
    /// Its bars, as indices.
    pub bars: Range<usize>,
    /// By how many dB all others together send out more sound power, on the mean of its bars.
    pub decibels: f64,
    /// Why casting has left it so.
    pub reason: &'static str,
}

impl Covered {
    /// What has to be known of all of them, told once.
    #[must_use]
    pub fn limits() -> String {
        format!(
            "whether a melody is covered is estimated from sound power alone and told from {:.0} dB on, a limit of our own; by its register and colour it may be heard all the same",
            -COVERED
        )
    }

    /// Its bars by their printed numbers.
    #[must_use]
    pub fn named(&self, sketch: &Sketch) -> String {
        format!("{}–{}", sketch.bar_name(self.bars.start), sketch.bar_name(self.bars.end.saturating_sub(1)))
    }

    /// What is the matter, without a full stop.
    #[must_use]
    pub fn what(&self) -> String {
        format!(
            "the melody may be covered: all others together send out about {:.0} dB more sound power, by estimate; {}",
            self.decibels, self.reason
        )
    }

    /// What can be done.
    #[must_use]
    pub const fn remedy(&self) -> &'static str {
        "give it to more or stronger players, or mark the others softer; the balance of the written score tells it bar by bar"
    }
}

/// Share of the melody's notes that somebody has at their onset and pitch class; further lines of it ("Melody 2") may be given up.
fn melody(sketch: &Sketch, cast: &Cast, notes: &BTreeMap<Seat, Vec<CastNote>>) -> f64 {
    let (mut kept, mut all) = (0, 0);
    for note in sketch.strand(Role::Melody).map_or(&[][..], |tune| &sketch.strands[tune].notes) {
        let planned = cast.plan.phrases.iter().any(|phrase| {
            let (from, to) = Plan::span(sketch, &phrase.bars);
            from <= note.onset && note.onset < to
        });
        if !planned {
            continue;
        }
        all += 1;
        let has = |own: &Vec<CastNote>| {
            // What is held into a phrase may have begun before.
            if note.held {
                return sounding(own, note.onset).is_some_and(|other| (other.key() - note.key()) % 12 == 0);
            }
            let first = own.partition_point(|other| other.onset < note.onset);
            own[first..]
                .iter()
                .take_while(|other| other.onset == note.onset)
                .any(|other| other.key().rem_euclid(12) == note.key().rem_euclid(12))
        };
        kept += usize::from(notes.values().any(has));
    }
    share(kept, all)
}

/// Parallel fifths and octaves between independent lines of which one at least is a chord voice of the same body, those left out that the sketch has itself; and voices of
/// one role that cross in one section: other roles may lie where they like.
fn motion(sketch: &Sketch, lineup: &Lineup, notes: &BTreeMap<Seat, Vec<CastNote>>) -> (usize, usize) {
    let mut moments: Vec<Crotchets> =
        notes.values().flatten().filter(|note| note.duration.is_positive()).map(|note| note.onset).collect();
    moments.sort_unstable();
    moments.dedup();
    let (mut parallels, mut crossings) = (0, 0);
    let orders: Vec<Vec<usize>> = lineup
        .sections
        .iter()
        .map(|section| {
            let all: Vec<usize> = (0..section.chairs.len()).collect();
            crate::realise::from_the_top(&section.chairs, section.kind, &all)
        })
        .collect();
    let mut before: BTreeMap<LineId, (i32, usize)> = BTreeMap::new();
    let mut last_at: Option<Crotchets> = None;
    for &at in &moments {
        let mut now: BTreeMap<LineId, (i32, usize)> = BTreeMap::new();
        for (section, order) in orders.iter().enumerate() {
            // From the top; horns both by their pairs and by number, for either order is usual.
            let mut keys: Vec<(usize, LineId, i32)> = Vec::new();
            for &chair in order {
                if let Some(note) = notes.get(&(section, chair)).and_then(|own| sounding(own, at)) {
                    now.entry(note.line).or_insert((note.key(), section));
                    keys.push((chair, note.line, note.key()));
                }
            }
            for (n, (chair, line, key)) in keys.iter().enumerate() {
                let within = |of: &LineId| of != line && of.strand == line.strand;
                let crosses = keys[n + 1..].iter().filter(|(other, of, lower)| other > chair && within(of) && lower > key);
                crossings += crosses.count();
            }
        }
        let lines: Vec<(&LineId, &(i32, usize))> = now.iter().collect();
        for (n, (a, (a_key, a_section))) in lines.iter().enumerate() {
            for (b, (b_key, b_section)) in &lines[n + 1..] {
                let same_body = a.strand != b.strand || a_section == b_section;
                let figure = [a, b].iter().any(|line| sketch.strands[line.strand].role == Role::Figuration);
                if !(same_body && (a.voice > 0 || b.voice > 0)) || figure {
                    continue;
                }
                let then = |line: &LineId, section: &usize| before.get(line).filter(|then| then.1 == *section).map(|then| then.0);
                let (Some(a_then), Some(b_then)) = (then(a, a_section), then(b, b_section)) else { continue };
                let interval = |x: i32, y: i32| (x - y).abs() % 12;
                let perfect = matches!(interval(*a_key, *b_key), 0 | 7);
                let doubles = |one: &LineId, then: i32, now: i32| {
                    let from = last_at.unwrap_or(at);
                    one.voice > 0 && crate::craft::moves_in(&sketch.strands[one.strand], (from, then), (at, now))
                };
                if perfect && interval(*a_key, *b_key) == interval(a_then, b_then) && a_then != *a_key && b_then != *b_key {
                    // What moves so in the sketch itself was written so.
                    let (a_moves, b_moves) = (a_key - a_then, b_key - b_then);
                    let own = a_moves == b_moves && doubles(a, a_then, *a_key) && (b.voice == 0 || doubles(b, b_then, *b_key));
                    let own = own || (a_moves == b_moves && a.voice == 0 && doubles(b, b_then, *b_key));
                    // Chords of one tone before and after are one line, which their voices double.
                    let from = last_at.unwrap_or(at);
                    let single = |at: Crotchets| sketch.strands[a.strand].classes_at(at).count_ones() == 1;
                    let own = own || (a.strand == b.strand && single(from) && single(at));
                    parallels += usize::from(!own);
                }
            }
        }
        last_at = Some(at);
        before = now;
    }
    (parallels, crossings)
}

/// Estimated sound power: by how much the melody's players stand above all others, phrase by phrase at the beginnings of bars, and within chords the
/// loudest tone above the softest on the mean.
fn balance(sketch: &Sketch, lineup: &Lineup, cast: &Cast, notes: &BTreeMap<Seat, Vec<CastNote>>) -> (Vec<Vec<f64>>, Option<f64>) {
    let sounds = |at: Crotchets| {
        let of = |(seat, own): (&Seat, &Vec<CastNote>)| sounding(own, at).map(|note| (*seat, *note));
        notes.iter().filter_map(of).collect()
    };
    let of = |phrase: &PhrasePlan| of_phrase(sketch, &lineup.holding(&phrase.tasks), phrase, &sounds);
    let all: Vec<Balance> = cast.plan.phrases.iter().map(of).collect();
    let spreads: Vec<f64> = all.iter().flat_map(|balance| &balance.spreads).copied().collect();
    (all.into_iter().map(|balance| balance.margins).collect(), mean(&spreads))
}

/// The greatest share of the time anybody plays, and the longest stretch in seconds without a rest of a crotchet.
fn endurance(sketch: &Sketch, notes: &BTreeMap<Seat, Vec<CastNote>>) -> (f64, f64) {
    let length = sketch.score.length().to_f64().max(1e-9);
    let (mut busiest, mut longest) = (0.0f64, 0.0f64);
    for own in notes.values() {
        let time: f64 = own.iter().map(|note| note.duration.to_f64()).sum();
        busiest = busiest.max(time / length);
        let mut start: Option<(Crotchets, Crotchets)> = None;
        for note in own {
            start = match start {
                Some((from, end)) if note.onset - end < Crotchets::ONE => Some((from, note.end().max(end))),
                _ => Some((note.onset, note.end())),
            };
            if let Some((from, end)) = start {
                longest = longest.max(sketch.sounding.tempo.seconds(end) - sketch.sounding.tempo.seconds(from));
            }
        }
    }
    (busiest.min(1.0), longest)
}
