//! From metre events to bars.

use std::num::NonZeroU32;

use ripieno_score::{Bar, Crotchets, Metre};

use super::report::{At, Report};
use crate::Limits;

/// Bars in ticks.
#[derive(Debug)]
pub(super) struct Bars {
    /// Ticks to the crotchet.
    pub(super) per_crotchet: NonZeroU32,
    /// Start of each bar and, last, the end of the piece.
    pub(super) starts: Vec<u32>,
    /// Length of a beat in each bar.
    pub(super) beats: Vec<u32>,
    /// The bars themselves.
    pub(super) bars: Vec<Bar>,
}

/// A metre event, in ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct MetreChange {
    pub(super) at: u32,
    pub(super) beats: u8,
    /// The unit as a power of two: 2 for crotchets.
    pub(super) power: u8,
}

impl MetreChange {
    /// The finest unit read: a 64th.
    const FINEST: u8 = 6;

    /// Whether it can be a metre at all.
    pub(super) const fn is_sound(self) -> bool {
        self.beats > 0 && self.power <= Self::FINEST
    }

    fn ticks(self, per_crotchet: u32) -> u32 {
        (u32::from(self.beats) * per_crotchet * 4) >> self.power
    }

    /// The beat to which notes are tied over: a crotchet or more; three units in compound metres.
    fn beat(self, per_crotchet: u32) -> u32 {
        let unit = (per_crotchet * 4) >> self.power;
        let compound = self.power >= 3 && self.beats.is_multiple_of(3) && self.beats > 3;
        (if compound { unit * 3 } else { unit.max(per_crotchet) }).max(1)
    }
}

/// The factor that makes every metre's bar a whole number of ticks.
pub(super) fn ticks_factor(metres: &[MetreChange], per_crotchet: u32) -> u32 {
    let finest = metres.iter().filter(|metre| metre.is_sound()).map(|metre| metre.power).max().unwrap_or(2);
    // A crotchet divides into halves as often as its number of ticks is even.
    let spare = per_crotchet.trailing_zeros();
    1 << u32::from(finest.saturating_sub(2)).saturating_sub(spare)
}

/// Lays out bars up to `end`. `metres` are in order and sound; without any, all is 4/4.
pub(super) fn lay_out(
    metres: &[MetreChange],
    per_crotchet: NonZeroU32,
    end: u32,
    limits: &Limits,
    report: &mut Report<'_>,
) -> Bars {
    let ticks = per_crotchet.get();
    let common = MetreChange { at: 0, beats: 4, power: 2 };
    let mut changes: Vec<MetreChange> = Vec::new();
    for &metre in metres {
        match changes.last_mut() {
            Some(last) if last.at == metre.at => *last = metre,
            _ => changes.push(metre),
        }
    }
    if changes.first().is_none_or(|first| first.at > 0) {
        changes.insert(0, common);
    }
    let pickup = pickup(&changes, ticks);
    let mut laid = Bars { per_crotchet, starts: vec![], beats: vec![], bars: vec![] };
    let mut number = u32::from(pickup.is_none());
    let mut now = 0;
    let mut shown = None;
    for (index, &change) in changes.iter().enumerate() {
        let until = changes.get(index + 1).map_or(end.max(now + 1), |next| next.at.min(end));
        let (full, beat) = (change.ticks(ticks).max(1), change.beat(ticks));
        while now < until {
            if laid.bars.len() >= limits.bars {
                let what = format!("the piece goes on beyond {} bars; what follows was left out", limits.bars);
                report.error(At::FILE, "too-many-bars", what, "Split the file");
                laid.starts.push(now);
                return laid;
            }
            let first = laid.bars.is_empty();
            let length = match pickup {
                Some(length) if first => length,
                _ => full.min(until - now).max(1),
            };
            // The last bar is filled up; elsewhere a metre change cuts a bar short.
            let length = if until == end && index + 1 == changes.len() && !(first && pickup.is_some()) { full } else { length };
            let text = number.to_string();
            if length < full && !(first && pickup.is_some()) {
                let what = "the metre changes before the bar is over";
                report.warning(At::bar(&text), "short-bar", what, "The bar was made as short as the file has it");
            }
            let mut bar = Bar::new(text, at(now, per_crotchet), at(length, per_crotchet));
            let metre = Metre::simple(u16::from(change.beats), 1 << change.power);
            if shown.as_ref() != Some(&metre) {
                bar.metre = Some(metre.clone());
                shown = Some(metre);
            }
            bar.uncounted = first && pickup.is_some();
            laid.starts.push(now);
            laid.beats.push(beat);
            laid.bars.push(bar);
            number += 1;
            now = now.saturating_add(length);
        }
    }
    if laid.bars.is_empty() {
        laid.starts.push(0);
        laid.beats.push(common.beat(ticks));
        let mut bar = Bar::new("1", Crotchets::ZERO, Crotchets::whole(4));
        bar.metre = Some(Metre::simple(4, 4));
        laid.bars.push(bar);
        now = common.ticks(ticks);
    }
    laid.starts.push(now);
    laid
}

/// Ticks as crotchets.
pub(super) fn at(ticks: u32, per_crotchet: NonZeroU32) -> Crotchets {
    Crotchets::new(i64::from(ticks), i64::from(per_crotchet.get())).unwrap_or_default()
}

/// Length of a pickup: the first bar is one short bar of another metre, or its metre is given again before it is over.
fn pickup(changes: &[MetreChange], ticks: u32) -> Option<u32> {
    let (&first, &second) = (changes.first()?, changes.get(1)?);
    let (length, next) = (first.ticks(ticks), second.ticks(ticks));
    let own_metre = second.at == length && length < next;
    let given_again = second.at < length && second.at > 0 && next == length;
    (own_metre || given_again).then_some(second.at)
}

impl Bars {
    /// End of the last bar.
    pub(super) fn end(&self) -> u32 {
        self.starts.last().copied().unwrap_or(0)
    }

    /// Index of the bar that holds `tick`; the last bar beyond the end.
    pub(super) fn index_at(&self, tick: u32) -> usize {
        let after = self.starts.partition_point(|&start| start <= tick);
        after.saturating_sub(1).min(self.bars.len().saturating_sub(1))
    }

    /// Printed number of the bar that holds `tick`.
    pub(super) fn number_at(&self, tick: u32) -> &str {
        self.bars.get(self.index_at(tick)).map_or("", |bar| &bar.number)
    }
}
