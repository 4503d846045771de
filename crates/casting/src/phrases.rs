//! Where the tune breathes: phrases that end where it comes to rest, and upbeats that go with the bars they lead to.
//!
//! What speaks for an end is common practice in teaching form (rests, long notes, cadences, the opening coming back); the weights are ours. They are
//! tried on the fermatas of chorales (`reference/casting_agree.py phrases`), which are not looked at where they are the referee.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::{Articulations, Crotchets, DirectionKind};
use ripieno_texture::Role;

use crate::numbers::number;
use crate::sketch::{Sketch, SketchNote, Strand};

/// Most bars of a phrase that nothing cuts.
const LONGEST: usize = 16;
/// Bars of the shortest phrase (common practice), and what a shorter one costs: more than anything speaks for a cut.
const LEAST: usize = 2;
const TOO_SHORT: f64 = 12.0;
/// A stretch of more than so many notes without a rest is looked at this far to either side for its usual length of note.
const AROUND: usize = 24;

/// The tune: its notes in order, and what of it is under a slur.
struct Tune<'a> {
    notes: Vec<&'a SketchNote>,
    slurs: &'a [(Crotchets, Crotchets)],
    fermatas: Vec<Crotchets>,
}

impl<'a> Tune<'a> {
    /// The melody; where there is none, the line with most notes; where there is none, the top of the chords.
    fn of(sketch: &'a Sketch) -> Option<Self> {
        let most = |wanted: &dyn Fn(&Strand) -> bool| {
            sketch.strands.iter().filter(|strand| wanted(strand)).max_by_key(|strand| strand.notes.len())
        };
        let strand = most(&|strand| strand.role == Role::Melody)
            .or_else(|| most(&|strand| !strand.is_chordal()))
            .or_else(|| most(&|_| true))?;
        let mut notes: Vec<&SketchNote> = strand.notes.iter().filter(|note| note.duration.is_positive()).collect();
        // The highest of what begins together.
        notes.dedup_by(|next, kept| {
            let same = next.onset == kept.onset;
            if same && next.key() > kept.key() {
                *kept = *next;
            }
            same
        });
        let part = &sketch.score.parts[strand.part];
        let slurs = sketch.slurs(strand.part);
        let fermata = |note: &&ripieno_score::Note| note.articulations.contains(Articulations::FERMATA);
        let fermatas = part.notes.iter().filter(fermata).map(|note| sketch.bar_start(note.bar.at()) + note.at).collect();
        Some(Self { notes, slurs, fermatas })
    }

    /// The usual distance from note to note around one.
    fn usual(&self, at: usize) -> f64 {
        let around = at.saturating_sub(AROUND)..(at + AROUND).min(self.notes.len().saturating_sub(1));
        let mut gaps: Vec<f64> = around.map(|n| (self.notes[n + 1].onset - self.notes[n].onset).to_f64()).collect();
        gaps.sort_by(f64::total_cmp);
        gaps.get(gaps.len() / 2).copied().unwrap_or(1.0)
    }

    /// How much speaks for a phrase to begin with a note: rest, length, fermata and cadence before it, less where a slur leads on.
    fn strength(&self, sketch: &Sketch, at: usize) -> f64 {
        let note = self.notes[at];
        let Some(last) = at.checked_sub(1).map(|before| self.notes[before]) else { return 3.0 };
        let rest = (note.onset - last.end()).to_f64();
        let length = (note.onset - last.onset).to_f64() / self.usual(at).max(1e-6);
        let mut strength = 0.0;
        if rest > 0.2 {
            strength += 0.7 + 0.3 * rest.min(3.0);
        }
        strength += 0.9 * length.max(1.0).log2().min(2.0);
        if self.fermatas.iter().any(|&held| last.onset <= held && held < last.end()) {
            strength += 3.0;
        }
        if self.slurs.iter().any(|&(from, to)| from <= last.onset && note.onset <= to) {
            strength -= 1.2;
        }
        strength + cadence(sketch, last)
    }

    /// How much of two bars at one place is like two bars at another: rhythm, and steps from note to note.
    fn likeness(&self, a: Crotchets, b: Crotchets, length: Crotchets) -> (f64, f64) {
        let part = |from: Crotchets| {
            let first = self.notes.partition_point(|note| note.onset < from);
            let end = self.notes.partition_point(|note| note.onset < from + length);
            &self.notes[first..end]
        };
        let (x, y) = (part(a), part(b));
        if x.len() < 3 || y.len() < 3 {
            return (0.0, 0.0);
        }
        // In order, and no two at one time.
        let at_once = |n: usize| y.binary_search_by_key(&(x[n].onset - a), |other| other.onset - b).ok();
        let together: Vec<(usize, usize)> = (0..x.len()).filter_map(|n| Some((n, at_once(n)?))).collect();
        let rhythm = number(together.len()) / number(x.len() + y.len() - together.len());
        let steps =
            together.windows(2).filter(|pair| x[pair[1].0].key() - x[pair[0].0].key() == y[pair[1].1].key() - y[pair[0].1].key());
        (rhythm, number(steps.count()) / number(together.len().saturating_sub(1).max(1)))
    }
}

/// A cadence in which a note stands: dominant to tonic, or a stand on the dominant.
fn cadence(sketch: &Sketch, last: &SketchNote) -> f64 {
    let harmony = &sketch.harmony;
    // The chord of its last moment: a suspension has resolved by then.
    let end = last.end() - (Crotchets::new(1, 64).unwrap_or(Crotchets::ZERO)).min(last.duration);
    let (Some(chord), Some(key)) = (harmony.chord_at(end), harmony.key_at(end)) else { return 0.0 };
    let degree = |class: u8| (class + 12 - key.tonic.class()) % 12;
    let before = harmony.chords.partition_point(|span| span.onset < chord.onset).checked_sub(1).map(|at| &harmony.chords[at]);
    let from = before.filter(|before| before.end == chord.onset).map(|before| degree(before.root.class()));
    let firm = if chord.inversion == Some(0) { 1.0 } else { 0.4 };
    match (from, degree(chord.root.class())) {
        (Some(7 | 11), 0) => 0.9 * firm,
        (Some(_), 7) => 0.5 * firm,
        _ => 0.0,
    }
}

/// When a phrase that has a bar as its first begins: at the bar, or earlier where the tune has an upbeat to it. One moment for each bar, and the end.
pub(crate) fn seams(sketch: &Sketch) -> Vec<Crotchets> {
    let bars = sketch.score.bars.len();
    let mut found: Vec<Crotchets> = (0..=bars).map(|bar| sketch.bar_start(bar)).collect();
    let Some(tune) = Tune::of(sketch) else { return found };
    // No upbeat leads over where the bars do not follow each other.
    for (bar, seam) in found.iter_mut().enumerate().take(bars).skip(1).filter(|(bar, _)| !turns(sketch, *bar)) {
        let start = *seam;
        let before = sketch.score.bars[bar - 1].length;
        let half = before * Crotchets::new(1, 2).unwrap_or(Crotchets::ONE);
        let upbeat = sketch.score.bars.first().filter(|first| bars > 1 && first.length < sketch.score.bars[1].length);
        let first = tune.notes.partition_point(|note| note.onset < start - half);
        let next = tune.notes.partition_point(|note| note.onset < start);
        // A note held over the barline is no upbeat to it.
        if first == next || tune.notes.get(next).is_none_or(|note| note.onset > start) {
            continue;
        }
        let here = tune.strength(sketch, next);
        let strength = |n: usize| {
            let like_the_first = upbeat.is_some_and(|first| start - tune.notes[n].onset == first.length);
            tune.strength(sketch, n) + if like_the_first { LIKE_THE_FIRST } else { 0.0 }
        };
        let best = (first.max(1)..next).max_by(|&a, &b| strength(a).total_cmp(&strength(b)).then(b.cmp(&a)));
        if let Some(best) = best.filter(|&n| strength(n) >= here.max(0.0) + 0.6) {
            *seam = tune.notes[best].onset;
        }
    }
    found
}

/// What speaks for an upbeat of the length of the first one.
const LIKE_THE_FIRST: f64 = 0.8;

/// How much speaks against a phrase of so many bars, of about two seconds each.
fn price(bars: f64) -> f64 {
    const OF: [f64; 9] = [3.0, 1.6, 0.5, 0.5, 0.0, 0.35, 0.35, 0.5, 0.3];
    let (low, share) = (bars.floor(), bars.fract());
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small and positive
    let at = |n: f64| OF.get(n as usize).copied().unwrap_or(0.3 + 0.35 * (n - 8.0));
    at(low) * (1.0 - share) + at(low + 1.0) * share
}

/// Whether a bar is played after another than the one before it, or another after the one before: at repeats and endings.
fn turns(sketch: &Sketch, bar: usize) -> bool {
    let (before, here) = (&sketch.score.bars[bar - 1], &sketch.score.bars[bar]);
    before.repeat_end.is_some() || before.ending_stop || !here.ending_start.is_empty()
}

/// Whether a phrase has to begin with a bar: a rehearsal mark, a double barline, a repeat or an ending, another length of bar.
fn is_cut(sketch: &Sketch, rehearsal: &BTreeSet<usize>, bar: usize) -> bool {
    let bars = &sketch.score.bars;
    let metre = bars[bar].metre.is_some() && bars[bar].length != bars[bar - 1].length && bar > 1;
    metre || bars[bar - 1].barline.is_some() || bars[bar].repeat_start || turns(sketch, bar) || rehearsal.contains(&bar)
}

/// Cuts a sketch into phrases along the tune: bars, none left out. The cuts that together have most in their favour, phrases of about four bars preferred.
pub(crate) fn phrases(sketch: &Sketch) -> Vec<Range<usize>> {
    let bars = sketch.score.bars.len();
    if bars == 0 {
        return Vec::new();
    }
    let tune = Tune::of(sketch);
    let sounds = |strand: &Strand, bar: usize| {
        let (from, to) = (sketch.bar_start(bar), sketch.bar_start(bar + 1));
        !strand.between(from, to).is_empty() || strand.at(from).is_some()
    };
    let active: Vec<Vec<bool>> = (0..bars).map(|bar| sketch.strands.iter().map(|strand| sounds(strand, bar)).collect()).collect();
    // An upbeat is no bar of the count.
    let upbeat = usize::from(bars > 1 && sketch.score.bars[0].length < sketch.score.bars[1].length);
    let length = sketch.score.bars.get(upbeat).map_or(Crotchets::whole(4), |bar| bar.length);
    let opening = sketch.seam(0);
    let returns = |tune: &Tune<'_>, bar: usize| {
        let (rhythm, steps) = tune.likeness(opening, sketch.seam(bar), length + length);
        rhythm > 0.8 && steps > 0.6
    };
    let strength = |bar: usize| {
        let mut sum = 0.0;
        // Strands that come or go and stay so.
        if active[bar] != active[bar - 1] && active.get(bar + 1).is_none_or(|next| *next == active[bar]) {
            let others = active[bar].iter().zip(&active[bar - 1]).filter(|(now, then)| now != then).count();
            sum += 0.9 + 0.3 * number(others.min(3));
        }
        let Some(tune) = &tune else { return sum };
        let at = sketch.seam(bar);
        let first = tune.notes.partition_point(|note| note.onset < at);
        match tune.notes.get(first).filter(|note| note.onset == at) {
            Some(_) => sum += tune.strength(sketch, first),
            None => {
                let held = first.checked_sub(1).is_some_and(|before| tune.notes[before].end() > at);
                // In the middle of a note nothing begins; in a rest of the tune little does.
                sum -= if held { 1.5 } else { 0.3 };
            }
        }
        // The opening comes back: a figure that is the same in every bar is no opening.
        if returns(tune, bar) && !returns(tune, bar - 1) {
            sum += 1.6;
        }
        sum
    };
    let strengths: Vec<f64> = (0..bars).map(|bar| if bar == 0 { 0.0 } else { strength(bar) }).collect();
    let directions = sketch.score.parts.iter().flat_map(|part| &part.directions);
    let marks = directions.filter(|mark| matches!(mark.kind, DirectionKind::Rehearsal(_)));
    let rehearsal: BTreeSet<usize> = marks.map(|mark| mark.bar.at()).collect();
    let cuts: Vec<bool> = (0..bars).map(|bar| bar > 0 && is_cut(sketch, &rehearsal, bar)).collect();
    // Bars of two seconds or so are counted as they are; of very short ones two or four make one, of very long ones each counts double.
    let seconds = |bar: usize| {
        let tempo = &sketch.sounding.tempo;
        tempo.seconds(sketch.bar_start(bar + 1)) - tempo.seconds(sketch.bar_start(bar))
    };
    let mean = (0..bars).map(seconds).sum::<f64>() / number(bars);
    let unit: f64 = if mean < 0.7 {
        4.0
    } else if mean < 1.3 {
        2.0
    } else if mean < 4.5 {
        1.0
    } else {
        0.5
    };
    // For each bar as an end the best way to it.
    let mut best: Vec<(f64, usize)> = vec![(f64::NEG_INFINITY, 0); bars + 1];
    best[0].0 = 0.0;
    for end in 1..=bars {
        for start in (0..end).rev() {
            let many = end - start - if start == 0 { upbeat.min(end - start) } else { 0 };
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small number of bars
            if many > (LONGEST as f64 * unit.max(1.0)) as usize {
                break;
            }
            // A single bar is no phrase, unless the page sets it apart on both sides.
            let apart = (start == 0 || cuts[start]) && (end == bars || cuts[end]);
            let alone = if many < LEAST && bars > LEAST && !apart { TOO_SHORT } else { 0.0 };
            let worth = best[start].0 - alone - price(number(many) / unit) + if end < bars { strengths[end] } else { 0.0 };
            if worth > best[end].0 + 1e-9 {
                best[end] = (worth, start);
            }
            if cuts[start] {
                break;
            }
        }
    }
    let mut found = Vec::new();
    let mut end = bars;
    while end > 0 {
        let start = best[end].1.min(end - 1);
        found.push(start..end);
        end = start;
    }
    found.reverse();
    found
}
