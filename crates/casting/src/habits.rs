//! What sections usually do, as measured: the share of each role, where it lies, how often they play loud and soft.

use std::collections::BTreeMap;

use ripieno_practice::{Kind, Profile, ScoreEntry};
use ripieno_texture::Role;

/// What one section usually does.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Habit {
    /// Of its playing time, the share of each role.
    pub shares: BTreeMap<Role, f64>,
    /// The middle of its register in each role, as a key.
    pub medians: BTreeMap<Role, f64>,
    /// Share of all time in which it plays: soft (up to mp), middle (mf), loud (f and more).
    pub presence: [f64; 3],
    /// Of its time, the share in which it doubles another section's line.
    pub doubled: BTreeMap<String, f64>,
}

/// The habits of sections, by the catalogue's word for them: "horns".
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Habits {
    /// Whose practice it is.
    pub name: String,
    /// By section.
    pub sections: BTreeMap<String, Habit>,
    /// How sections go together, where a practice was learned that is to be followed in this too; empty for usual practice.
    pub together: Together,
}

/// How sections go together in a practice: a figure for each thing that is told of a section or of two.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Together {
    /// "cohesion horns": share of the time in which its lines hold together. "loud horns": share of its bars that are loud ones of its family, and "loud of brass": of its
    /// family's bars. "apart horns/trombones": semitones between their bands, the bass left out. "unison horns/oboes" and "octave horns/oboes": share of the time of the first in
    /// which the second doubles it so. "hands horns/oboes": hand-offs of the melody in a hundred bars, and "hands" all of them.
    pub figures: BTreeMap<String, f64>,
}

impl Together {
    /// A figure of one section.
    #[must_use]
    pub fn of(&self, what: &str, section: &str) -> Option<f64> {
        self.figures.get(&format!("{what} {section}")).copied()
    }

    /// A figure of two sections, in this order.
    #[must_use]
    pub fn with(&self, what: &str, section: &str, other: &str) -> Option<f64> {
        self.figures.get(&format!("{what} {section}/{other}")).copied()
    }
}

/// Sections that borrow another's habits where their own are not known (common practice).
const RELATIVES: [(&str, &str); 14] = [
    ("cornets", "trumpets"),
    ("flugelhorns", "trumpets"),
    ("wagner tubas", "horns"),
    ("saxhorns", "horns"),
    ("euphoniums", "trombones"),
    ("tubas", "trombones"),
    ("other brass", "trombones"),
    ("brass", "trombones"),
    ("saxophones", "clarinets"),
    ("recorders", "flutes"),
    ("other reeds", "oboes"),
    ("double basses", "cellos"),
    ("altos", "violas"),
    ("tenors", "violas"),
];

const MARKS: [(&str, usize); 10] =
    [("pppp", 0), ("ppp", 0), ("pp", 0), ("p", 0), ("mp", 0), ("mf", 1), ("f", 2), ("ff", 2), ("fff", 2), ("ffff", 2)];

impl Habits {
    /// From a practice profile: works count alike, and inside a work each score by its length; `leave_out` names scores that must not count.
    #[must_use]
    pub fn of(profile: &Profile, leave_out: impl Fn(&ScoreEntry) -> bool) -> Self {
        let kept: Vec<bool> = profile.scores.iter().map(|score| !leave_out(score)).collect();
        // Mean over works of the mean over scores in which there is a value.
        let mean = |values: &BTreeMap<usize, f64>, there: &dyn Fn(usize) -> bool| -> Option<f64> {
            let mut works: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
            for (at, entry) in profile.scores.iter().enumerate().filter(|(at, _)| kept[*at] && there(*at)) {
                let sum = works.entry(&entry.work).or_default();
                let length = entry.crotchets().max(1.0);
                sum.0 += values.get(&at).copied().unwrap_or(0.0) * length;
                sum.1 += length;
            }
            let count = f64::from(u32::try_from(works.len()).unwrap_or(1));
            (!works.is_empty()).then(|| works.values().map(|(sum, length)| sum / length).sum::<f64>() / count)
        };
        let mut rows: BTreeMap<(String, String, String), BTreeMap<usize, f64>> = BTreeMap::new();
        let mut doubled: BTreeMap<(&str, &str), BTreeMap<usize, f64>> = BTreeMap::new();
        for row in profile.rows.iter().filter(|row| row.key.of.kind == Kind::Section) {
            let values = || row.values.iter().map(|value| (value.score, value.value)).collect::<BTreeMap<_, _>>();
            let (measure, section, aspect) = (row.key.measure.as_str(), row.key.of.name.as_str(), row.key.aspect.as_str());
            match &row.key.with {
                None => {
                    rows.insert((section.to_owned(), measure.to_owned(), aspect.to_owned()), values());
                }
                Some(with) if measure == "doubled_sections" && aspect == "any interval" => {
                    doubled.insert((section, &with.name), values());
                }
                Some(_) => {}
            }
        }
        let mut sections = BTreeMap::new();
        let look =
            |section: &str, measure: &str, aspect: &str| rows.get(&(section.to_owned(), measure.to_owned(), aspect.to_owned()));
        let sound = |section: &str, at: usize| {
            let presence = look(section, "presence", "time").and_then(|presence| presence.get(&at));
            presence.is_some_and(|&share| share > 0.0)
        };
        let together = together(profile, &|values: &BTreeMap<usize, f64>, over: Over<'_>| match over {
            Over::All => mean(values, &|_| true),
            Over::Told => mean(values, &|at| values.contains_key(&at)),
            Over::BothSound(one, other) => mean(values, &|at| sound(one, at) && sound(other, at)),
        });
        let names: Vec<&str> =
            rows.keys().filter(|key| key.1 == "presence" && key.2 == "time").map(|key| key.0.as_str()).collect();
        for &section in &names {
            let Some(presence) = look(section, "presence", "time") else { continue };
            let sounds = |at: usize| presence.get(&at).is_some_and(|&share| share > 0.0);
            let mut habit = Habit::default();
            for role in Role::ALL {
                if let Some(share) = look(section, "role_shares", role.name()).and_then(|values| mean(values, &sounds)) {
                    habit.shares.insert(role, share);
                }
                let aspect = format!("median, {}", role.name());
                if let Some(values) = look(section, "tessitura", &aspect)
                    && let Some(median) = mean(values, &|at| values.contains_key(&at))
                {
                    habit.medians.insert(role, median);
                }
            }
            if habit.shares.is_empty() {
                continue;
            }
            let everywhere = mean(presence, &sounds).unwrap_or(0.5);
            // How much of its playing is soft or loud, against how much of everybody's is.
            let share = |whom: &str, class: usize| {
                let sum: f64 = MARKS
                    .iter()
                    .filter(|mark| mark.1 == class)
                    .filter_map(|mark| look(whom, "dynamics", mark.0).and_then(|values| mean(values, &sounds)))
                    .sum();
                sum.max(0.02)
            };
            let everybody = "violins";
            for class in 0..3 {
                let ratio = if look(everybody, "presence", "time").is_some() {
                    share(section, class) / share(everybody, class)
                } else {
                    1.0
                };
                habit.presence[class] = (everywhere * ratio).clamp(0.03, 0.97);
            }
            for ((of, with), values) in &doubled {
                let other = if *of == section {
                    with
                } else if *with == section {
                    of
                } else {
                    continue;
                };
                if let Some(share) = mean(values, &sounds) {
                    habit.doubled.insert((*other).to_owned(), share);
                }
            }
            sections.insert(section.to_owned(), habit);
        }
        Self { name: profile.name.clone(), sections, together }
    }

    /// The habits that come with the program: measured on 49 open orchestral scores (`data/README.md`).
    #[must_use]
    pub fn usual() -> Self {
        let mut habits = Self { name: "usual practice".to_owned(), sections: BTreeMap::new(), together: Together::default() };
        for line in include_str!("../data/habits.csv").lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let [section, what, value] = cells.as_slice() else { continue };
            let Ok(value) = value.parse::<f64>() else { continue };
            let habit = habits.sections.entry((*section).to_owned()).or_default();
            match what.split_once(' ') {
                Some(("share", name)) => insert(&mut habit.shares, name, value),
                Some(("median", name)) => insert(&mut habit.medians, name, value),
                Some(("presence", class)) => {
                    if let Some(class) = ["soft", "middle", "loud"].iter().position(|word| *word == class) {
                        habit.presence[class] = value;
                    }
                }
                Some(("doubled", name)) => {
                    habit.doubled.insert(name.to_owned(), value);
                }
                _ => {}
            }
        }
        habits
    }

    /// The table of [`Habits::usual`], for the data file.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut lines = vec!["section,what,value".to_owned()];
        for (section, habit) in &self.sections {
            lines.extend(habit.shares.iter().map(|(role, value)| format!("{section},share {role},{value:.4}")));
            lines.extend(habit.medians.iter().map(|(role, value)| format!("{section},median {role},{value:.1}")));
            lines.extend(
                ["soft", "middle", "loud"]
                    .iter()
                    .zip(habit.presence)
                    .map(|(class, value)| format!("{section},presence {class},{value:.4}")),
            );
            lines.extend(
                habit
                    .doubled
                    .iter()
                    .filter(|(_, share)| **share >= 0.05)
                    .map(|(other, value)| format!("{section},doubled {other},{value:.4}")),
            );
        }
        lines.join("\n") + "\n"
    }

    /// The habit of a section, or of the relative it borrows from.
    #[must_use]
    pub fn section(&self, kind: &str) -> Option<&Habit> {
        self.sections.get(kind).or_else(|| self.sections.get(self.lender(kind)?))
    }

    /// Whether a section as good as never has a role where these are `present`: so is asked whoever is to double a strand beside what was chosen. The tune is the tune: who only
    /// answers never has it. Of a section that is not known nothing is said.
    pub(crate) fn never(&self, kind: &str, role: Role, present: &[Role]) -> bool {
        let share = |habit: &Habit| match role {
            Role::Melody => habit.shares.get(&role).copied().unwrap_or(0.0),
            _ => habit.share(role, present),
        };
        self.section(kind).is_some_and(|habit| share(habit) < NEVER)
    }

    /// Whose habit [`Habits::section`] gives where a section's own is not known: "trombones" for euphoniums.
    #[must_use]
    pub fn lender(&self, kind: &str) -> Option<&'static str> {
        let (_, lender) = RELATIVES.iter().find(|(of, _)| *of == kind && !self.sections.contains_key(kind))?;
        self.sections.contains_key(*lender).then_some(*lender)
    }
}

/// Over which scores a mean is taken; where one of them has no value, that is a zero.
#[derive(Clone, Copy)]
enum Over<'a> {
    /// All of them.
    All,
    /// Those that have a value.
    Told,
    /// Those in which both of two sections sound.
    BothSound(&'a str, &'a str),
}

/// The mean of values by score.
type Mean<'a> = dyn Fn(&BTreeMap<usize, f64>, Over<'_>) -> Option<f64> + 'a;

/// What a profile tells of how sections go together. That two sections never double each other, nor hand anything on, counts in every score in which both sound, as it does
/// where profiles are pooled (`ripieno_practice`).
fn together(profile: &Profile, mean: &Mean<'_>) -> Together {
    let mut found = Together::default();
    for row in &profile.rows {
        let (measure, of, aspect) = (row.key.measure.as_str(), &row.key.of, row.key.aspect.as_str());
        let with = row.key.with.as_ref().filter(|with| with.kind == Kind::Section).map(|with| with.name.as_str());
        let (what, over) = match (measure, of.kind, with, aspect) {
            ("cohesion", Kind::Section, None, "together") => (format!("cohesion {}", of.name), Over::Told),
            ("reserve", Kind::Section, None, "in the loud bars") => (format!("loud {}", of.name), Over::Told),
            ("reserve", Kind::Family, None, "loud bars") => (format!("loud of {}", of.name), Over::Told),
            ("separation", Kind::Section, Some(with), "usual interval, bass left out") => {
                (format!("apart {}/{with}", of.name), Over::Told)
            }
            ("doubled_sections", Kind::Section, Some(with), "unison") => {
                (format!("unison {}/{with}", of.name), Over::BothSound(&of.name, with))
            }
            ("doubled_sections", Kind::Section, Some(with), "octave below" | "octave above") => {
                (format!("octave {}/{with}", of.name), Over::BothSound(&of.name, with))
            }
            ("hand_offs", Kind::Section, Some(with), "hands on to") => {
                (format!("hands {}/{with}", of.name), Over::BothSound(&of.name, with))
            }
            ("hand_offs", Kind::Score, _, "hand-offs") => ("hands".to_owned(), Over::All),
            _ => continue,
        };
        let values: BTreeMap<usize, f64> = row.values.iter().map(|value| (value.score, value.value)).collect();
        if let Some(value) = mean(&values, over) {
            let known = found.figures.entry(what).or_insert(value);
            *known = known.max(value);
        }
    }
    found
}

fn insert(map: &mut BTreeMap<Role, f64>, name: &str, value: f64) {
    if let Some(role) = Role::ALL.into_iter().find(|role| role.name() == name) {
        map.insert(role, value);
    }
}

/// Of its playing, less than this share of a role is as good as never (ours).
const NEVER: f64 = 0.01;

impl Habit {
    /// Share of a role, roles that have no strand of their own counted with the nearest that has.
    #[must_use]
    pub fn share(&self, role: Role, present: &[Role]) -> f64 {
        let own = |role: Role| self.shares.get(&role).copied().unwrap_or(0.0);
        let to = |role: Role| -> Option<Role> {
            let order: &[Role] = match role {
                Role::Countermelody => &[Role::Countermelody, Role::Melody, Role::Harmony],
                Role::Pedal => &[Role::Pedal, Role::Harmony, Role::Bass],
                Role::Rhythm | Role::Punctuation => &[Role::Rhythm, Role::Harmony, Role::Bass],
                Role::Figuration => &[Role::Figuration, Role::Melody, Role::Harmony],
                Role::Effect => &[Role::Effect, Role::Figuration, Role::Harmony],
                Role::Melody => &[Role::Melody, Role::Countermelody],
                Role::Bass => &[Role::Bass, Role::Harmony],
                Role::Harmony => &[Role::Harmony, Role::Rhythm, Role::Pedal],
                _ => &[],
            };
            order.iter().copied().find(|role| present.contains(role))
        };
        let sum = |wanted: Option<Role>| {
            Role::ALL
                .into_iter()
                .filter(|&from| to(from).is_some() && (wanted.is_none() || to(from) == wanted))
                .map(own)
                .sum::<f64>()
        };
        let whole = sum(None).max(1e-6);
        sum(Some(role)) / whole
    }
}
