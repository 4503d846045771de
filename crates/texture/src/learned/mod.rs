//! Roles learned from annotated scores.
//!
//! [`predict`] tells, for every part in every played bar, how likely it carries melody, rhythm and harmony - the three groups
//! of the published annotations; a unit may carry several - and how likely it leads: carries the main melody of the bar.
//!
//! A small network reads 124 features of each part in each bar ([`role_features`]) and how every two parts stand to each
//! other; it listens to all parts of the bar and to the bars around. Boosted trees read the features too, and figures told exactly
//! ([`shape_table`]), each with its means over the bars around; the logits of both are averaged. Training and figures: `model/README.md`.

mod company;
mod facts;
mod features;
mod figure;
mod forest;
mod mates;
mod network;
mod piece;
mod register;
mod relations;
mod shapes;
mod table;
mod themes;
mod weights;

use std::sync::OnceLock;

use ripieno_score::{Score, Sounding};

use crate::dense::softmax;
use crate::model::sigmoid;
use facts::PartFacts;
pub(crate) use facts::is_guessed;
use features::Features;
pub use forest::Forest;
use network::{ANSWERS, Input};
use piece::Piece;
use relations::Rolls;
use shapes::{SHAPES, Shapes, TREE_INPUTS};
use table::TABLE;
use weights::Model;

/// Probabilities `[part][played bar]` in 0..=1; zero where the part is silent.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RoleProbabilities {
    /// Carries melody (countermelody included).
    pub melody: Vec<Vec<f32>>,
    /// Carries rhythm (figuration, punctuation).
    pub rhythm: Vec<Vec<f32>>,
    /// Carries harmony (pedal included).
    pub harmony: Vec<Vec<f32>>,
    /// Carries the main melody; sums to about 1 over the sounding parts of a bar.
    pub lead: Vec<Vec<f32>>,
    /// From which probability on a unit is given the label: melody, rhythm, harmony.
    pub thresholds: [f32; 3],
    /// What kind of figure it is, by the second collection's finer roles.
    pub figures: Vec<Vec<FigureProbabilities>>,
    /// From which probability on a figure is told: broken chords, scale, repeated note, sparse.
    pub figure_thresholds: [f32; 4],
    /// How it goes with the others of its layer: unison or octaves, same rhythm, parallel; sums to about 1 where it sounds.
    pub relations: Vec<Vec<[f32; 3]>>,
}

/// How likely a part in a bar is each kind of figure; all zero where it is silent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FigureProbabilities {
    /// Broken chords.
    pub arpeggio: f32,
    /// Scale runs.
    pub scale: f32,
    /// One note repeated.
    pub repeated_note: f32,
    /// A few short attacks between rests.
    pub sparse: f32,
}

/// The three published groups: melody, rhythm, harmony; any number of them.
pub type Groups = [bool; 3];

impl RoleProbabilities {
    /// Whether `part` rests in played bar `bar`: a part that sounds has some role.
    #[must_use]
    pub fn is_silent(&self, part: usize, bar: usize) -> bool {
        let at = |grid: &[Vec<f32>]| grid.get(part).and_then(|bars| bars.get(bar)).copied().unwrap_or(0.0);
        [&self.melody, &self.rhythm, &self.harmony].iter().all(|grid| at(grid) <= 0.0)
    }

    /// The labels of `part` in played bar `bar`; none where it is silent.
    #[must_use]
    pub fn groups(&self, part: usize, bar: usize) -> Groups {
        let at = |grid: &[Vec<f32>], threshold: f32| {
            let p = grid.get(part).and_then(|bars| bars.get(bar)).copied().unwrap_or(0.0);
            p > 0.0 && p >= threshold
        };
        let [melody, rhythm, harmony] = self.thresholds;
        [at(&self.melody, melody), at(&self.rhythm, rhythm), at(&self.harmony, harmony)]
    }
}

/// What unpitched percussion is taken for, which the network does not read: melody, rhythm, harmony.
const UNPITCHED: [f32; 3] = [0.02, 0.97, 0.03];
/// Width in bars of the smoothing of labels and of the lead.
const SMOOTH: [f32; 2] = [0.6, 0.7];
/// How far a label follows the second collection's habit.
const SECOND_HABIT: f32 = 0.15;

fn model() -> &'static Model {
    static MODEL: OnceLock<Model> = OnceLock::new();
    #[allow(clippy::expect_used)] // compiled in, and a test reads it
    MODEL.get_or_init(|| Model::parse(include_bytes!("../../data/roles.model")).expect("the model file fits the program"))
}

/// Predicts roles for `sounding`, which is `score` in written or played order. Cost grows with the bars in which parts
/// sound, and inside a bar with the square of their number.
#[must_use]
pub fn predict(score: &Score, sounding: &Sounding) -> RoleProbabilities {
    let model = model();
    let piece = Piece::new(score, sounding);
    let (features, shapes) = (Features::new(&piece), Shapes::new(&piece));
    let rolls = Rolls::new(&piece);
    let (tokens, input) = encode(model, &piece, &features, &rolls);
    let answers = network::answer(&model.networks, &input);
    let rows = shapes::tree_inputs(&features, &shapes, &tokens, &input.bars, |part, bar| rolls.sounds(part, bar));
    let trees = Trees::answer(model, rows);
    decide(model, &piece, &features, &tokens, &input, &answers, &trees)
}

/// What the trees answer for each token, as raw sums.
struct Trees {
    groups: [Vec<f64>; 3],
    kinds: [Vec<f64>; 4],
    relation: Vec<f64>,
}

impl Trees {
    fn answer(model: &Model, mut rows: Vec<f32>) -> Self {
        let groups = std::array::from_fn(|at| model.forests[at].answer(&rows, TREE_INPUTS));
        rows.chunks_exact_mut(TREE_INPUTS).for_each(|row| row[TREE_INPUTS - 1] = 1.0);
        let kinds = std::array::from_fn(|at| model.forests[3 + at].answer(&rows, TREE_INPUTS));
        Self { groups, kinds, relation: model.relation.answer(&rows, TREE_INPUTS) }
    }
}

/// What training reads of a piece: the program's own numbers, so that none are computed twice in two ways.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TrainingTable {
    /// Part and played bar of each row; rows are ordered by bar, then part. Unpitched percussion has none.
    pub tokens: Vec<(usize, usize)>,
    /// Starts of the played bars in ticks of 1/480 crotchet, and the end of the last.
    pub starts: Vec<i64>,
    /// Family (0 woodwind, 1 brass, 2 percussion, 3 strings, 4 voice, 5 other) and chair (1 to 3) of each part.
    pub parts: Vec<(usize, usize)>,
    /// `[row][feature, then shape]`, undefined ones NaN.
    pub values: Vec<Vec<f32>>,
    /// For each bar, how every sounding part stands to every other: `[asked][other][9]`.
    pub relations: Vec<Vec<[f32; 9]>>,
    /// Sounding notes: part, onset, end in ticks, key (0 unpitched).
    pub notes: Vec<(usize, i64, i64, i32)>,
}

/// The table training reads of `score`.
#[must_use]
pub fn training_table(score: &Score, sounding: &Sounding) -> TrainingTable {
    let piece = Piece::new(score, sounding);
    let (features, shapes, rolls) = (Features::new(&piece), Shapes::new(&piece), Rolls::new(&piece));
    let (tokens, input) = encode(model(), &piece, &features, &rolls);
    let row = |&(part, bar): &(usize, usize)| features.row(part, bar).iter().chain(shapes.row(part, bar)).copied().collect();
    TrainingTable {
        values: tokens.iter().map(row).collect(),
        tokens,
        starts: piece.starts.clone(),
        parts: piece.facts.iter().map(|facts| (facts.network_family as usize, facts.player)).collect(),
        relations: input.relations,
        notes: piece.notes.iter().map(|note| (note.part, note.on, note.off, note.key)).collect(),
    }
}

/// The table of what trees read beside features: name, unit, meaning.
#[must_use]
pub const fn shape_table() -> &'static [(&'static str, &'static str, &'static str)] {
    SHAPES
}

/// The table of features: name, unit, meaning.
#[must_use]
pub const fn feature_table() -> &'static [(&'static str, &'static str, &'static str)] {
    TABLE
}

/// Raw features `[part][bar][feature]` as [`feature_table`] lists them, undefined ones NaN; an empty row where the part is
/// silent.
#[must_use]
pub fn role_features(score: &Score, sounding: &Sounding) -> Vec<Vec<Vec<f32>>> {
    let piece = Piece::new(score, sounding);
    let features = Features::new(&piece);
    let row = |part: usize, bar: usize| {
        if features.sounds[part * features.bars() + bar] { features.row(part, bar).to_vec() } else { Vec::new() }
    };
    (0..features.parts()).map(|part| (0..features.bars()).map(|bar| row(part, bar)).collect()).collect()
}

/// The networks' raw answers for each token, for tests against the reference: part, played bar, 3 + 16 + 1 logits.
#[doc(hidden)]
#[must_use]
pub fn role_logits(score: &Score, sounding: &Sounding) -> Vec<(usize, usize, [f32; ANSWERS])> {
    let model = model();
    let piece = Piece::new(score, sounding);
    let (tokens, input) = encode(model, &piece, &Features::new(&piece), &Rolls::new(&piece));
    let answers = network::answer(&model.networks, &input);
    tokens.into_iter().zip(answers).map(|((part, bar), answers)| (part, bar, answers)).collect()
}

/// Tokens as (part, bar), and what the network reads of them.
fn encode(model: &Model, piece: &Piece, features: &Features, rolls: &Rolls) -> (Vec<(usize, usize)>, Input) {
    let (parts, bars) = (piece.parts(), piece.bars());
    let mut tokens = Vec::new();
    let mut index = vec![None; parts * bars];
    let mut ranges = Vec::with_capacity(bars);
    let mut relations = Vec::with_capacity(bars);
    for bar in 0..bars {
        let first = tokens.len();
        let here: Vec<usize> = (0..parts).filter(|&part| rolls.sounds(part, bar)).collect();
        for &part in &here {
            index[part * bars + bar] = Some(tokens.len());
            tokens.push((part, bar));
        }
        ranges.push(first..tokens.len());
        let family = |a: usize, b: usize| piece.facts[a].network_family == piece.facts[b].network_family;
        relations.push(rolls.relations(bar, &here, family));
    }
    let scaled = |&(part, bar): &(usize, usize)| {
        features.row(part, bar).iter().zip(&model.scales).map(|(&value, &(mean, deviation))| {
            // Undefined stands in the middle; the grid of 1/64 is the one of training.
            let value = (value - mean) / deviation;
            if value.is_nan() { 0.0 } else { (value.clamp(-5.0, 5.0) * 64.0).round_ties_even() / 64.0 }
        })
    };
    let names = |&(part, _): &(usize, usize)| {
        let PartFacts { network_family, player, .. } = &piece.facts[part];
        (*network_family as usize, *player)
    };
    let neighbours = |&(part, bar): &(usize, usize)| {
        std::array::from_fn(|k| {
            let other = (bar + k).checked_sub(4).filter(|&other| other < bars)?;
            index[part * bars + other]
        })
    };
    let input = Input {
        features: tokens.iter().flat_map(scaled).collect(),
        names: tokens.iter().map(names).collect(),
        neighbours: tokens.iter().map(neighbours).collect(),
        bars: ranges,
        relations,
    };
    (tokens, input)
}

fn decide(
    model: &Model,
    piece: &Piece,
    features: &Features,
    tokens: &[(usize, usize)],
    input: &Input,
    answers: &[[f32; ANSWERS]],
    trees: &Trees,
) -> RoleProbabilities {
    let (parts, bars) = (piece.parts(), piece.bars());
    let mut leads = vec![0.0; tokens.len()];
    for bar in &input.bars {
        let mut shares: Vec<f32> = answers[bar.clone()].iter().map(|answer| answer[ANSWERS - 1]).collect();
        softmax(&mut shares);
        leads[bar.clone()].iter_mut().zip(shares).for_each(|(lead, share)| *lead = share.max(f32::MIN_POSITIVE).ln());
    }
    let mut grids: [Vec<Vec<f32>>; 4] = std::array::from_fn(|_| vec![vec![f32::NAN; bars]; parts]);
    for ((&(part, bar), answer), lead) in tokens.iter().zip(answers).zip(leads) {
        for (group, grid) in grids[..3].iter_mut().enumerate() {
            grid[part][bar] = (1.0 - SECOND_HABIT) * answer[group] + SECOND_HABIT * answer[3 + group];
        }
        grids[3][part][bar] = lead;
    }
    for (kind, grid) in grids.iter_mut().enumerate() {
        for row in grid.iter_mut() {
            smooth(row, SMOOTH[usize::from(kind == 3)]);
        }
        if let Some(trees) = trees.groups.get(kind) {
            for (&(part, bar), &tree) in tokens.iter().zip(trees) {
                grid[part][bar] = model.share * grid[part][bar] + (1.0 - model.share) * tree as f32;
            }
        }
        for (part, row) in grid.iter_mut().enumerate() {
            for (bar, value) in row.iter_mut().enumerate() {
                *value = match model.decisions.get(kind) {
                    Some(_) if value.is_nan() && features.sounds[part * bars + bar] => UNPITCHED[kind],
                    _ if value.is_nan() => 0.0,
                    Some(&(_, slope, shift)) => sigmoid(slope * *value + shift),
                    None => value.exp(),
                };
            }
        }
    }
    let thresholds = model.decisions.map(|(cut, slope, shift)| sigmoid(slope * (cut / (1.0 - cut)).ln() + shift));
    let [melody, rhythm, harmony, lead] = grids;
    let figure_thresholds = model.kinds.map(|(cut, _)| cut);
    let mut figures = vec![vec![FigureProbabilities::default(); bars]; parts];
    let mut relations = vec![vec![[0.0; 3]; bars]; parts];
    for (token, (&(part, bar), answer)) in tokens.iter().zip(answers).enumerate() {
        figures[part][bar] = kinds_of(model, answer, trees.kinds.each_ref().map(|kind| kind[token]));
        let mut shares: [f32; 3] = std::array::from_fn(|class| trees.relation[token * 3 + class] as f32);
        softmax(&mut shares);
        relations[part][bar] = shares;
    }
    RoleProbabilities { melody, rhythm, harmony, lead, thresholds, figures, figure_thresholds, relations }
}

/// Places of the ten finer roles among the network's answers.
const FINER: std::ops::Range<usize> = 6..16;
/// Of them: broken chords, scale, repeated note, sparse.
const KIND_AT: [usize; 4] = [7, 8, 4, 9];

fn kinds_of(model: &Model, answer: &[f32; ANSWERS], trees: [f64; 4]) -> FigureProbabilities {
    let mut shares = answer[FINER].to_vec();
    softmax(&mut shares);
    let [arpeggio, scale, repeated_note, sparse] = std::array::from_fn(|kind| {
        let p = shares[KIND_AT[kind]].clamp(1e-6, 1.0 - 1e-6);
        let share = model.kinds[kind].1;
        sigmoid(share * (p / (1.0 - p)).ln() + (1.0 - share) * trees[kind] as f32)
    });
    FigureProbabilities { arpeggio, scale, repeated_note, sparse }
}

/// Weighs each bar with its neighbours by a bell of `width` bars, cut at four widths; silent bars (NaN) stay and weigh nothing.
fn smooth(row: &mut [f32], width: f32) {
    let reach = (4.0 * width + 0.5) as usize;
    let old = row.to_vec();
    for (bar, value) in row.iter_mut().enumerate().filter(|(_, value)| !value.is_nan()) {
        let (mut sum, mut weights) = (0.0, 0.0);
        let first = bar.saturating_sub(reach);
        for (other, &logit) in old.iter().enumerate().take(bar + reach + 1).skip(first).filter(|(_, logit)| !logit.is_nan()) {
            let weight = (-0.5 * (bar.abs_diff(other) as f32 / width).powi(2)).exp();
            sum += weight * logit;
            weights += weight;
        }
        *value = sum / weights;
    }
}
