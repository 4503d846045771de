//! Loudness of a sound alone and while another sounds.

use super::excitation::{CHANNELS, COCHLEA, Excitation, STEP, Tone, excitation};
use super::tables::Place;
use crate::{Field, Sones};

/// Scale of specific loudness: a 1 kHz tone of 40 dB in free field, heard by both ears, has 1 sone (ANSI S3.4-2007: 0.046871).
const SCALE: f64 = 0.046_871;

/// Loudness at which a sound is just heard, alone or in a masker.
pub const THRESHOLD: Sones = Sones(0.003);

/// Loudness of a sound alone.
pub fn loudness(target: &Excitation) -> Sones {
    partial_loudness(target, &Excitation::SILENCE)
}

/// Loudness of a target while a masker sounds. Never more than [`loudness`], which it is when the masker is silent.
pub fn partial_loudness(target: &Excitation, masker: &Excitation) -> Sones {
    Sones(STEP * specific_partial_loudness(target, masker).iter().sum::<f64>())
}

/// Specific partial loudness in sone per Cam at each filter, both ears together: which places of the cochlea still hear the target.
pub fn specific_partial_loudness(target: &Excitation, masker: &Excitation) -> [f64; CHANNELS] {
    std::array::from_fn(|index| 2.0 * SCALE * at_place(target.powers[index], masker.powers[index], &COCHLEA[index].place))
}

/// Equations 17 and 18 of Moore, Glasberg and Baer (1997), without the scale.
fn at_place(target: f64, masker: f64, place: &Place) -> f64 {
    if target <= 0.0 {
        return 0.0;
    }
    let grown = |power: f64| (power * place.gain + place.bend).powf(place.exponent);
    let (silence, quiet) = (place.bend.powf(place.exponent), grown(place.quiet));
    let covered = place.ratio * masker + place.quiet;
    let both = grown(target + masker);
    let edge = grown(masker + covered);
    if target >= covered {
        (both - silence - (edge - quiet) * (covered / target).powf(0.3)).max(0.0)
    } else {
        let alone = grown(masker);
        (2.0 * target / (target + covered)).powf(1.5) * (quiet - silence) * (both - alone) / (edge - alone)
    }
}

/// How many dB a target lies above the level at which it would just be heard beside a masker; negative: by how much it is covered.
/// Counted to a tenth of a dB between -60 and 120 dB; beyond, the nearer end. `None` when the target has no tone that can be heard.
pub fn audibility_margin(target: &[Tone], masker: &Excitation, field: Field) -> Option<f64> {
    let heard = |change: f64| {
        let moved: Vec<Tone> = target.iter().map(|tone| Tone { level: tone.level + change, ..*tone }).collect();
        partial_loudness(&excitation(&moved, field), masker) >= THRESHOLD
    };
    let usable = |tone: &Tone| (20.0..=20_000.0).contains(&tone.hertz) && tone.level.is_finite();
    if !target.iter().any(usable) {
        return None;
    }
    let (mut softer, mut louder) = (-120.0, 60.0);
    if heard(softer) {
        return Some(-softer);
    }
    if !heard(louder) {
        return Some(-louder);
    }
    while louder - softer > 0.1 {
        let middle = f64::midpoint(softer, louder);
        if heard(middle) {
            louder = middle;
        } else {
            softer = middle;
        }
    }
    Some(-f64::midpoint(softer, louder))
}
