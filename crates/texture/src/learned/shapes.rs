//! What the boosted trees read beside the features of the network: figures, exactly told, and how a part goes with those in
//! nearly its rhythm; then the same facts over the bars around.

use super::features::Features;
use super::piece::{Attack, Piece};
use super::table::TABLE;

/// Name, unit and meaning of every shape.
pub(super) const SHAPES: &[(&str, &str, &str)] = &[
    ("run_share", "share", "attacks in stepwise runs of four or more in one direction"),
    ("run_most", "attacks", "longest such run the bar touches"),
    ("spread_share", "share", "attacks in runs of three or more by thirds or wider, in one direction"),
    ("spread_most", "attacks", "longest such run the bar touches"),
    ("repeat_share", "share", "attacks in runs of three or more on one key"),
    ("repeat_most", "attacks", "longest such run the bar touches"),
    ("swing_share", "share", "attacks in runs that go to and fro between two keys"),
    ("broken", "0/1", "four attacks or more, three keys or more, no step"),
    ("skips_over_steps", "share", "linked intervals wider than a tone less linked steps"),
    ("fast", "share", "attacks no longer than a third of a beat"),
    ("alone", "share", "attacks up to a beat long with half a beat of silence on both sides"),
    ("hits", "share", "attacks up to a beat long with half a beat of silence after"),
    ("short", "share", "attacks up to a beat long"),
    ("one_hit", "0/1", "a single attack, up to a beat long, with the bar"),
    ("steps_one_way", "share", "steps up less steps down"),
    ("chord_bar", "share", "attacks of the bar that one triad or seventh chord holds"),
    ("chord_beats", "share", "attacks in beats or half-bars of three pitch classes or more that one such chord holds"),
    ("three_keys", "share", "triples of linked attacks on three different keys of one triad"),
    ("even", "share", "times between attacks equal to the commonest"),
    ("compass", "semitones", "from lowest to highest attack"),
    ("turns_each", "share", "changes of direction at linked attacks"),
    ("silence", "share", "of the bar without sound"),
    ("with", "parts", "with six tenths of its attacks in common"),
    ("with_octaves", "share", "of common attacks on one pitch class; mean over those parts"),
    ("with_unison", "share", "of common attacks on one key; mean over those parts"),
    ("with_parallel", "share", "of common moves in one direction; mean over those parts"),
    ("with_contrary", "share", "of common moves in opposite directions; mean over those parts"),
    ("with_rhythm", "share", "attacks in common of all of both; mean over those parts"),
    ("with_closest", "share", "of common attacks on one pitch class, with the likest of those parts"),
    ("with_classes", "count", "pitch classes struck together by it and those parts"),
    ("with_classes_each", "ratio", "the same, over the parts up to four"),
    ("with_all_octaves", "share", "pitch classes equal, over all pairs of it and those parts"),
    ("with_all_parallel", "share", "moves in one direction, over all pairs of it and those parts"),
    ("with_below_top", "semitones", "below the highest of it and those parts"),
    ("with_above_low", "semitones", "above the lowest of it and those parts"),
    ("with_family", "parts", "of its family that double it"),
    ("desk_octaves", "share", "of common attacks on one pitch class, with its desk mate"),
    ("desk_parallel", "share", "of common moves in one direction, with its desk mate"),
    ("desk_rhythm", "share", "attacks in common with its desk mate of all of both"),
    ("two_notes", "share", "attacks of several notes"),
];

/// Bars to either side over which a number is averaged as well.
const WINDOWS: [usize; 2] = [1, 4];
/// Numbers of a part in a bar by itself.
const OWN: usize = TABLE.len() + SHAPES.len();
/// What a tree reads: own numbers, their means over the bars around, what sets them off from the others of the bar, and
/// which collection's habit is asked for.
pub(super) const TREE_INPUTS: usize = OWN * (2 + WINDOWS.len()) + 1;

/// Shapes `[part][bar]`, NaN where undefined.
pub(super) struct Shapes {
    values: Vec<f32>,
    bars: usize,
}

impl Shapes {
    pub fn new(piece: &Piece) -> Self {
        let mut shapes = Self { values: vec![f32::NAN; piece.parts() * piece.bars() * SHAPES.len()], bars: piece.bars() };
        for part in piece.line.chunk_by(|a, b| a.part == b.part) {
            Runs::new(piece, part).fill(piece, part, &mut shapes);
        }
        super::mates::fill(piece, &mut shapes);
        shapes
    }

    pub fn row(&self, part: usize, bar: usize) -> &[f32] {
        let at = (part * self.bars + bar) * SHAPES.len();
        &self.values[at..at + SHAPES.len()]
    }

    /// Writes `values` from the shape called `first` on.
    pub fn set(&mut self, part: usize, bar: usize, first: usize, values: &[f64]) {
        let at = (part * self.bars + bar) * SHAPES.len() + first;
        self.values[at..at + values.len()].iter_mut().zip(values).for_each(|(to, &value)| *to = value as f32);
    }
}

/// Sums of numbers that may be undefined.
struct Mean {
    sums: Vec<f64>,
    counts: Vec<u32>,
}

impl Mean {
    fn new() -> Self {
        Self { sums: vec![0.0; OWN], counts: vec![0; OWN] }
    }

    fn add(&mut self, values: impl Iterator<Item = f32>) {
        for ((sum, count), value) in self.sums.iter_mut().zip(&mut self.counts).zip(values) {
            if !value.is_nan() {
                *sum += f64::from(value);
                *count += 1;
            }
        }
    }

    fn values(&self) -> impl Iterator<Item = f64> {
        self.sums.iter().zip(&self.counts).map(|(sum, &count)| sum / f64::from(count))
    }
}

/// What the trees read of each token, `[token * TREE_INPUTS ..]`. `tokens` are ordered by bar, `bars` are their ranges.
pub(super) fn tree_inputs(
    features: &Features,
    shapes: &Shapes,
    tokens: &[(usize, usize)],
    bars: &[std::ops::Range<usize>],
    is_token: impl Fn(usize, usize) -> bool,
) -> Vec<f32> {
    let mut out = Vec::with_capacity(tokens.len() * TREE_INPUTS);
    let own = |part: usize, bar: usize| features.row(part, bar).iter().chain(shapes.row(part, bar)).copied();
    for here in bars {
        let mut company = Mean::new();
        tokens[here.clone()].iter().for_each(|&(part, bar)| company.add(own(part, bar)));
        for &(part, bar) in &tokens[here.clone()] {
            out.extend(own(part, bar));
            for reach in WINDOWS {
                let mut around = Mean::new();
                let span = bar.saturating_sub(reach)..(bar + reach + 1).min(features.bars());
                span.filter(|&other| is_token(part, other)).for_each(|other| around.add(own(part, other)));
                out.extend(around.values().map(|mean| mean as f32));
            }
            out.extend(own(part, bar).zip(company.values()).map(|(value, mean)| (f64::from(value) - mean) as f32));
            // The habit: that of the first collection until another is asked for.
            out.push(0.0);
        }
    }
    out
}

/// For each attack of a part, how long the run is that it belongs to.
struct Runs {
    linked: Vec<bool>,
    steps: Vec<usize>,
    spreads: Vec<usize>,
    repeats: Vec<usize>,
    swings: Vec<usize>,
}

/// Interval from the attack before.
fn interval(attack: &Attack) -> i32 {
    attack.before.map_or(0, |before| attack.key - before)
}

impl Runs {
    fn new(piece: &Piece, line: &[Attack]) -> Self {
        // No more than half a beat of silence parts linked attacks.
        let linked: Vec<bool> = line
            .iter()
            .map(|attack| attack.before_end.is_some_and(|end| 2 * (attack.on - end) <= piece.beats[attack.bar]))
            .collect();
        let run = |goes: &dyn Fn(i32) -> bool| longest(line.len(), |i| linked[i] && goes(interval(&line[i])));
        let larger = |a: Vec<usize>, b: Vec<usize>| a.into_iter().zip(b).map(|(a, b)| a.max(b)).collect();
        let steps = larger(run(&|i| (1..=2).contains(&i)), run(&|i| (-2..=-1).contains(&i)));
        let spreads = larger(run(&|i| (3..=9).contains(&i)), run(&|i| (-9..=-3).contains(&i)));
        let repeats = run(&|i| i == 0);
        let returns =
            |i: usize| i >= 2 && linked[i] && linked[i - 1] && line[i].key == line[i - 2].key && interval(&line[i]) != 0;
        let swings = longest(line.len(), returns);
        Self { linked, steps, spreads, repeats, swings }
    }

    fn fill(&self, piece: &Piece, line: &[Attack], shapes: &mut Shapes) {
        let mut at = 0;
        for cell in line.chunk_by(|a, b| a.bar == b.bar) {
            let here = at..at + cell.len();
            let next = line.get(here.end).map(|attack| attack.on);
            let values = self.cell(piece, cell, here, next);
            shapes.set(cell[0].part, cell[0].bar, 0, &values);
            at += cell.len();
        }
    }

    fn cell(&self, piece: &Piece, cell: &[Attack], here: std::ops::Range<usize>, next: Option<i64>) -> [f64; 22] {
        let bar = cell[0].bar;
        let (beat, length) = (piece.beats[bar], piece.length(bar));
        let count = cell.len();
        let of = |which: usize| which as f64 / count as f64;
        let share = |runs: &[usize], least: usize| of(runs[here.clone()].iter().filter(|&&run| run >= least).count());
        let most = |runs: &[usize]| runs[here.clone()].iter().copied().max().unwrap_or(0).min(32) as f64;
        let linked = &self.linked[here.clone()];
        let steps: Vec<i32> =
            cell.iter().zip(linked).filter(|&(_, &linked)| linked).map(|(attack, _)| interval(attack)).collect();
        let up = steps.iter().filter(|&&i| (1..=2).contains(&i)).count();
        let down = steps.iter().filter(|&&i| (-2..=-1).contains(&i)).count();
        let wide = steps.iter().filter(|&&i| i.abs() >= 3).count();
        let turns = steps.windows(2).filter(|pair| pair[0].signum() * pair[1].signum() < 0).count();
        let mut keys: Vec<i32> = cell.iter().map(|attack| attack.key).collect();
        keys.sort_unstable();
        keys.dedup();
        let short = |attack: &&Attack| attack.dur <= beat;
        let after =
            |i: usize| cell.get(i + 1).map(|attack| attack.on).or(next).map_or(i64::MAX / 4, |on| on - cell[i].on - cell[i].dur);
        let before = |attack: &Attack| attack.before_end.map_or(i64::MAX / 4, |end| attack.on - end);
        let hit = |i: usize| short(&&cell[i]) && 2 * after(i) >= beat;
        let hits = (0..count).filter(|&i| hit(i)).count();
        let alone = (0..count).filter(|&i| hit(i) && 2 * before(&cell[i]) >= beat).count();
        let mut gaps: Vec<i64> = cell.windows(2).map(|pair| pair[1].on - pair[0].on).collect();
        let even = super::features::counts(&mut gaps).into_iter().max().map_or(0.0, |most| most as f64 / (count - 1) as f64);
        let sound: i64 = cell.iter().map(|attack| attack.dur.min(piece.starts[bar + 1] - attack.on)).sum();
        let triples =
            (0..count.saturating_sub(2)).filter(|&i| linked[i + 1] && linked[i + 2] && broken_triad(&cell[i..i + 3])).count();
        [
            share(&self.steps, 4),
            most(&self.steps),
            share(&self.spreads, 3),
            most(&self.spreads),
            share(&self.repeats, 3),
            most(&self.repeats),
            share(&self.swings, 3),
            f64::from(u8::from(count >= 4 && up + down == 0 && keys.len() >= 3)),
            of(wide) - of(up + down),
            of(cell.iter().filter(|attack| 3 * attack.dur <= beat).count()),
            of(alone),
            of(hits),
            of(cell.iter().filter(short).count()),
            f64::from(u8::from(count == 1 && cell[0].on == piece.starts[bar] && short(&&cell[0]))),
            (up as f64 - down as f64).abs() / count as f64,
            of(fitting(cell)),
            of(in_beats(piece, cell)),
            of(triples),
            even,
            f64::from(keys[keys.len() - 1] - keys[0]),
            of(turns),
            1.0 - (sound as f64 / length as f64).min(1.0),
        ]
    }
}

/// For each of `count` attacks the length of the longest chain it is in; `goes(i)` chains `i` to the one before.
fn longest(count: usize, goes: impl Fn(usize) -> bool) -> Vec<usize> {
    let mut out = vec![1; count];
    let mut from = 0;
    for to in 1..=count {
        if to == count || !goes(to) {
            out[from..to].fill(to - from);
            from = to;
        }
    }
    out
}

/// Triads and seventh chords as sets of pitch classes over C.
const CHORDS: [u16; 7] =
    [0b000010010001, 0b000010001001, 0b000001001001, 0b010010010001, 0b010010001001, 0b001001001001, 0b000100010001];

const fn turned(set: u16, by: u32) -> u16 {
    (set << by | set >> (12 - by)) & 0xfff
}

/// The most attacks of `cell` that one chord holds, where it has three of their pitch classes.
fn fitting(cell: &[Attack]) -> usize {
    let mut counts = [0usize; 12];
    cell.iter().for_each(|attack| counts[attack.key.rem_euclid(12) as usize] += 1);
    let held = |chord: u16| {
        let inside = (0..12).filter(|&class| chord >> class & 1 == 1 && counts[class] > 0);
        let (kinds, attacks) = inside.fold((0, 0), |(kinds, attacks), class| (kinds + 1, attacks + counts[class]));
        if kinds >= 3 { attacks } else { 0 }
    };
    CHORDS.iter().flat_map(|&chord| (0..12).map(move |by| turned(chord, by))).map(held).max().unwrap_or(0)
}

/// Attacks in beats, or else half-bars, that one chord holds whole with three pitch classes or more.
fn in_beats(piece: &Piece, cell: &[Attack]) -> usize {
    let bar = cell[0].bar;
    let held = |length: i64| {
        let beat = |attack: &Attack| (attack.on - piece.starts[bar]) / length.max(1);
        cell.chunk_by(|a, b| beat(a) == beat(b)).filter(|beat| fitting(beat) == beat.len()).map(<[Attack]>::len).sum::<usize>()
    };
    held(piece.beats[bar]).max(held(piece.length(bar) / 2))
}

/// Three different keys of one major, minor or diminished triad.
fn broken_triad(attacks: &[Attack]) -> bool {
    let set = attacks.iter().fold(0u16, |set, attack| set | 1 << attack.key.rem_euclid(12));
    set.count_ones() == 3 && (0..12).any(|by| CHORDS[..3].iter().any(|&chord| turned(chord, by) == set))
}
