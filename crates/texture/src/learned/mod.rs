//! Roles learned from annotated scores.
//!
//! [`predict`] tells, for every part in every played bar, how likely it carries melody, rhythm and harmony - the three groups
//! of the published annotations; a unit may carry several - and how likely it leads: carries the main melody of the bar.

use ripieno_score::{Score, Sounding};

use crate::{Role, first_cut};

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
}

/// The three published groups: melody, rhythm, harmony; any number of them.
pub type Groups = [bool; 3];

impl RoleProbabilities {
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

/// Predicts roles for `sounding`, which is `score` in written or played order.
#[must_use]
pub fn predict(score: &Score, sounding: &Sounding) -> RoleProbabilities {
    debug_assert_eq!(score.parts.len(), sounding.notes.of_part.len());
    let grid = first_cut(sounding);
    let table = |roles: &[Role]| -> Vec<Vec<f32>> {
        grid.iter()
            .map(|bars| {
                bars.iter()
                    .map(|unit| if unit.role == Role::Tacet { 0.0 } else if roles.contains(&unit.role) { 0.7 } else { 0.2 })
                    .collect()
            })
            .collect()
    };
    let melody = table(&[Role::Melody, Role::Countermelody]);
    RoleProbabilities {
        lead: melody.clone(),
        melody,
        rhythm: table(&[Role::Rhythm, Role::Figuration, Role::Punctuation]),
        harmony: table(&[Role::Harmony, Role::Pedal, Role::Bass]),
        thresholds: [0.5; 3],
    }
}
