//! A first cut at roles, bar by bar, from position and manner alone.
//!
//! In order: silence is tacet; unpitched percussion is rhythm, or punctuation when it strikes at most twice; of the pitched
//! parts that move (three attacks or more, or the only ones that do), the highest is melody and so is every part that attacks
//! with it on the same pitch classes; the lowest part of the bar is bass; what repeats one key or chord is rhythm; one or
//! two short attacks in a mostly silent bar are punctuation; the rest, held or moving, is harmony.

use std::fmt;

use ripieno_score::Sounding;

use crate::bar_lines::{BarLine, bar_lines};
use crate::role::Role;

/// Why a part was given its role in a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reason {
    /// Nothing sounds.
    Silent,
    /// The highest of the moving lines.
    HighestMoving,
    /// Attacks with the highest line, on its notes.
    Doubles {
        /// The part it doubles.
        part: usize,
        /// Semitones from this part up to that one (negative: down); `None` when the octave changes.
        below: Option<i32>,
    },
    /// Nothing sounds lower.
    Lowest,
    /// One key or one chord, struck this many times.
    Repeated(usize),
    /// Held notes: this many attacks in the bar.
    Held(usize),
    /// Moves in the middle of the texture.
    Inner,
    /// Percussion without pitch, this many strokes.
    Strokes(usize),
    /// Short and alone: this many attacks, silence around.
    Isolated(usize),
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Silent => f.write_str("silent"),
            Self::HighestMoving => f.write_str("the highest line that moves"),
            Self::Doubles { below: Some(0), .. } => f.write_str("doubles the highest line at the unison"),
            Self::Doubles { below: Some(below), .. } => {
                let (octaves, way) = (below.abs() / 12, if *below > 0 { "below" } else { "above" });
                write!(f, "doubles the highest line {octaves} octave{} {way}", if octaves == 1 { "" } else { "s" })
            }
            Self::Doubles { below: None, .. } => f.write_str("doubles the highest line in changing octaves"),
            Self::Lowest => f.write_str("nothing sounds lower"),
            Self::Repeated(count) => write!(f, "one note or chord struck {count} times"),
            Self::Held(0) => f.write_str("held over from the bar before"),
            Self::Held(count) => write!(f, "held, {count} attack{}", if *count == 1 { "" } else { "s" }),
            Self::Inner => f.write_str("moves in the middle"),
            Self::Strokes(count) => write!(f, "percussion without pitch, {count} stroke{}", if *count == 1 { "" } else { "s" }),
            Self::Isolated(count) => write!(f, "{count} short attack{} with silence around", if *count == 1 { "" } else { "s" }),
        }
    }
}

/// The role of one part in one bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoleInBar {
    /// What it does.
    pub role: Role,
    /// Why we say so.
    pub reason: Reason,
}

/// Roles of all parts in all played bars: `[part][bar]`.
pub type RoleGrid = Vec<Vec<RoleInBar>>;

/// Attacks in a bar from which on a line counts as moving.
const MOVING: usize = 3;

/// Works out roles bar by bar; see the module.
#[must_use]
pub fn first_cut(sounding: &Sounding) -> RoleGrid {
    let lines = bar_lines(sounding);
    let silent = RoleInBar { role: Role::Tacet, reason: Reason::Silent };
    let mut grid = vec![vec![silent; sounding.bars.len()]; lines.len()];
    for (bar, played) in sounding.bars.iter().enumerate() {
        let here: Vec<(usize, &BarLine)> =
            lines.iter().map(|part| &part[bar]).enumerate().filter(|(_, line)| !line.is_silent()).collect();
        let lead = leader(&here);
        let lowest = here.iter().filter_map(|(part, line)| Some((*part, line.bottom?))).min_by(|a, b| a.1.total_cmp(&b.1));
        for &(part, line) in &here {
            let is_lowest = lowest.is_some_and(|(low, _)| low == part) && here.len() > 1;
            grid[part][bar] = judge(part, line, lead, is_lowest, played.length.to_f64());
        }
    }
    grid
}

/// The highest of the moving lines; where none moves, the highest line.
fn leader<'a>(here: &[(usize, &'a BarLine)]) -> Option<(usize, &'a BarLine)> {
    let pitched = || here.iter().filter(|(_, line)| line.top.is_some());
    let highest = |moving: bool| {
        pitched()
            .filter(|(_, line)| !moving || (line.attacks.len() >= MOVING && distinct(line) > 1))
            .max_by(|a, b| a.1.top.unwrap_or(0.0).total_cmp(&b.1.top.unwrap_or(0.0)).then(b.0.cmp(&a.0)))
            .copied()
    };
    highest(true).or_else(|| highest(false))
}

fn distinct(line: &BarLine) -> usize {
    let mut keys: Vec<Option<u8>> = line.attacks.iter().map(|attack| attack.1).collect();
    keys.sort_unstable();
    keys.dedup();
    keys.len()
}

fn judge(part: usize, line: &BarLine, lead: Option<(usize, &BarLine)>, is_lowest: bool, bar_length: f64) -> RoleInBar {
    let attacks = line.attacks.len();
    let is = |role, reason| RoleInBar { role, reason };
    if line.is_unpitched() {
        return is(if attacks <= 2 { Role::Punctuation } else { Role::Rhythm }, Reason::Strokes(attacks));
    }
    if let Some((leader, lead)) = lead {
        if leader == part {
            return is(Role::Melody, Reason::HighestMoving);
        }
        if let Some(below) = doubling(line, lead) {
            return is(Role::Melody, Reason::Doubles { part: leader, below });
        }
    }
    let share = line.sounding.to_f64() / bar_length.max(f64::MIN_POSITIVE);
    if is_lowest {
        return is(Role::Bass, Reason::Lowest);
    }
    if attacks >= MOVING && distinct(line) == 1 {
        return is(Role::Rhythm, Reason::Repeated(attacks));
    }
    if (1..=2).contains(&attacks) && share < 0.3 {
        return is(Role::Punctuation, Reason::Isolated(attacks));
    }
    if attacks < MOVING { is(Role::Harmony, Reason::Held(attacks)) } else { is(Role::Harmony, Reason::Inner) }
}

/// The interval at which `line` doubles `lead`, if it does: most attacks of both are shared and on the same pitch classes.
fn doubling(line: &BarLine, lead: &BarLine) -> Option<Option<i32>> {
    let mut shared = 0usize;
    let mut intervals: Vec<i32> = Vec::new();
    for (at, key) in &line.attacks {
        let Ok(place) = lead.attacks.binary_search_by(|other| other.0.cmp(at)) else { continue };
        if let (Some(ours), Some(theirs)) = (key, lead.attacks[place].1) {
            let interval = i32::from(theirs) - i32::from(*ours);
            if interval % 12 == 0 {
                shared += 1;
                intervals.push(interval);
            }
        }
    }
    // Four attacks in five of both lines, and at least one.
    let most = line.attacks.len().max(lead.attacks.len());
    if shared == 0 || shared * 5 < most * 4 {
        return None;
    }
    intervals.sort_unstable();
    Some(intervals.first().copied().filter(|first| intervals.last() == Some(first)))
}
