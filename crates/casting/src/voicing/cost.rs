//! What a voicing costs, and what a step costs. All rules are costs in one unit; the heaviest stand for what is never wanted.

use super::{Slice, Voice};

/// The lowest key at which each interval (semitones 1 to 16) is still clear. From tables of low-interval limits as arrangers use them
/// (sweetwater.com/insync/low-interval-limit, R. Lowell and K. Pullig, Arranging for Large Jazz Ensemble, for the octave and the ninths; the tritone
/// after common practice, B flat 2, since that page's value looks like a slip).
const LOWEST: [i32; 17] = [0, 52, 51, 48, 47, 45, 46, 37, 41, 41, 41, 41, 24, 40, 39, 36, 34];

/// What each further player on a crowded tone costs beside the first, and what the first does on root or fifth beside a third.
const FURTHER: f64 = 0.4;
const OTHERS: f64 = 0.5;

/// Players from whom on a third may be too thin: one in six of them or fewer.
const THIN: usize = 6;

/// Prices of the rules. The defaults are common practice put into numbers by this project; handbooks give the rules, not the numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weights {
    /// A semitone beyond the comfortable compass.
    pub strain: f64,
    /// A semitone from the register asked for.
    pub register: f64,
    /// A semitone too wide between upper neighbours (more than an octave), or for close position.
    pub wide: f64,
    /// Two voices on one key.
    pub unison: f64,
    /// A second between neighbours.
    pub second: f64,
    /// An interval below its low limit, and again each semitone.
    pub low_interval: f64,
    /// A chord tone nobody has.
    pub missing: f64,
    /// A chord tone only other lines have.
    pub elsewhere: f64,
    /// A doubled leading note or seventh.
    pub doubled_tendency: f64,
    /// A doubled third.
    pub doubled_third: f64,
    /// A doubled fifth: the root before it.
    pub doubled_fifth: f64,
    /// The first player too many on a tone ([`most_on`]); further ones cost less than half of it, and root and fifth half as much.
    pub crowded: f64,
    /// A third that one in six players has, or fewer.
    pub thin: f64,
    /// A chord note above the melody.
    pub over_melody: f64,
    /// A chord note under the bass.
    pub under_bass: f64,
    /// A chord note that crosses a line of its own section.
    pub crossing: f64,
    /// A semitone of movement.
    pub move_: f64,
    /// A leap of more than a fifth.
    pub leap: f64,
    /// A voice that passes where its neighbour just was.
    pub overlap: f64,
    /// Parallel fifths or octaves.
    pub parallel: f64,
    /// A leading note that does not rise.
    pub unresolved: f64,
    /// A seventh or leading note left although its resolution is there ([`hanging`]).
    pub hanging: f64,
    /// A repeated note that changes its pitch within a beat although its tone goes on.
    pub within_beat: f64,
    /// Close position asked for (positive), open position (negative), or neither (0).
    pub close: f64,
    /// How much a seed may shake a voicing.
    pub shake: f64,
}

impl Default for Weights {
    fn default() -> Self {
        Self {
            strain: 1.5,
            register: 0.12,
            wide: 1.2,
            unison: 2.0,
            second: 0.7,
            low_interval: 3.0,
            missing: 200.0,
            elsewhere: 12.0,
            doubled_tendency: 6.0,
            doubled_third: 1.5,
            doubled_fifth: 0.2,
            crowded: 20.0,
            thin: 8.0,
            over_melody: 12.0,
            under_bass: 150.0,
            crossing: 120.0,
            move_: 0.25,
            leap: 4.0,
            overlap: 1.2,
            parallel: 60.0,
            unresolved: 2.0,
            hanging: 30.0,
            within_beat: 60.0,
            close: 0.0,
            shake: 3.0,
        }
    }
}

const fn bit(key: i32) -> u16 {
    1 << key.rem_euclid(12)
}

/// How many of so many players may have a tone: of sevenths and leading notes one in four, of thirds two in five, of others half where the chord has three tones or more (common
/// practice: each tone is heard, root and fifth bear the weight; the numbers are ours).
pub(crate) fn most_on(slice: &Slice, mask: u16, players: usize) -> usize {
    if slice.tendency & mask != 0 {
        (players / 4).max(1)
    } else if slice.third & mask != 0 {
        (players * 2 / 5).max(1)
    } else if slice.allowed.count_ones() >= 3 {
        players.div_ceil(2)
    } else {
        players
    }
}

/// Whether a voice that goes from one key to another leaves a seventh that could fall by a step to a tone of the next chord, or a leading note that could rise: both may be held, and inside
/// the harmony a leading note may fall to the fifth (common practice; any book on voice leading).
pub(crate) const fn hanging(seventh: u16, leading: u16, next: u16, x: i32, y: i32) -> bool {
    let (is_seventh, is_leading) = (seventh & bit(x) != 0, leading & bit(x) != 0);
    let (falls, rises) = (next & (bit(x - 1) | bit(x - 2)) != 0, next & bit(x + 1) != 0);
    x != y && (is_seventh && falls && !matches!(x - y, 1 | 2) || is_leading && rises && !matches!(x - y, -1 | 3 | 4))
}

/// How many of the voices set so far, and of their players, have each pitch class.
fn on_each(voices: &[Voice], keys: &[i32]) -> [(usize, usize); 12] {
    let mut on = [(0, 0); 12];
    for (voice, key) in voices.iter().zip(keys) {
        let (ours, players) = &mut on[usize::try_from(key.rem_euclid(12)).unwrap_or(0)];
        *ours += 1;
        *players += voice.players;
    }
    on
}

/// What tones cost that too many players have.
fn crowding(slice: &Slice, players: usize, on: &[(usize, usize); 12], weights: &Weights) -> f64 {
    let mut cost = 0.0;
    for (class, (_, on_it)) in on.iter().enumerate() {
        let mask = 1u16 << class;
        let over = on_it.saturating_sub(most_on(slice, mask, players));
        if over > 0 {
            // The first is one too many; a whole section more on it is still less of a fault than parallels with the tune.
            let further = FURTHER * f64::from(u32::try_from(over - 1).unwrap_or(0));
            let share = if (slice.tendency | slice.third) & mask != 0 { 1.0 } else { OTHERS };
            cost += weights.crowded * share * (1.0 + further);
        }
    }
    cost
}

/// What the voices set so far cost at least: used to keep the more promising ones.
pub(super) fn partial_cost(slice: &Slice, voices: &[Voice], keys: &[i32], weights: &Weights) -> f64 {
    let mut cost = 0.0;
    for (voice, &key) in voices.iter().zip(keys) {
        cost += weights.strain * f64::from(voice.reach.strain(key)) + weights.register * f64::from((key - voice.target).abs());
        if slice.above.is_some_and(|above| key > above) {
            cost += weights.over_melody;
        }
        if slice.below.is_some_and(|below| key < below) {
            cost += weights.under_bass;
        }
    }
    let have = keys.iter().fold(0, |have, &key| have | bit(key));
    // Variety counts early, or a narrow beam would keep only doublings.
    cost -= 2.0 * f64::from((have & slice.required).count_ones());
    cost += crowding(slice, voices.iter().map(|voice| voice.players).sum(), &on_each(voices, keys), weights);
    for pair in keys.windows(2) {
        cost += gap_cost(pair[0], pair[1], false, weights);
    }
    cost
}

/// Two neighbours, upper and lower.
fn gap_cost(upper: i32, lower: i32, bottom: bool, weights: &Weights) -> f64 {
    let gap = upper - lower;
    let mut cost = 0.0;
    if gap == 0 {
        return weights.unison;
    }
    if gap <= 2 {
        cost += weights.second * f64::from(3 - gap);
    }
    let widest = if bottom { 19 } else { 12 };
    cost += weights.wide * f64::from((gap - widest).max(0));
    // Close above, open below: above middle C thirds and fourths, below the octave of C3 fifths and more.
    if lower >= 55 {
        cost += 0.12 * f64::from((gap - 5).max(0)) * (1.0 + weights.close.max(0.0));
    }
    if weights.close < 0.0 && gap < 6 {
        cost += -weights.close * 0.4 * f64::from(6 - gap);
    }
    if let Ok(at) = usize::try_from(gap)
        && let Some(&lowest) = LOWEST.get(at)
        && lower < lowest
    {
        cost += weights.low_interval * (1.0 + 0.5 * f64::from(lowest - lower));
    }
    cost
}

/// What a voicing costs by itself. Infinite where a key cannot be played or the voices cross.
#[must_use]
pub fn standing_cost(slice: &Slice, voices: &[Voice], keys: &[i32], weights: &Weights) -> f64 {
    let mut cost = 0.0;
    for (place, (voice, &key)) in voices.iter().zip(keys).enumerate() {
        let fixed = slice.fixed.get(place).copied().flatten();
        let forbidden = fixed.map_or_else(|| !voice.reach.allows(key) || slice.allowed & bit(key) == 0, |fixed| fixed != key);
        if forbidden || (place > 0 && keys[place - 1] < key && fixed.is_none()) {
            return f64::INFINITY;
        }
        cost += weights.strain * f64::from(voice.reach.strain(key)) + weights.register * f64::from((key - voice.target).abs());
        if let Some(&(low, high)) = slice.between.get(place)
            && (low.is_some_and(|low| key < low) || high.is_some_and(|high| key > high))
        {
            cost += weights.crossing;
        }
        if let Some(above) = slice.above {
            cost += if key > above {
                weights.over_melody + 0.3 * f64::from(key - above)
            } else if key == above {
                weights.unison
            } else {
                0.0
            };
        }
        if let Some(below) = slice.below {
            cost += if key < below {
                weights.under_bass
            } else if key == below {
                weights.unison
            } else {
                0.0
            };
        }
    }
    for (place, pair) in keys.windows(2).enumerate() {
        cost += gap_cost(pair[0], pair[1], place + 2 == keys.len() && slice.below.is_none(), weights);
    }
    if let (Some(below), Some(&lowest)) = (slice.below, keys.last())
        && lowest > below
    {
        cost += gap_cost(lowest, below, true, weights);
    }
    let have = keys.iter().fold(0, |have, &key| have | bit(key));
    let missing = slice.required & !have;
    let fifths = missing & slice.fifth;
    cost += weights.missing * f64::from((missing & !fifths).count_ones());
    // The fifth is the one to go where not all find room.
    cost += weights.missing * 0.7 * f64::from(fifths.count_ones());
    // Twice as much where no other body has it either.
    cost += weights.missing * f64::from((missing & slice.alone).count_ones());
    cost += weights.elsewhere * f64::from((slice.wanted & !have & !slice.required).count_ones());
    let lines = || slice.lines.iter().flatten();
    let players: usize = voices.iter().map(|voice| voice.players).sum();
    let on = on_each(voices, keys);
    cost += crowding(slice, players, &on, weights);
    for (class, &(ours, on_it)) in on.iter().enumerate() {
        let mask = 1u16 << class;
        if slice.third & slice.allowed & mask != 0 && players >= THIN && on_it * THIN <= players {
            cost += weights.thin;
        }
        if ours == 0 || (slice.tendency | slice.third | slice.fifth) & mask == 0 {
            continue;
        }
        let all = ours + lines().filter(|&&key| bit(key) == mask).count() + usize::from(slice.doubled & mask != 0);
        let price = match (slice.tendency & mask != 0, slice.third & mask != 0) {
            (true, _) => weights.doubled_tendency,
            (_, true) => weights.doubled_third,
            _ => weights.doubled_fifth,
        };
        cost += price * f64::from(u32::try_from(all - 1).unwrap_or(0));
    }
    cost
}

/// What it costs to go from one voicing to the next; never negative.
#[must_use]
pub fn step_cost(from: Option<&Slice>, to: &Slice, a: &[i32], b: &[i32], weights: &Weights) -> f64 {
    let mut cost = 0.0;
    for (voice, (&x, &y)) in a.iter().zip(b).enumerate() {
        let step = (y - x).abs();
        cost += weights.move_ * f64::from(step);
        if step != 0 && to.kept & bit(x) != 0 {
            cost += weights.within_beat;
        }
        if step > 7 {
            cost += weights.leap + 0.4 * f64::from(step - 7);
        } else if step == 6 {
            cost += 0.5 * weights.leap;
        }
        let above = voice.checked_sub(1).and_then(|above| a.get(above));
        let below = a.get(voice + 1);
        if above.is_some_and(|&above| y > above) || below.is_some_and(|&below| y < below) {
            cost += weights.overlap;
        }
        if let Some(from) = from
            && step != 0
            && from.allowed != to.allowed
        {
            if from.leading & bit(x) != 0 && y - x != 1 {
                cost += weights.unresolved;
            }
            if hanging(from.seventh, from.leading, to.allowed, x, y) {
                cost += weights.hanging;
            }
        }
    }
    let parallel =
        |x: i32, y: i32, x2: i32, y2: i32| x != x2 && y != y2 && perfect(x, y) && perfect(x2, y2) && same(x, y, x2, y2);
    for (at, (&x, &x2)) in a.iter().zip(b).enumerate() {
        for (&y, &y2) in a[at + 1..].iter().zip(&b[at + 1..]) {
            if parallel(x, y, x2, y2) {
                cost += weights.parallel;
            }
        }
        let Some(from) = from else { continue };
        for (y, y2) in from.lines_end.iter().zip(&to.lines) {
            if let (Some(y), Some(y2)) = (y, y2)
                && parallel(x, *y, x2, *y2)
            {
                cost += weights.parallel;
            }
        }
    }
    cost
}

/// Whether the upper of two keys stands a perfect fifth, octave or unison above the lower.
fn perfect(x: i32, y: i32) -> bool {
    matches!((x - y).abs() % 12, 0 | 7)
}

fn same(x: i32, y: i32, x2: i32, y2: i32) -> bool {
    (x - y).abs() % 12 == (x2 - y2).abs() % 12
}
