//! Two verdicts on the balance of two lines, side by side and never mixed: what a treatise rules, and what the model estimates.

use std::fmt;
use std::sync::LazyLock;

use ripieno_loudness::Sones;

use crate::data::rows;
use crate::level::level_of;
use crate::scene::{Line, Scene};

/// How the first of two lines stands to the second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Weaker.
    Weaker,
    /// About equal.
    Equal,
    /// Stronger.
    Stronger,
}

impl fmt::Display for Stands {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Weaker => "weaker",
            Self::Equal => "about equal",
            Self::Stronger => "stronger",
        })
    }
}

/// Less than this apart, in dB or phon, two lines are about equal: the step of one doubling of players.
const EQUAL: f64 = 3.0;
/// From here on a dynamic counts as loud: between mp and mf.
const LOUD: f64 = 4.5;

fn stands(db: f64) -> Stands {
    match db {
        d if d > EQUAL => Stands::Stronger,
        d if d < -EQUAL => Stands::Weaker,
        _ => Stands::Equal,
    }
}

/// A verdict by rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Ruled {
    /// Force of the first line in the author's count (a woodwind at forte is 1).
    pub first: f64,
    /// Force of the second.
    pub second: f64,
    /// What follows.
    pub stands: Stands,
    /// Who says so.
    pub author: &'static str,
    /// The rules used.
    pub rules: Vec<&'static str>,
}

/// A verdict by the model.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimated {
    /// By how much the first line is louder at the listener, in phon (ISO 532-1).
    pub loudness_phon: f64,
    /// By how much it sends out more power, in dB.
    pub power_db: f64,
    /// Uncertainty, one standard deviation in dB.
    pub spread_db: f64,
    /// What follows.
    pub stands: Stands,
}

/// Both verdicts.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdicts {
    /// By rule; `None` where the rules know one of the instruments not at all, or the two lines are marked differently.
    pub ruled: Option<Ruled>,
    /// By the model.
    pub estimated: Estimated,
    /// One sentence: whether they agree, and if not, why.
    pub told: String,
}

struct Rule {
    loud: bool,
    force: f64,
    department: bool,
    members: Vec<String>,
    author: String,
    text: String,
}

static RULES: LazyLock<Vec<Rule>> = LazyLock::new(|| {
    rows("balance_rules.csv", include_str!("../data/balance_rules.csv"))
        .iter()
        .map(|row| Rule {
            loud: row.text("dynamic") == "f",
            force: row.get("force"),
            department: row.text("counts") == "department",
            members: row.text("members").split_whitespace().map(str::to_owned).collect(),
            author: row.text("author").to_owned(),
            text: row.text("rule").to_owned(),
        })
        .collect()
});

/// What a line amounts to in a bar.
struct Weighed {
    loudness: f64,
    power: f64,
    spread: f64,
    dynamic: f64,
    /// Force and rules; `None` when an instrument is unknown to them.
    force: Option<(f64, Vec<&'static Rule>)>,
}

/// Compares two lines in a bar, each over the time it sounds; `None` when one is silent. The sentence names them as `called`.
#[must_use]
pub fn verdicts(
    scene: &Scene<'_>,
    lines: &[Line],
    [first, second]: [usize; 2],
    called: [&str; 2],
    bar: usize,
) -> Option<Verdicts> {
    let line_of = scene.line_of(lines);
    let weigh = |line: usize| weigh(scene, &line_of, u16::try_from(line).ok()?, bar);
    let (a, b) = (weigh(first)?, weigh(second)?);
    let loudness_phon = a.loudness - b.loudness;
    let estimated = Estimated {
        loudness_phon,
        power_db: a.power - b.power,
        spread_db: a.spread.hypot(b.spread),
        stands: stands(loudness_phon),
    };
    let alike = (a.dynamic - b.dynamic).abs() < 0.75;
    let ruled = a.force.as_ref().zip(b.force.as_ref()).filter(|_| alike).map(|((x, of_a), (y, of_b))| {
        let mut rules: Vec<&'static str> = of_a.iter().chain(of_b).map(|rule| rule.text.as_str()).collect();
        rules.sort_unstable();
        rules.dedup();
        let author = of_a.first().map_or("", |rule| rule.author.as_str());
        Ruled { first: *x, second: *y, stands: stands(level_of(x / y) * 1.01), author, rules }
    });
    let told = told(called, ruled.as_ref(), &estimated, alike);
    Some(Verdicts { ruled, estimated, told })
}

fn weigh(scene: &Scene<'_>, line_of: &[u16], line: u16, bar: usize) -> Option<Weighed> {
    let (mut seconds, mut loudness, mut power, mut spread, mut dynamic) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let mut rows: Vec<usize> = Vec::new();
    let mut most: Vec<usize> = Vec::new();
    scene.moments(bar..bar + 1, |moment| {
        rows.clear();
        let mut out = 0.0;
        for (row, gain) in moment.active.iter().filter(|(row, _)| line_of[*row] == line) {
            let note = &scene.notes[*row];
            let heard = &scene.heard[note.heard];
            let sent = gain * heard.emitted.iter().sum::<f64>();
            out += sent;
            spread += moment.seconds * sent * heard.spread.hypot(note.players_spread);
            dynamic += moment.seconds * sent * f64::from(note.tone.dynamic().0);
            rows.push(*row);
        }
        if out > 0.0 {
            seconds += moment.seconds;
            let own = moment.active.iter().copied().filter(|(row, _)| line_of[*row] == line);
            loudness += moment.seconds * scene.loudness(own).0;
            power += moment.seconds * out;
            if rows.len() > most.len() {
                most.clone_from(&rows);
            }
        }
    });
    if seconds <= 0.0 || power <= 0.0 {
        return None;
    }
    let dynamic = dynamic / power;
    Some(Weighed {
        loudness: Sones(loudness / seconds).phons().0,
        power: level_of(power / seconds),
        spread: spread / power,
        force: force(scene, &most, dynamic >= LOUD),
        dynamic,
    })
}

fn voice<'s>(scene: &'s Scene<'_>, row: usize) -> &'s str {
    &scene.voices[usize::from(scene.notes[row].tone.voice)]
}

/// The force of the notes that sound together, by the rules. A divided department counts once.
fn force(scene: &Scene<'_>, rows: &[usize], loud: bool) -> Option<(f64, Vec<&'static Rule>)> {
    let mut force = 0.0;
    let mut used: Vec<&'static Rule> = Vec::new();
    let mut departments: Vec<u16> = Vec::new();
    for row in rows {
        let id = voice(scene, *row);
        let rule = RULES.iter().find(|rule| rule.loud == loud && rule.members.iter().any(|member| member == id))?;
        let note = &scene.notes[*row];
        let body = scene.score.parts[usize::from(note.tone.part)].is_body;
        if rule.department && !body {
            return None;
        }
        if !rule.department {
            force += rule.force * note.players;
        } else if !departments.contains(&note.tone.part) {
            departments.push(note.tone.part);
            force += rule.force;
        }
        if !used.iter().any(|known| std::ptr::eq(*known, rule)) {
            used.push(rule);
        }
    }
    (force > 0.0).then_some((force, used))
}

fn told([first, second]: [&str; 2], ruled: Option<&Ruled>, estimated: &Estimated, alike: bool) -> String {
    let figure = format!("{:+.0} phon, give or take {:.0}", estimated.loudness_phon, estimated.spread_db);
    let Some(ruled) = ruled else {
        let why = if alike { "the rules do not know one of the instruments" } else { "the two are marked differently" };
        return format!("No rule applies ({why}); the estimate finds {first} {} beside {second} ({figure}).", estimated.stands);
    };
    // The author gives a value for each player; the sum is ours.
    let count = format!(
        "{}'s values for the players, added up here, are {} and {}",
        ruled.author,
        plain(ruled.first),
        plain(ruled.second)
    );
    if ruled.stands == estimated.stands {
        return format!(
            "Rule and estimate both find {first} {} beside {second}: {count}; the estimate is {figure}.",
            ruled.stands
        );
    }
    let by_rule = level_of(ruled.first / ruled.second);
    let (by_power, by_colour) = (estimated.power_db - by_rule, estimated.loudness_phon - estimated.power_db);
    let reason = if by_power.abs() >= by_colour.abs() {
        format!(
            "the levels put into the model give {first} {:+.0} dB of power where the players' values stand for {by_rule:+.0} dB",
            estimated.power_db
        )
    } else {
        let place = if by_colour > 0.0 { "more" } else { "less" };
        format!(
            "the power that comes from {first} ({:+.0} dB) makes {place} loudness at this place than its amount tells, by spectrum and seats",
            estimated.power_db
        )
    };
    format!(
        "The rule finds {first} {} beside {second} ({count}), the estimate {} ({figure}): {reason}.",
        ruled.stands, estimated.stands
    )
}

fn plain(force: f64) -> String {
    if (force - force.round()).abs() < 0.05 { format!("{force:.0}") } else { format!("{force:.1}") }
}
