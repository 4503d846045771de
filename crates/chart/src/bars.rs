//! Stretches of bars to bars.

use ripieno_score::{Bar, BarIndex, Crotchets, Direction, DirectionKind, Metre};

use crate::model::Run;
use crate::settle::{Fault, Faults};

/// Most bars of a chart.
const MOST: u32 = 100_000;

/// Bars, and what stands over them.
#[derive(Default)]
pub(crate) struct Bars {
    pub bars: Vec<Bar>,
    /// Rehearsal marks and tempi.
    pub directions: Vec<Direction>,
}

/// Lays the runs out.
pub(crate) fn bars(runs: &[Run], faults: &mut Faults) -> Bars {
    let mut all = Bars::default();
    let mut start = Crotchets::ZERO;
    let mut next: u64 = 1;
    let mut metre: Option<Metre> = None;
    for (index, run) in runs.iter().enumerate() {
        let mut fault = |what: String, hint: &str| faults.push(Fault::of_run(index, what, hint));
        if run.count == 0 || u32::try_from(all.bars.len()).unwrap_or(MOST).saturating_add(run.count) > MOST {
            fault(format!("{} bars; a chart has 1 to {MOST} in all", run.count), "");
            return all;
        }
        let change = match run.metre.as_deref().map(parse_metre).transpose() {
            Ok(change) => change,
            Err(what) => {
                fault(what, "");
                return all;
            }
        };
        if change.is_some() {
            metre.clone_from(&change);
        }
        let Some(length) = run.length.or_else(|| metre.as_ref().and_then(Metre::length)) else {
            fault("these bars have neither a metre nor a length".to_owned(), "Say metre = \"4/4\", or a length in crotchets");
            return all;
        };
        if let Some(tempo) = run.tempo.filter(|tempo| !(1.0..=1000.0).contains(tempo)) {
            fault(format!("a tempo of {tempo} crotchets a minute is not to be believed"), "Give 1 to 1000");
        }
        let first = BarIndex(u32::try_from(all.bars.len()).unwrap_or(u32::MAX));
        let over = |kind| Direction { bar: first, at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind };
        all.directions.extend(run.tempo.map(|crotchets_per_minute| over(DirectionKind::PlaybackTempo { crotchets_per_minute })));
        all.directions.extend(run.mark.as_deref().map(|mark| over(DirectionKind::Rehearsal(mark.into()))));
        for at in 0..run.count {
            let number = match &run.number {
                Some(number) if at == 0 => number.clone(),
                // An upbeat is bar 0; the rest of a divided bar has no number of its own.
                _ if run.uncounted => {
                    if all.bars.is_empty() {
                        "0".to_owned()
                    } else {
                        String::new()
                    }
                }
                _ => next.to_string(),
            };
            let digits: String = number.chars().take_while(char::is_ascii_digit).collect();
            match digits.parse::<u64>() {
                Ok(counted) => next = counted.saturating_add(1),
                Err(_) if !run.uncounted => next = next.saturating_add(1),
                Err(_) => {}
            }
            let mut bar = Bar::new(number, start, length);
            bar.uncounted = run.uncounted;
            if at == 0 {
                bar.metre.clone_from(&change);
                bar.repeat_start = run.repeat_start;
                bar.ending_start.clone_from(&run.ending);
            }
            if at + 1 == run.count {
                bar.repeat_end = run.repeat_end;
                bar.ending_stop = !run.ending.is_empty();
            }
            start += length;
            all.bars.push(bar);
        }
    }
    if all.bars.is_empty() {
        faults.push(Fault::whole("the chart has no bars", "Add [[bars]] with count and metre"));
    }
    all
}

/// "4/4", "3+2/8", "3/4 + 2/8", "free".
pub(crate) fn parse_metre(text: &str) -> Result<Metre, String> {
    let bad = || format!("“{text}” is no metre; give one such as 4/4, 3+2/8 or free");
    if text.trim() == "free" {
        return Ok(Metre::Free);
    }
    let term = |term: &str| {
        let (beats, unit) = term.split_once('/')?;
        let unit: u16 = unit.trim().parse().ok().filter(|unit| (1..=128).contains(unit))?;
        let beats: Option<Vec<u16>> =
            beats.split('+').map(|beat| beat.trim().parse().ok().filter(|beat| (1..=999).contains(beat))).collect();
        Some((beats?, unit))
    };
    let terms: Option<Vec<(Vec<u16>, u16)>> = text.split(" + ").map(term).collect();
    let metre = Metre::Measured(terms.ok_or_else(bad)?);
    metre.length().map(|_| metre).ok_or_else(bad)
}
