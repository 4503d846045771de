//! The words of a chart: roles, ways of playing, dynamics, intervals.

use ripieno_score::DynamicLevel;
use ripieno_texture::{Role, Techniques};

/// Ways of playing and what a chart calls them.
const MANNERS: [(Techniques, &str); 10] = [
    (Techniques::PLUCKED, "plucked"),
    (Techniques::TREMOLO, "tremolo"),
    (Techniques::TRILL, "trill"),
    (Techniques::MUTED, "muted"),
    (Techniques::STOPPED, "stopped"),
    (Techniques::FLUTTER, "flutter"),
    (Techniques::SLIDE, "slide"),
    (Techniques::HARMONIC, "harmonics"),
    (Techniques::AT_BRIDGE, "at the bridge"),
    (Techniques::WITH_WOOD, "with the wood"),
];

/// The role of a word; the error lists all.
///
/// # Errors
/// A sentence with the words there are.
pub fn role_named(word: &str) -> Result<Role, String> {
    let plain = word.trim().to_lowercase();
    let known = || Role::ALL.map(Role::name).join(", ");
    Role::ALL.into_iter().find(|role| role.name() == plain).ok_or_else(|| format!("“{word}” is no role; roles are {}", known()))
}

pub(crate) fn manner_named(word: &str) -> Result<Techniques, String> {
    let plain = word.trim().to_lowercase();
    let known = || MANNERS.map(|(_, name)| name).join(", ");
    let found = MANNERS.iter().find(|(_, name)| *name == plain);
    found.map(|found| found.0).ok_or_else(|| {
        format!("“{word}” is no way of playing a chart knows; they are {}. Anything else belongs in the remark", known())
    })
}

/// Names of ways of playing.
#[must_use]
pub fn manner_names(manner: Techniques) -> Vec<&'static str> {
    MANNERS.iter().filter(|(one, _)| manner.contains(*one)).map(|(_, name)| *name).collect()
}

pub(crate) fn dynamic_named(word: &str) -> Result<DynamicLevel, String> {
    let plain = word.trim();
    let step = || plain.parse::<f32>().ok().filter(|step| (-2.0..=11.0).contains(step)).map(DynamicLevel);
    DynamicLevel::from_mark(plain).or_else(step).ok_or_else(|| {
        format!(
            "“{word}” is no dynamic; give ppp, pp, p, mp, mf, f, ff, fff, or between two of them a step such as 5.5 (mf 5, f 6)"
        )
    })
}

/// A dynamic as a chart has it: a mark, or inside a hairpin a step with its fraction.
#[must_use]
pub fn dynamic_text(level: DynamicLevel) -> String {
    let mark = level.mark();
    if DynamicLevel::from_mark(mark) == Some(level) { mark.to_owned() } else { level.0.to_string() }
}

const NUMBERS: [&str; 6] = ["", "", "two", "three", "four", "five"];

/// "unison", "octave below", "two octaves above".
#[must_use]
pub fn interval_text(octaves: i16) -> String {
    let side = if octaves < 0 { "below" } else { "above" };
    match octaves.unsigned_abs() {
        0 => "unison".to_owned(),
        1 => format!("octave {side}"),
        number => format!(
            "{} octaves {side}",
            NUMBERS.get(usize::from(number)).map_or_else(|| number.to_string(), |word| (*word).to_owned())
        ),
    }
}

/// Octaves of [`interval_text`].
///
/// # Errors
/// A sentence with examples.
pub fn interval_named(text: &str) -> Result<i16, String> {
    let plain = text.trim().to_lowercase();
    (-9..=9).find(|&octaves| interval_text(octaves) == plain).ok_or_else(|| {
        format!("“{text}” is no interval of a doubling; say unison, octave below, octave above, two octaves below …")
    })
}
