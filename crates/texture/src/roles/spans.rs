//! From roles of cells to spans with their evidence.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::MidiKey;

use super::cell::Cell;
use super::evidence::{Evidence, Figured};
use super::known::Known;
use super::weigh::{Fits, WEIGHED};
use super::{Held, RoleSpan};
use crate::layers::group::Place;
use crate::learned::RoleProbabilities;
use crate::role::Role;
use crate::techniques::Techniques;

/// From which confidence on a role of another group is told as well.
const SECOND: f32 = 0.5;
/// From which probability on a learned figure is told.
const CALLED: f32 = 0.5;
/// The published groups: melody, rhythm, harmony. A bass belongs to the second or third, as it moves.
const GROUPS: [&[Role]; 3] =
    [&[Role::Melody, Role::Countermelody], &[Role::Rhythm, Role::Figuration, Role::Punctuation], &[Role::Harmony, Role::Pedal]];

/// All that is known, by cell.
pub(crate) struct Findings<'a> {
    pub cells: &'a [Cell],
    pub by_bar: &'a [Vec<usize>],
    pub places: &'a [Place],
    pub known: &'a [Known],
    pub learned: &'a RoleProbabilities,
    pub fits: &'a [Fits],
    /// Index into [`WEIGHED`].
    pub roles: &'a [usize],
}

/// Joins cells of one line with one role, among largely the same partners, in bars that follow on each other.
pub(crate) fn spans(findings: &Findings<'_>) -> Vec<RoleSpan> {
    let Findings { cells, roles, .. } = findings;
    let partners: Vec<BTreeSet<usize>> = (0..cells.len()).map(|index| findings.partners(index)).collect();
    let mut found = Vec::new();
    let mut first = 0;
    while first < cells.len() {
        let goes_on = |at: usize| {
            cells[at].line == cells[at - 1].line
                && cells[at].bar == cells[at - 1].bar + 1
                && roles[at] == roles[at - 1]
                && !parted(&partners[at - 1], &partners[at], partners.get(at + 1))
        };
        let end = (first + 1..cells.len()).find(|&at| !goes_on(at)).unwrap_or(cells.len());
        found.push(findings.span(first, end));
        first = end;
    }
    found.sort_by_key(|span| (span.part, span.from, span.line));
    found
}

/// Whether a line changes its company for good: few of the partners stay, and the new ones are there in the next bar too.
fn parted(before: &BTreeSet<usize>, now: &BTreeSet<usize>, next: Option<&BTreeSet<usize>>) -> bool {
    let stay = |other: &BTreeSet<usize>| {
        let all = before.union(other).count();
        all == 0 || before.intersection(other).count() * 3 > all
    };
    !stay(now) && next.is_none_or(|next| !stay(next))
}

#[allow(clippy::cast_precision_loss)] // bars and attacks of a span
impl Findings<'_> {
    /// Other parts in the strand of a cell.
    fn partners(&self, index: usize) -> BTreeSet<usize> {
        let (cell, strand) = (&self.cells[index], self.places[index].strand);
        let here = self.by_bar[cell.bar].iter().filter(|&&other| self.places[other].strand == strand);
        here.map(|&other| self.cells[other].part).filter(|&part| part != cell.part).collect()
    }

    fn mean(&self, cells: std::ops::Range<usize>, value: impl Fn(usize) -> f32) -> f32 {
        let count = cells.len().max(1) as f32;
        cells.map(value).sum::<f32>() / count
    }

    fn span(&self, first: usize, end: usize) -> RoleSpan {
        let (begin, last) = (&self.cells[first], &self.cells[end - 1]);
        let role = self.roles[first];
        let confidence = |role: Role| self.mean(first..end, |cell| confidence(role, &self.known[cell]));
        let fits = |role: Role| {
            let index = WEIGHED.iter().position(|weighed| *weighed == role);
            index.map_or(0.0, |index| self.mean(first..end, |cell| self.fits[cell][index]))
        };
        let mut held = vec![Held { role: WEIGHED[role], confidence: confidence(WEIGHED[role]) }];
        for group in GROUPS {
            // The best of the group's roles, when annotators would more likely than not put the line there and no role told says so.
            let best = group.iter().copied().max_by(|a, b| fits(*a).total_cmp(&fits(*b)));
            let told = held.iter().any(|held| group.contains(&held.role)) || (WEIGHED[role] == Role::Bass && group != GROUPS[0]);
            if let Some(second) = best.filter(|&second| !told && confidence(second) >= SECOND) {
                held.push(Held { role: second, confidence: confidence(second) });
            }
        }
        let mut evidence = self.evidence(first, end, WEIGHED[role]);
        // A further role that is likelier than the one shown would read as a contradiction, were the reason not told.
        let likelier = held[1..].iter().filter(|other| other.confidence > held[0].confidence);
        if let Some(other) = likelier.max_by(|a, b| a.confidence.total_cmp(&b.confidence)) {
            evidence.push(Evidence::Rather { role: other.role, share: other.confidence });
        }
        RoleSpan {
            part: begin.part,
            line: begin.line as usize,
            bars: begin.bar as u32..last.bar as u32 + 1,
            from: begin.from,
            to: last.to,
            roles: held,
            evidence,
        }
    }

    /// The facts behind `role`, the most telling first.
    fn evidence(&self, first: usize, end: usize, role: Role) -> Vec<Evidence> {
        let mean = |value: fn(&Known) -> f32| self.mean(first..end, |cell| value(&self.known[cell]));
        let attacks = self.cells[first..end].iter().map(|cell| cell.attacks.len()).sum::<usize>();
        let rate = attacks as f32 / (end - first) as f32;
        let lowest = mean(|k| k.lowest);
        let highest = self.mean(first..end, |cell| self.cells[cell].standing.highest);
        let accompanied = mean(|k| k.accompanied) > 0.2;
        let mut facts = Vec::new();
        let share = mean(|k| k.share);
        if matches!(role, Role::Melody | Role::Countermelody) {
            let parallel = mean(|k| k.parallel);
            if parallel >= 0.5 {
                facts.push(Evidence::Parallel { share: parallel });
            } else if share >= 0.15 {
                facts.push(Evidence::Leads { share });
            }
            if highest >= 0.5 && accompanied {
                facts.push(Evidence::Highest { share: highest });
            }
            facts.push(Evidence::Moves { keys: self.keys(first, end) });
        }
        if matches!(role, Role::Bass | Role::Pedal) && accompanied && lowest >= 0.3 {
            facts.push(Evidence::Lowest { share: lowest });
        }
        if role == Role::Pedal
            && let Some(tone) = self.cells[first].keys.first().and_then(|&key| MidiKey::try_from(i32::from(key)).ok())
        {
            facts.insert(
                0,
                Evidence::OneTone {
                    tone: tone.pitch().to_string().trim_end_matches(|c: char| c.is_ascii_digit() || c == '-').into(),
                    bars: end - first,
                },
            );
        }
        facts.extend(self.manner(first, end, role, rate, attacks).or_else(|| self.called(first, end, role)));
        let lines = mean(|k| k.lines);
        facts.extend(self.doublings(first, end));
        if lines >= 3.0 {
            facts.push(Evidence::Massed { lines: lines.round() as usize });
        }
        let own = mean(|k| k.own);
        let chordal = mean(|k| k.chordal);
        if own >= 0.4 && matches!(role, Role::Melody | Role::Countermelody | Role::Bass) && accompanied {
            facts.push(Evidence::OwnRhythm { share: own });
        }
        if chordal >= 0.5 && matches!(role, Role::Harmony | Role::Rhythm | Role::Punctuation | Role::Bass) {
            facts.push(Evidence::SharedRhythm { share: mean(|k| k.stack) });
        }
        let ways = self.cells[first..end].iter().fold(Techniques::empty(), |all, cell| all | cell.techniques);
        let telling = if role == Role::Effect { Techniques::COLOUR | Techniques::TREMOLO } else { Techniques::COLOUR };
        if ways.intersects(telling) {
            let at = if role == Role::Effect { 0 } else { facts.len() };
            facts.insert(at, Evidence::Colour(ways & telling));
        }
        if facts.is_empty() {
            facts.push(Evidence::Learned { share: self.mean(first..end, |cell| confidence(role, &self.known[cell])) });
        }
        facts
    }

    fn manner(&self, first: usize, end: usize, role: Role, rate: f32, attacks: usize) -> Option<Evidence> {
        let mean = |value: fn(&Known) -> f32| self.mean(first..end, |cell| value(&self.known[cell]));
        let (arpeggio, run, swing) = (mean(|k| k.figure.arpeggio), mean(|k| k.figure.run), mean(|k| k.figure.oscillation));
        let (repeated, held) = (mean(|k| k.figure.repeated), mean(|k| k.figure.sustained));
        let unpitched = self.cells[first].is_unpitched();
        let short = self.cells[first..end].iter().all(|cell| cell.longest <= 1.0 && cell.gap > 0.0);
        let strikes = mean(|k| k.figure.hit.max(k.figure.detached * k.figure.few));
        match role {
            Role::Figuration if arpeggio >= run.max(swing) => Some(Evidence::BrokenChords { attacks: rate }),
            Role::Figuration if run >= swing => Some(Evidence::Scales { attacks: rate }),
            Role::Figuration => Some(Evidence::ToAndFro { attacks: rate }),
            Role::Punctuation if strikes >= 0.4 && short => Some(Evidence::Strikes { attacks }),
            Role::Rhythm | Role::Punctuation if repeated >= 0.3 || unpitched => {
                Some(Evidence::Repeats { share: if unpitched { 1.0 } else { repeated }, attacks: rate })
            }
            Role::Harmony | Role::Pedal | Role::Bass if held >= 0.5 => Some(Evidence::Held { attacks: rate }),
            Role::Harmony | Role::Bass | Role::Pedal if repeated >= 0.5 => {
                Some(Evidence::Repeats { share: repeated, attacks: rate })
            }
            Role::Harmony | Role::Bass if self.keys(first, end) > 2 => Some(Evidence::Moves { keys: self.keys(first, end) }),
            _ => None,
        }
    }

    /// The likeliest figure by the learned model, from one half on; a tune is told by other facts.
    fn called(&self, first: usize, end: usize, role: Role) -> Option<Evidence> {
        if matches!(role, Role::Melody | Role::Countermelody | Role::Pedal | Role::Effect) {
            return None;
        }
        let learned =
            |cell: &Cell| self.learned.figures.get(cell.part).and_then(|bars| bars.get(cell.bar)).copied().unwrap_or_default();
        let kinds = [
            (Figured::Arpeggio, self.mean(first..end, |cell| learned(&self.cells[cell]).arpeggio)),
            (Figured::Scale, self.mean(first..end, |cell| learned(&self.cells[cell]).scale)),
            (Figured::RepeatedNote, self.mean(first..end, |cell| learned(&self.cells[cell]).repeated_note)),
            (Figured::Sparse, self.mean(first..end, |cell| learned(&self.cells[cell]).sparse)),
        ];
        let (figure, share) = kinds.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        (share >= CALLED).then_some(Evidence::Called { figure, share })
    }

    fn keys(&self, first: usize, end: usize) -> usize {
        let mut keys: Vec<u8> = self.cells[first..end].iter().flat_map(|cell| cell.keys.iter().copied()).collect();
        keys.sort_unstable();
        keys.dedup();
        keys.len()
    }

    /// Parts in the same strand for at least half of the bars, in score order.
    fn doublings(&self, first: usize, end: usize) -> Vec<Evidence> {
        let mut partners: BTreeMap<usize, (usize, Option<Option<i32>>)> = BTreeMap::new();
        for index in first..end {
            let cell = &self.cells[index];
            let mut seen = Vec::new();
            for &other in &self.by_bar[cell.bar] {
                let partner = &self.cells[other];
                if self.places[other].strand != self.places[index].strand
                    || partner.part == cell.part
                    || seen.contains(&partner.part)
                {
                    continue;
                }
                seen.push(partner.part);
                let here = interval(cell, partner);
                let entry = partners.entry(partner.part).or_insert((0, None));
                entry.0 += 1;
                entry.1 = match entry.1 {
                    None => Some(here),
                    Some(before) if before == here => Some(here),
                    Some(_) => Some(None),
                };
            }
        }
        let often = |count: usize| count * 2 >= end - first;
        partners
            .into_iter()
            .filter(|(_, (count, _))| often(*count))
            .map(|(part, (_, interval))| Evidence::Doubles { part, interval: interval.flatten() })
            .collect()
    }
}

/// Semitones from `other` up to `cell` where they attack together, if always the same.
fn interval(cell: &Cell, other: &Cell) -> Option<i32> {
    let mut found = None;
    for (at, top) in cell.attacks.iter().zip(&cell.tops) {
        let Ok(place) = other.attacks.binary_search(at) else { continue };
        let (Some(ours), Some(theirs)) = (top, other.tops[place]) else { continue };
        let here = i32::from(*ours) - i32::from(theirs);
        if here % 12 != 0 {
            continue;
        }
        match found {
            None => found = Some(here),
            Some(before) if before != here => return None,
            Some(_) => {}
        }
    }
    found
}

/// How likely annotators would put the line in the group the role belongs to: calibrated for the three groups they label, and
/// speaking for the group, not for the finer choice within it. A bass counts with harmony or rhythm, either way; an effect
/// has no group and is as sure as its colour lasts.
fn confidence(role: Role, known: &Known) -> f32 {
    match role {
        Role::Melody | Role::Countermelody => known.melody,
        Role::Harmony | Role::Pedal => known.harmony,
        Role::Rhythm | Role::Figuration | Role::Punctuation => known.rhythm,
        Role::Bass => known.harmony.max(known.rhythm),
        Role::Effect => known.colour.max(known.tremolo),
        Role::Tacet => 1.0,
    }
}
