//! How well each role fits a strand in a bar.
//!
//! The learned probabilities say which of the three published groups a strand belongs to; the facts of the page say which role of
//! that group it is, and overrule the labels where they are plain: an arpeggio is figuration whatever the collections call it.
//! Each fit is a product of such arguments, every factor between 0 and 1. The numbers are settings of ours, made on the demo
//! overture and checked on the annotated scores (`docs/roles.md`); they are not measured constants.

use super::figure::ramp;
use super::known::Known;
use crate::role::Role;

/// The roles weighed, in the order of [`Role::ALL`] without tacet.
pub(crate) const WEIGHED: [Role; 9] = [
    Role::Melody,
    Role::Countermelody,
    Role::Bass,
    Role::Harmony,
    Role::Pedal,
    Role::Rhythm,
    Role::Figuration,
    Role::Punctuation,
    Role::Effect,
];

/// One fit for each of [`WEIGHED`]; sums to 1.
pub(crate) type Fits = [f32; 9];

/// How much a countermelody loses that moves in the rhythm of another line without running parallel to it.
const FOLLOW: f32 = 0.4;
/// No role is impossible.
const LEAST: f32 = 0.004;

/// How well each role fits.
pub(crate) fn weigh(known: &Known) -> Fits {
    let mut fits = if known.unpitched { unpitched(known) } else { pitched(known) };
    for fit in &mut fits {
        *fit = fit.max(LEAST);
    }
    let sum: f32 = fits.iter().sum();
    fits.map(|fit| fit / sum)
}

/// Percussion without pitch strikes, keeps time or rolls.
fn unpitched(known: &Known) -> Fits {
    let figure = &known.figure;
    let strike = figure.hit.max(figure.detached * figure.few).max(in_stack(known));
    let roll = known.tremolo;
    [0.0, 0.0, 0.0, 0.0, 0.0, (1.0 - strike) * (1.0 - roll), 0.0, strike * (1.0 - 0.7 * roll), roll]
}

/// Everybody strikes one chord in one rhythm.
fn in_stack(known: &Known) -> f32 {
    ramp(0.5, 0.8, known.stack) * known.figure.repeated
}

fn pitched(known: &Known) -> Fits {
    let Known { melody, rhythm, harmony, figure, tremolo, colour, .. } = *known;
    let figured = figure.arpeggio.max(figure.run).max(figure.oscillation);
    let drum = if known.drum { 1.0 } else { 0.0 };
    let bass = known.lowest * known.accompanied * (1.0 - 0.8 * drum);
    let pedal = known.pedal * (1.0 - 0.8 * known.chordal * (1.0 - known.lowest));
    let strike = figure.hit.max(figure.detached * figure.few).max(in_stack(known)) * (1.0 - 0.7 * colour);

    // The tune: where the lead is, or in its rhythm and parallel to it.
    let leads = ramp(0.1, 0.6, known.lead);
    let with_lead = ramp(0.4, 0.9, known.with_lead);
    let thickens = ramp(0.3, 0.6, known.parallel) * with_lead;
    let led = melody.max(0.9 * known.share * ramp(0.1, 0.4, melody)) * (0.1 + 0.9 * leads);
    let tune = led.max(0.9 * thickens * melody.max(0.5));

    // A line of its own, the more so when several play it, is followed for itself even where the labels say harmony: chords are
    // not given to six horns in unison.
    let massed = ramp(1.0, 4.0, known.lines).max(ramp(1.0, 4.0, known.players));
    let apart = massed.max(known.own * (1.0 - known.chordal)) * (1.0 - with_lead);
    let rhythm_of_its_own = (2.5 * known.own).max(1.2 * massed).min(1.0);
    let independent = figure.moving * (0.25 + 0.75 * rhythm_of_its_own) * (0.55 + 0.45 * massed) * (1.0 - with_lead);
    // Where annotators would hear the pulse and no tune at all, independence alone makes no second tune.
    let sung = melody.max(0.95 * independent * (1.0 - 0.8 * ramp(0.4, 0.8, rhythm)));
    // A low line that everybody hears as the tune is no longer the bass.
    let tuneful_bass = ramp(0.35, 0.75, melody);
    let pulse = figure.repeated.max(known.pedal * (1.0 - tremolo)) * ramp(0.45, 0.85, rhythm);
    let plain = 1.0 - figured.max(figure.repeated).max(figure.hit);

    [
        tune * (1.0 - 0.8 * drum * known.accompanied)
            * (1.0 - 0.5 * figure.hit)
            * (1.0 - 0.55 * figured)
            * (1.0 - 0.5 * tremolo * figure.sustained),
        0.9 * sung
            * (1.0 - 0.8 * drum)
            * (1.0 - leads)
            * (1.0 - FOLLOW * known.follows)
            * (1.0 - 0.8 * thickens)
            * (1.0 - 0.85 * bass * (1.0 - tuneful_bass))
            * (1.0 - pedal)
            * plain,
        bass * (1.0 - 0.8 * tuneful_bass) * (1.0 - 0.8 * pedal),
        harmony
            * (1.0 - 0.7 * drum)
            * (1.0 - 0.8 * bass)
            * (1.0 - 0.8 * pedal)
            * (1.0 - 0.7 * figured)
            * (1.0 - 0.8 * strike)
            * (1.0 - 0.7 * tune)
            * (1.0 - 0.85 * figure.moving * apart)
            * (1.0 - 0.6 * thickens),
        (pedal * (0.4 + 0.6 * known.lowest) * (1.0 - 0.7 * pulse)).max(0.7 * drum * figure.sustained * ramp(0.5, 0.9, tremolo)),
        rhythm
            * figure.repeated.max(0.6 * drum)
            * (1.0 - 0.6 * bass)
            * (1.0 - 0.7 * pedal)
            * (1.0 - tremolo)
            * (1.0 - 0.7 * in_stack(known)),
        rhythm.max(0.7 * melody) * figured * (1.0 - 0.6 * bass),
        strike * rhythm.max(harmony) * (1.0 - 0.6 * bass * (1.0 - known.chordal)) * (1.0 - 0.5 * melody),
        colour * (1.0 - 0.6 * melody) + 0.3 * tremolo * if known.accompanied < 0.5 { 1.0 } else { 0.0 },
    ]
}
