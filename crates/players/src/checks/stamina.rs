//! Breath and endurance.

use ripieno_instruments::Family;
use ripieno_score::{Articulations, DynamicLevel};

use super::motion::Slurs;
use super::{Found, passages};
use crate::kind::{Kind, Severity};
use crate::limits::{Endurance, Limits};
use crate::view::{Event, Manner, PartView, Strand, View};

/// A breath taken quickly, in seconds: a quaver rest at a walking tempo, less is no rest to breathe in.
const SNATCHED: f64 = 0.2;
/// A note long enough to give up its end for a breath.
const LENDS: f64 = 0.4;
/// How far beyond one breath a phrase has to go before it is objected to: people differ.
const BEYOND: f64 = 1.15;
/// Nobody objects to a breath of less than so many seconds, whatever the estimates of air say.
const SHORTEST: f64 = 6.0;
/// How many breaths may pass without a place to breathe.
const BREATHS: f64 = 2.0;
/// Seconds without a place to breathe that are too long however little air they take: what is stale has to go out (source `stale-air`, memory).
const STALE: f64 = 20.0;

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, slurs: &Slurs, found: &mut Found<'_, '_>) {
    let sings = part.manner == Manner::Body && part.instrument.family == Family::Voice;
    if part.manner != Manner::Lines && !sings {
        return;
    }
    for strand in &part.strands {
        let events: Vec<&Event> = strand.events.iter().filter(|event| !view.is_grace(event.row)).collect();
        breath(view, part, strand, &events, slurs, found);
        let first = events.first().and_then(|event| part.limits(event.row));
        if let Some(endurance) = first.and_then(Limits::endurance) {
            tire(view, part, strand, &events, &endurance, found);
        }
    }
}

/// Air used since the last breath.
#[derive(Default)]
struct Air {
    first: usize,
    litres: f64,
    seconds: f64,
    shared: bool,
    notes: u32,
    /// Seconds for which a level is known, and these times the level.
    levelled: (f64, f64),
}

impl Air {
    const fn from(first: usize) -> Self {
        Self { first, litres: 0.0, seconds: 0.0, shared: false, notes: 0, levelled: (0.0, 0.0) }
    }

    fn hold(&mut self, level: Option<DynamicLevel>, seconds: f64) {
        if let Some(level) = level {
            self.levelled.0 += seconds;
            self.levelled.1 += seconds * f64::from(level.0);
        }
    }

    /// The dynamic at which most of it was played, in the mean.
    fn mark(&self) -> &'static str {
        #[allow(clippy::cast_possible_truncation)] // a mean of steps of the scale of ten
        let mean = (self.levelled.0 > 0.0).then(|| DynamicLevel((self.levelled.1 / self.levelled.0) as f32));
        mean.map_or("mf (none marked)", DynamicLevel::mark)
    }
}

fn breath(view: &View<'_>, part: &PartView<'_>, strand: &Strand, events: &[&Event], slurs: &Slurs, found: &mut Found<'_, '_>) {
    let (mut phrase, mut stretch) = (Air::from(0), Air::from(0));
    for (at, event) in events.iter().enumerate() {
        let row = event.row;
        let (Some(key), Some(limits)) = (view.key(row), part.limits(row)) else { continue };
        let level = view.held_level(part, row);
        let Some(flow) = limits.flow_at(key, level) else { return };
        let (start, end) = view.seconds[row];
        for air in [&mut phrase, &mut stretch] {
            air.hold(level, end - start);
            air.litres += flow * (end - start);
            air.seconds += end - start;
            air.shared |= event.shared || part.manner == Manner::Body;
            air.notes += 1;
        }
        let next = events.get(at + 1).map(|next| next.row);
        let gap = next.map_or(f64::INFINITY, |next| view.seconds[next].0 - end);
        let marked = view.note(row).is_some_and(|note| {
            note.articulations.intersects(Articulations::BREATH_MARK | Articulations::CAESURA | Articulations::FERMATA)
        });
        let parted = !slurs.on(view, row);
        let rows = |first: usize| -> Vec<usize> { events[first..=at].iter().map(|event| event.row).collect() };
        if parted || marked || gap > 0.1 {
            if phrase.litres > limits.air() * BEYOND && phrase.seconds >= SHORTEST {
                let mean = limits.air() / (phrase.litres / phrase.seconds.max(1e-3));
                let what = if phrase.notes > 1 { "a slur" } else { "a note" };
                let reason =
                    format!("{what} of {:.0} s at {}; one breath lasts about {mean:.0} s there", phrase.seconds, phrase.mark());
                let (severity, remedy) = if phrase.shared {
                    (Severity::Note, "Let the players breathe in turn, and say so in the parts")
                } else {
                    (Severity::Caution, "Mark where to breathe, or let a second player take over")
                };
                found.rows((Kind::Breath, severity), part, strand.player, &rows(phrase.first), reason, remedy);
                found.sourced(limits.breath_source());
                stretch = Air::from(at + 1);
            }
            phrase = Air::from(at + 1);
        }
        if marked || gap >= SNATCHED || (parted && end - start >= LENDS) {
            let spent = stretch.litres > limits.air() * BREATHS && stretch.seconds >= SHORTEST * 2.0;
            if spent || stretch.seconds >= STALE {
                let short = if f64::from(stretch.notes) > stretch.seconds { "of short notes " } else { "" };
                let reason = format!("{:.0} s {short}at {} with no place to breathe", stretch.seconds, stretch.mark());
                let severity = if stretch.shared { Severity::Note } else { Severity::Caution };
                found.rows(
                    (Kind::NoRest, severity),
                    part,
                    strand.player,
                    &rows(stretch.first),
                    reason,
                    "Mark where to breathe, or leave out a note here and there; where several have it, let them breathe in turn (staggered)",
                );
                if !spent {
                    found.sourced("stale-air");
                }
            }
            stretch = Air::from(at + 1);
        }
    }
}

/// Time spent doing something, to be asked for any span.
struct Spent {
    /// (start, end, seconds spent before the start), in order.
    spans: Vec<(f64, f64, f64)>,
}

impl Spent {
    fn new(spans: impl Iterator<Item = (f64, f64)>) -> Self {
        let mut found: Vec<(f64, f64, f64)> = Vec::new();
        let (mut sum, mut until) = (0.0, 0.0);
        for (start, end) in spans {
            let start = f64::max(start, until);
            if end > start {
                found.push((start, end, sum));
                sum += end - start;
                until = end;
            }
        }
        Self { spans: found }
    }

    /// Seconds spent from the beginning to `at`.
    fn until(&self, at: f64) -> f64 {
        let after = self.spans.partition_point(|span| span.0 <= at);
        after.checked_sub(1).map_or(0.0, |i| {
            let (start, end, before) = self.spans[i];
            before + (at.min(end) - start)
        })
    }
}

fn tire(
    view: &View<'_>,
    part: &PartView<'_>,
    strand: &Strand,
    events: &[&Event],
    endurance: &Endurance,
    found: &mut Found<'_, '_>,
) {
    let loud = |row: usize| view.level_of(row).is_some_and(|level| level.0 >= 6.0);
    let high = |row: usize| view.key(row).zip(part.limits(row)).is_some_and(|(key, limits)| key > limits.high());
    let of = |test: &dyn Fn(usize) -> bool| {
        Spent::new(events.iter().filter(|event| test(event.row)).map(|event| view.seconds[event.row]))
    };
    let (hard, playing) = (of(&|row| loud(row) && high(row)), of(&loud));
    for (spent, window, most, what) in [
        (&hard, endurance.window, endurance.high_loud, "high and loud"),
        (&playing, endurance.window * 3.0, endurance.playing, "at forte or above"),
    ] {
        // A window ends with each note; windows before the first full one are not windows.
        let tired = |at: usize| {
            let end = view.seconds[events[at].row].1;
            end >= window && spent.until(end) - spent.until(end - window) > most * window
        };
        let windows = (0..events.len()).filter(|at| tired(*at)).map(|at| {
            let begin = view.seconds[events[at].row].1 - window;
            (events.partition_point(|event| view.seconds[event.row].0 < begin).min(at), at)
        });
        for (first, last) in passages(windows) {
            let rows: Vec<usize> = events[first..=last].iter().map(|event| event.row).collect();
            let (start, end) = (view.seconds[rows[0]].0, view.seconds[events[last].row].1);
            let share = (spent.until(end) - spent.until(start)) / (end - start).max(1e-3);
            let rest = events.get(last + 1).map(|next| view.seconds[next.row].0 - end);
            let after = match rest {
                Some(rest) if rest >= 1.0 => format!("; {rest:.0} s of rest follow"),
                Some(_) => "; no rest follows".to_owned(),
                None => String::new(),
            };
            let before = match first.checked_sub(1).map(|last| start - view.seconds[events[last].row].1) {
                Some(rest) if rest >= 1.0 => format!(" after {rest:.0} s of rest"),
                Some(_) => " without a rest before".to_owned(),
                None => String::new(),
            };
            let reason = format!("{:.0} % of {:.0} s{before} is {what}{after}", share * 100.0, end - start);
            let remedy =
                format!("Rest before and after (about {:.0} s), share it with an assistant or the next player", endurance.rest);
            found.rows((Kind::Endurance, Severity::Caution), part, strand.player, &rows, reason, remedy);
            found.sourced(endurance.source);
        }
    }
}
