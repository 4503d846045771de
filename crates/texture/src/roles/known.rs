//! From cells, their grouping and the learned probabilities to what is known of each cell.

use std::collections::BTreeMap;

use ripieno_score::{Score, Sounding};

use super::cell::Cell;
use super::figure::{Figure, figure, ramp};
use super::pedal::pedals;
use crate::layers::group::Place;
use crate::layers::parallel_share;
use crate::learned::RoleProbabilities;
use crate::model::sigmoid;

/// What is known of a strand - lines in unison or octaves - in one bar. Shares and probabilities lie in 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Known {
    /// Learned probabilities of melody, rhythm, harmony, pooled over the strand.
    pub melody: f32,
    pub rhythm: f32,
    pub harmony: f32,
    /// How strongly it leads compared with the strongest strand of the bar, and as a share of all strands.
    pub lead: f32,
    pub share: f32,
    /// Whether it moves in the rhythm of the leading strand without being it.
    pub with_lead: f32,
    /// Whether it moves in the rhythm of another strand that leads more, without running parallel to it.
    pub follows: f32,
    /// Share of all lines that sound which move in its rhythm.
    pub stack: f32,
    /// How much it runs parallel to the leading strand.
    pub parallel: f32,
    /// What its notes do.
    pub figure: Figure,
    /// How surely it is the lowest line in its register, and whether anything else sounds.
    pub lowest: f32,
    pub accompanied: f32,
    /// Share of its attacks that the nearest other strand does not have.
    pub own: f32,
    /// How surely it is a pedal: one tone through changing harmony.
    pub pedal: f32,
    /// Share of its time in tremolo or roll, and in colours.
    pub tremolo: f32,
    pub colour: f32,
    /// 0 when its rhythm is its own; towards 1 the more other strands share it.
    pub chordal: f32,
    /// How many lines play it, and how many people, a string section counted as two.
    pub lines: f32,
    pub players: f32,
    /// Percussion without pitch only.
    pub unpitched: bool,
    /// Timpani: pitched, but drums.
    pub drum: bool,
}

impl Known {
    /// What is averaged over neighbouring bars. The rest belongs to the bar; the learned model has looked around already.
    fn lasting(&mut self) -> [&mut f32; 14] {
        let figure = &mut self.figure;
        [
            &mut self.with_lead,
            &mut self.parallel,
            &mut self.lowest,
            &mut self.own,
            &mut self.chordal,
            &mut figure.repeated,
            &mut figure.sustained,
            &mut figure.arpeggio,
            &mut figure.run,
            &mut figure.oscillation,
            &mut figure.hit,
            &mut figure.detached,
            &mut figure.few,
            &mut figure.moving,
        ]
    }

    /// Whether two bars of a line do the same kind of thing.
    fn like(&self, other: &Self) -> bool {
        let (a, b) = (&self.figure, &other.figure);
        let pairs = [
            (a.arpeggio, b.arpeggio),
            (a.repeated, b.repeated),
            (a.run, b.run),
            (self.tremolo, other.tremolo),
            (self.colour, other.colour),
        ];
        pairs.iter().all(|(x, y)| (x - y).abs() <= 0.6)
    }
}

/// Is the part a drum that has pitch?
fn is_drum(score: &Score, part: usize) -> bool {
    score.parts[part].instrument_id.contains("timpani")
}

/// Everything known of each cell. `by_bar` lists the cells of each bar.
pub(crate) fn know(
    score: &Score,
    sounding: &Sounding,
    learned: &RoleProbabilities,
    cells: &[Cell],
    by_bar: &[Vec<usize>],
    places: &[Place],
) -> Vec<Known> {
    let pedals = pedals(sounding, cells);
    let mut known = vec![Known::default(); cells.len()];
    for here in by_bar {
        let bar = Bar::new(score, sounding, learned, cells, here, places);
        for &cell in here {
            known[cell] = Known { pedal: pedals[cell], ..bar.know(cell) };
        }
    }
    pool(cells, &known)
}

/// One bar with all that sounds in it.
struct Bar<'a> {
    score: &'a Score,
    sounding: &'a Sounding,
    learned: &'a RoleProbabilities,
    cells: &'a [Cell],
    here: &'a [usize],
    places: &'a [Place],
    /// How strongly each strand leads.
    leads: BTreeMap<usize, f32>,
    /// The strongest strand and its strength.
    top: (usize, f32),
    /// Lowest mean key of a line that is no drum.
    floor: f32,
}

impl<'a> Bar<'a> {
    fn new(
        score: &'a Score,
        sounding: &'a Sounding,
        learned: &'a RoleProbabilities,
        cells: &'a [Cell],
        here: &'a [usize],
        places: &'a [Place],
    ) -> Self {
        // Each part once, however many of its lines are in the strand.
        let mut strongest: BTreeMap<(usize, usize), f32> = BTreeMap::new();
        for &index in here {
            let cell = &cells[index];
            let lead = learned.lead[cell.part][cell.bar] * figure(cell).tuneful(cell.tremolo);
            let entry = strongest.entry((places[index].strand, cell.part)).or_default();
            *entry = entry.max(lead);
        }
        let mut leads: BTreeMap<usize, f32> = BTreeMap::new();
        for ((strand, _), lead) in strongest {
            *leads.entry(strand).or_default() += lead;
        }
        let top =
            leads.iter().fold((usize::MAX, 0.0), |best, (&strand, &lead)| if lead > best.1 { (strand, lead) } else { best });
        let bases = here.iter().map(|&index| &cells[index]).filter(|cell| !cell.is_unpitched() && !is_drum(score, cell.part));
        let floor = bases.map(|cell| cell.standing.low).fold(f32::INFINITY, f32::min);
        Self { score, sounding, learned, cells, here, places, leads, top, floor }
    }

    #[allow(clippy::cast_precision_loss)] // lines of a bar
    fn know(&self, index: usize) -> Known {
        let (cell, place) = (&self.cells[index], self.places[index]);
        let strand: Vec<&Cell> = self.others(|other| other.strand == place.strand).collect();
        let layer: Vec<usize> = self.here.iter().copied().filter(|&other| self.places[other].layer == place.layer).collect();
        let mut pitched: Vec<usize> =
            layer.iter().filter(|&&other| !self.cells[other].is_unpitched()).map(|&other| self.places[other].strand).collect();
        pitched.sort_unstable();
        pitched.dedup();
        let pooled = |grid: &[Vec<f32>]| {
            let sum: f32 = strand.iter().map(|other| logit(grid[other.part][other.bar])).sum();
            sigmoid(sum / strand.len() as f32)
        };
        let lead = self.leads[&place.strand];
        let leads = self.top.0 == place.strand;
        let leader = layer.iter().copied().find(|&other| self.places[other].strand == self.top.0);
        // The strand of the layer that leads most: the top of a chord, the first of two in thirds.
        let chief = layer
            .iter()
            .copied()
            .filter(|&other| !self.cells[other].is_unpitched())
            .max_by(|&a, &b| self.leads[&self.places[a].strand].total_cmp(&self.leads[&self.places[b].strand]));
        Known {
            melody: pooled(&self.learned.melody),
            rhythm: pooled(&self.learned.rhythm),
            harmony: pooled(&self.learned.harmony),
            lead: lead / self.top.1.max(1e-6),
            share: lead / self.leads.values().sum::<f32>().max(1e-6),
            with_lead: f32::from(leader.is_some() && !leads),
            stack: layer.len() as f32 / self.here.len() as f32,
            follows: chief
                .filter(|&chief| self.places[chief].strand != place.strand)
                .map_or(0.0, |chief| 1.0 - ramp(0.3, 0.6, parallel(cell, &self.cells[chief]))),
            parallel: leader.filter(|_| !leads).map_or(0.0, |leader| parallel(cell, &self.cells[leader])),
            figure: figure(cell),
            lowest: strand
                .iter()
                .filter(|other| (other.standing.low - cell.standing.low).abs() < 24.5)
                .map(|other| other.standing.lowest.max(0.2) * self.near_floor(other))
                .fold(0.0, f32::max),
            accompanied: if self.alone(place.strand) { 0.0 } else { cell.standing.accompanied },
            own: place.own,
            pedal: 0.0,
            tremolo: cell.tremolo,
            colour: cell.colour,
            chordal: 1.0 - 1.0 / pitched.len().max(1) as f32,
            lines: strand.len() as f32,
            players: self.players(&strand),
            unpitched: cell.is_unpitched(),
            drum: is_drum(self.score, cell.part),
        }
    }

    /// Whether everything with pitch in the bar is this strand: a unison of all is no bass under something.
    fn alone(&self, strand: usize) -> bool {
        self.others(|other| other.strand != strand).all(Cell::is_unpitched)
    }

    fn others(&self, keep: impl Fn(Place) -> bool) -> impl Iterator<Item = &Cell> {
        self.here.iter().filter(move |&&index| keep(self.places[index])).map(|&index| &self.cells[index])
    }

    /// 1 within a semitone of the lowest line, 0 from a tritone above: a plucked bass rests between its notes and stays the bass.
    fn near_floor(&self, cell: &Cell) -> f32 {
        if cell.is_unpitched() { 0.0 } else { ramp(6.0, 1.0, cell.standing.low - self.floor) }
    }

    /// People who play the strand; a body of strings or voices stands for two, since it plays single lines as a matter of course.
    fn players(&self, strand: &[&Cell]) -> f32 {
        let mut by_part: BTreeMap<usize, f32> = BTreeMap::new();
        for cell in strand {
            let people = if self.score.parts[cell.part].is_body {
                2.0
            } else {
                let counts = cell.rows.iter().map(|&row| self.sounding.notes.players[row as usize].least);
                counts.max().map_or(1.0, f32::from)
            };
            let entry = by_part.entry(cell.part).or_default();
            *entry = entry.max(people);
        }
        by_part.values().sum()
    }
}

fn logit(p: f32) -> f32 {
    let p = p.clamp(0.01, 0.99);
    (p / (1.0 - p)).ln()
}

/// Share of the steps that two lines in one rhythm make the same way within a bar.
#[allow(clippy::cast_possible_truncation)] // single precision is plenty for shares
fn parallel(x: &Cell, y: &Cell) -> f32 {
    let common = x.attacks.iter().zip(&x.tops).filter_map(|(at, top)| Some((*top, y.tops[y.attacks.binary_search(at).ok()?])));
    parallel_share(&common.collect::<Vec<_>>()).unwrap_or(0.0) as f32
}

/// Weight of a bar one, two, three ... bars away.
const NEIGHBOUR: [f32; 6] = [0.8, 0.65, 0.5, 0.4, 0.3, 0.2];

/// Averages what lasts over the bars around in which a line plays on with the same kind of figure: roles come in phrases.
fn pool(cells: &[Cell], known: &[Known]) -> Vec<Known> {
    (0..cells.len())
        .map(|index| {
            let mut sum = known[index];
            let mut total = 1.0;
            let mut take = |other: usize, distance: usize| {
                let joined = cells[other].line == cells[index].line
                    && cells[other].bar.abs_diff(cells[index].bar) == distance
                    && known[index].like(&known[other]);
                if joined {
                    let weight = NEIGHBOUR[distance - 1];
                    total += weight;
                    let mut other = known[other];
                    for (value, add) in sum.lasting().into_iter().zip(other.lasting()) {
                        *value += weight * *add;
                    }
                }
                joined
            };
            let reach = 1..=NEIGHBOUR.len();
            reach.clone().take_while(|&step| index >= step && take(index - step, step)).for_each(drop);
            reach.take_while(|&step| index + step < cells.len() && take(index + step, step)).for_each(drop);
            for value in sum.lasting() {
                *value /= total;
            }
            sum
        })
        .collect()
}
