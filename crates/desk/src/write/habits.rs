//! Habits as they are kept with a proposal, so that it can be made once more when the score they were learnt from is not what it was.

use std::collections::BTreeMap;

use ripieno_casting::{Habit, Habits, Together};
use ripieno_texture::Role;
use serde::{Deserialize, Serialize};

/// A number by its bits: the same habits, the same notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Exact(u64);

impl Exact {
    const fn of(value: f64) -> Self {
        Self(value.to_bits())
    }

    const fn value(self) -> f64 {
        f64::from_bits(self.0)
    }
}

/// What one section usually does; roles by name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct KeptHabit {
    shares: BTreeMap<String, Exact>,
    medians: BTreeMap<String, Exact>,
    presence: [Exact; 3],
    doubled: BTreeMap<String, Exact>,
}

/// What sections usually do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct KeptHabits {
    name: String,
    sections: BTreeMap<String, KeptHabit>,
    /// Left out by older drafts.
    #[serde(default)]
    together: BTreeMap<String, Exact>,
}

impl KeptHabits {
    pub(crate) fn of(habits: &Habits) -> Self {
        let named =
            |of: &BTreeMap<Role, f64>| of.iter().map(|(role, &value)| (role.name().to_owned(), Exact::of(value))).collect();
        let kept = |habit: &Habit| KeptHabit {
            shares: named(&habit.shares),
            medians: named(&habit.medians),
            presence: habit.presence.map(Exact::of),
            doubled: habit.doubled.iter().map(|(with, &value)| (with.clone(), Exact::of(value))).collect(),
        };
        let sections = habits.sections.iter().map(|(section, habit)| (section.clone(), kept(habit))).collect();
        let together = habits.together.figures.iter().map(|(what, &value)| (what.clone(), Exact::of(value))).collect();
        Self { name: habits.name.clone(), sections, together }
    }

    pub(crate) fn habits(&self) -> Habits {
        let by_role = |of: &BTreeMap<String, Exact>| {
            Role::ALL.into_iter().filter_map(|role| Some((role, of.get(role.name())?.value()))).collect()
        };
        let habit = |kept: &KeptHabit| Habit {
            shares: by_role(&kept.shares),
            medians: by_role(&kept.medians),
            presence: kept.presence.map(Exact::value),
            doubled: kept.doubled.iter().map(|(with, value)| (with.clone(), value.value())).collect(),
        };
        let sections = self.sections.iter().map(|(section, kept)| (section.clone(), habit(kept))).collect();
        let figures = self.together.iter().map(|(what, value)| (what.clone(), value.value())).collect();
        Habits { name: self.name.clone(), sections, together: Together { figures } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_is_what_was_learnt() {
        let mut usual = Habits::usual();
        usual.together.figures.insert("cohesion horns".to_owned(), 0.1 + 0.2);
        let text = serde_json::to_string(&KeptHabits::of(&usual)).unwrap_or_default();
        let read: Option<KeptHabits> = serde_json::from_str(&text).ok();
        assert!(!usual.sections.is_empty());
        assert_eq!(read.map(|kept| kept.habits()), Some(usual));
    }
}
