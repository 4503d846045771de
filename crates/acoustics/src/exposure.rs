//! How loud it is where the players sit, for how long, and what the published schemes make of that. An estimate, never a measurement.

use ripieno_score::{Score, Sounding};

use crate::data::rows;
use crate::ear::{CHANNELS, channel_hz};
use crate::level::{level_of, power_of};
use crate::scene::{Scene, left_of};
use crate::situation::{Refused, Situation, Transfer, at_own_ear, between};
use crate::source::{Source, Ways};

/// What belongs beside every figure of exposure.
pub const CAUTION: &str = "An estimate from the score, not a measurement: levels differ by 5 dB and more between halls, players and seats. \
Hearing protection, measurement at the place, local rules and the advice of qualified people come first.";

/// Uncertainty of a level at a player's ear, one standard deviation in dB: the players' dynamics, the seating, the room. A judgement, after
/// the scatter of published measurements.
pub const SPREAD: f64 = 5.0;

/// A-weighting in dB at a frequency (IEC 61672-1; formula from memory).
#[must_use]
pub fn a_weighting(hz: f64) -> f64 {
    let f = hz * hz;
    let (a, b, c, d) = (20.598_997_f64.powi(2), 107.652_65_f64.powi(2), 737.862_23_f64.powi(2), 12_194.217_f64.powi(2));
    let response = d * f * f / ((f + a) * ((f + b) * (f + c)).sqrt() * (f + d));
    20.0 * response.log10() + 2.0
}

/// A published scheme: a level that may be had for so many hours, and by how much more halves the time.
#[derive(Debug, Clone, PartialEq)]
pub struct Scheme {
    /// Its name.
    pub name: String,
    /// Which of its values.
    pub what: String,
    /// The level, dB(A).
    pub criterion: f64,
    /// What halves the time, dB.
    pub exchange: f64,
    /// Hours at the criterion.
    pub hours: f64,
    /// Peak sound pressure in pascal, where the scheme has one. Peaks are not estimated here.
    pub peak_pa: Option<f64>,
}

/// All schemes known.
#[must_use]
pub fn schemes() -> Vec<Scheme> {
    rows("exposure_limits.csv", include_str!("../data/exposure_limits.csv"))
        .iter()
        .map(|row| Scheme {
            name: row.text("scheme").to_owned(),
            what: row.text("what").to_owned(),
            criterion: row.get("criterion_dba"),
            exchange: row.get("exchange_db"),
            hours: row.get("hours"),
            peak_pa: row.maybe("peak_pa"),
        })
        .collect()
}

impl Scheme {
    /// Minutes for which a level may last.
    #[must_use]
    pub fn minutes(&self, level_dba: f64) -> f64 {
        60.0 * self.hours / ((level_dba - self.criterion) / self.exchange).exp2()
    }

    /// Dose in percent of what the scheme allows in a day: levels with the hours each lasts. All sound counts, though OSHA and NIOSH leave soft sound out
    /// (below 80 or 90 dB(A); from memory), and an equivalent level is never below OSHA's own mean, which halves for 5 dB: both err on the side of caution.
    #[must_use]
    pub fn dose(&self, levels: &[(f64, f64)]) -> f64 {
        100.0 * levels.iter().map(|(level, hours)| 60.0 * hours / self.minutes(*level)).sum::<f64>()
    }
}

/// Level over 8 hours of something that lasts `hours` (ISO 1999: LEX,8h).
#[must_use]
pub fn over_eight_hours(level_dba: f64, hours: f64) -> f64 {
    level_dba + 10.0 * (hours / 8.0).max(1e-9).log10()
}

/// Level of a week of five working days from its daily levels (Directive 2003/10/EC, annex: where days vary).
#[must_use]
pub fn over_a_week(daily: &[f64]) -> f64 {
    level_of(daily.iter().map(|level| power_of(*level)).sum::<f64>() / 5.0)
}

/// A day with this piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Day {
    /// Hours of rehearsal.
    pub rehearsal: f64,
    /// Share of it in which the orchestra plays.
    pub playing: f64,
    /// Hours of performance, played through.
    pub performance: f64,
}

impl Default for Day {
    /// A rehearsal of 2.5 hours, six tenths of it playing, and 1.5 hours of music in the evening: common practice, a judgement.
    fn default() -> Self {
        Self { rehearsal: 2.5, playing: 0.6, performance: 1.5 }
    }
}

/// Exposure at the desk of a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposed {
    /// Index of the part.
    pub part: usize,
    /// Equivalent level while the piece plays, dB(A).
    pub playing: f64,
    /// Of that, from the player's own instrument.
    pub own: f64,
    /// Level over 8 hours of the day, dB(A).
    pub daily: f64,
    /// One standard deviation of the levels, dB.
    pub spread: f64,
    /// Dose of the day by each of [`schemes`].
    pub doses: Vec<Dose>,
}

/// A dose in percent of what a scheme allows in a day, and what it would be one standard deviation of the level below and above.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// By the level estimated.
    pub percent: f64,
    /// By the level less its uncertainty.
    pub least: f64,
    /// By the level and its uncertainty.
    pub most: f64,
}

/// A number to two significant figures: 258 as 260, 81.3 as 81. No more is known of a dose whose level is uncertain by some dB.
fn two_figures(value: f64) -> f64 {
    if value <= 0.0 || !value.is_finite() {
        return value;
    }
    let step = 10f64.powf(value.log10().floor() - 1.0).max(1.0);
    (value / step).round() * step
}

impl Dose {
    /// As it is told: two figures each, and no fractions of a percent.
    #[must_use]
    pub fn rounded(&self) -> Self {
        Self { percent: two_figures(self.percent), least: two_figures(self.least), most: two_figures(self.most) }
    }

    fn of(scheme: &Scheme, level_dba: f64, hours: f64) -> Self {
        let at = |level| scheme.dose(&[(level, hours)]);
        Self { percent: at(level_dba), least: at(level_dba - SPREAD), most: at(level_dba + SPREAD) }
    }
}

/// Exposure of every part over a day with the piece. `situation` gives room and seats.
///
/// # Errors
/// For a mix, in which nobody sits.
pub fn exposure(
    score: &Score,
    sounding: &Sounding,
    ways: &[Ways],
    situation: &Situation,
    day: Day,
) -> Result<Vec<Exposed>, Refused> {
    let (room, plan) = match situation {
        Situation::Hall { room, plan, .. } | Situation::Stage { room, plan, .. } => (room.clone(), *plan),
        Situation::Mix { .. } => return Err(Refused::NoSeats),
    };
    let stage = Situation::Stage { room: room.clone(), plan, part: None };
    let scene = Scene::new(score, sounding, ways, stage)?;
    let end = sounding.length();
    let length = sounding.tempo.seconds(end).max(1e-3);
    let weights: [f64; CHANNELS] = std::array::from_fn(|channel| power_of(a_weighting(channel_hz(channel))));
    // A-weighted power of each part by channel, averaged over the piece; and how many players share it.
    let mut sent = vec![[0.0; CHANNELS]; score.parts.len()];
    let mut players = vec![(0.0, 0.0); score.parts.len()];
    for note in &scene.notes {
        let part = usize::from(note.tone.part);
        let seconds = sounding.tempo.seconds(note.to) - note.from_s;
        let heard = &scene.heard[note.heard];
        let left = heard.t60.map_or(1.0, |t60| left_of(t60, 0.0, seconds));
        for (sum, (power, weight)) in sent[part].iter_mut().zip(heard.emitted.iter().zip(&weights)) {
            *sum += note.players * left * power * weight * seconds / length;
        }
        players[part].0 += note.players * seconds;
        players[part].1 += seconds;
    }
    let sources: Vec<&Source> = score.parts.iter().map(|part| Source::of(&part.instrument_id)).collect();
    let at = |power: &[f64; CHANNELS], transfer: &Transfer, share: f64| {
        share * power.iter().zip(transfer.iter()).map(|(power, transfer)| power * transfer).sum::<f64>()
    };
    let schemes = schemes();
    let mut all = Vec::new();
    for (listener, source) in sources.iter().enumerate() {
        let here = scene.seats[listener];
        let count = if players[listener].1 > 0.0 { players[listener].0 / players[listener].1 } else { 1.0 }.max(1.0);
        let own = at(&sent[listener], &at_own_ear(&room, source), 1.0 / count);
        // The others of the desk sit at a mean distance and radiate past the player's ear as to all sides.
        let spacing = here.spacing(count);
        let beside: Transfer =
            Box::new(std::array::from_fn(|channel| power_of(room.received_db(spacing, 0.0, channel_hz(channel)))));
        let mut total = own + at(&sent[listener], &beside, 1.0 - 1.0 / count);
        for (other, (power, source)) in sent.iter().zip(&sources).enumerate() {
            if other != listener {
                total += at(power, &between(&room, source, scene.seats[other].place, here.place), 1.0);
            }
        }
        let playing = level_of(total.max(1.0));
        let hours = day.rehearsal * day.playing + day.performance;
        all.push(Exposed {
            part: listener,
            playing,
            own: level_of(own.max(1.0)),
            daily: over_eight_hours(playing, hours),
            spread: SPREAD,
            doses: schemes.iter().map(|scheme| Dose::of(scheme, playing, hours)).collect(),
        });
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scheme(name: &str, criterion: f64) -> Scheme {
        schemes().into_iter().find(|scheme| scheme.name == name && (scheme.criterion - criterion).abs() < 0.1).unwrap()
    }

    #[test]
    fn times_are_those_of_the_published_tables() {
        // NIOSH 1998 and 29 CFR 1910.95: T = 480 / 2^((L - criterion) / exchange) minutes (formula confirmed), rows worked out.
        for (level, niosh, osha) in [
            (85.0, 480.0, 960.0),
            (88.0, 240.0, 633.364),
            (91.0, 120.0, 417.864),
            (94.0, 60.0, 275.688),
            (95.0, 47.622, 240.0),
            (100.0, 15.0, 120.0),
            (110.0, 1.488, 30.0),
            (115.0, 0.469, 15.0),
        ] {
            assert!((scheme("NIOSH", 85.0).minutes(level) / niosh - 1.0).abs() < 1e-3, "{level}");
            assert!((scheme("OSHA", 90.0).minutes(level) / osha - 1.0).abs() < 1e-3, "{level}");
        }
        // The table for Directive 2003/10/EC in SCENIHR's report on portable players (confirmed): 80 dB(A) 8 h = 83/4 h = 86/2 h = 89/1 h =
        // 92/30 min = 95/15 min; 85: 88/4 h ... 100/15 min; 87: 90/4 h ... 102/15 min.
        for criterion in [80.0, 85.0, 87.0] {
            for (step, minutes) in [(3.0, 240.0), (6.0, 120.0), (9.0, 60.0), (12.0, 30.0), (15.0, 15.0)] {
                assert!((scheme("EU 2003/10/EC", criterion).minutes(criterion + step) - minutes).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn times_are_those_printed_in_the_standards() {
        // 29 CFR 1910.95, table G-16 (from memory): hours a day by level; printed to the half hour, so within 1.5 %.
        for (level, hours) in [
            (90.0, 8.0),
            (92.0, 6.0),
            (95.0, 4.0),
            (97.0, 3.0),
            (100.0, 2.0),
            (102.0, 1.5),
            (105.0, 1.0),
            (110.0, 0.5),
            (115.0, 0.25),
        ] {
            assert!((scheme("OSHA", 90.0).minutes(level) / 60.0 / hours - 1.0_f64).abs() < 0.015, "OSHA {level}");
        }
        // NIOSH 98-126, table 1-1 (from memory): minutes by level, printed to the second, so within 1.5 %.
        for (level, minutes) in [
            (82.0, 960.0),
            (85.0, 480.0),
            (88.0, 240.0),
            (91.0, 120.0),
            (94.0, 60.0),
            (97.0, 30.0),
            (100.0, 15.0),
            (103.0, 7.5),
            (106.0, 3.75),
            (109.0, 113.0 / 60.0),
            (112.0, 56.0 / 60.0),
            (115.0, 28.0 / 60.0),
        ] {
            assert!((scheme("NIOSH", 85.0).minutes(level) / minutes - 1.0_f64).abs() < 0.015, "NIOSH {level}");
        }
        // Half of OSHA's dose is its action level (29 CFR 1910.95 (c), from memory): 85 dB(A) over 8 h.
        assert!((scheme("OSHA", 90.0).dose(&[(85.0, 8.0)]) - 50.0).abs() < 1e-9);
        assert!((scheme("OSHA", 85.0).dose(&[(85.0, 8.0)]) - 100.0).abs() < 1e-9);
    }

    #[test]
    fn a_dose_carries_the_uncertainty_of_its_level() {
        let dose = Dose::of(&scheme("NIOSH", 85.0), 88.0, 4.0);
        // 3 dB double it: 5 dB are 3.17 times.
        assert!((dose.percent - 100.0).abs() < 1e-9);
        assert!((dose.most / dose.percent - 3.175).abs() < 0.01 && (dose.percent / dose.least - 3.175).abs() < 0.01);
    }

    #[test]
    fn doses_are_told_to_two_figures() {
        let told = Dose { percent: 258.0, least: 81.4, most: 818.0 }.rounded();
        assert_eq!([told.percent, told.least, told.most], [260.0, 81.0, 820.0]);
        let small = Dose { percent: 0.0, least: 0.3, most: 9.6 }.rounded();
        assert_eq!([small.percent, small.least, small.most], [0.0, 0.0, 10.0]);
    }

    #[test]
    fn peaks_are_those_of_the_directive() {
        // Directive 2003/10/EC Art. 3 (confirmed): 200, 140, 112 Pa; 140, 137, 135 dB(C) against 20 micropascal.
        for (criterion, pascal, db) in [(87.0, 200.0, 140.0), (85.0, 140.0, 136.9), (80.0, 112.0, 135.0)] {
            let peak = scheme("EU 2003/10/EC", criterion).peak_pa.unwrap();
            assert!((peak - pascal).abs() < 1e-9 && (20.0 * (peak / 20e-6).log10() - db).abs() < 0.05);
        }
    }

    #[test]
    fn doses_and_days_add_up() {
        let niosh = scheme("NIOSH", 85.0);
        assert!((niosh.dose(&[(85.0, 8.0)]) - 100.0).abs() < 1e-9);
        assert!((niosh.dose(&[(88.0, 2.0), (91.0, 1.0)]) - 100.0).abs() < 1e-9);
        assert!((over_eight_hours(91.0, 2.0) - 84.98).abs() < 0.01);
        assert!((over_a_week(&[85.0; 5]) - 85.0).abs() < 1e-9);
        // Qian and others 2011 / Russo and others 2013 (confirmed): 360 h in a year of 2000 h are -7.45 dB.
        assert!((10.0 * (360.0_f64 / 2000.0).log10() + 7.45).abs() < 0.01);
    }

    #[test]
    fn a_weighting_is_that_of_the_table() {
        // IEC 61672-1 table of A-weighting (from memory).
        for (hz, db) in [
            (63.0, -26.2),
            (125.0, -16.1),
            (250.0, -8.6),
            (500.0, -3.2),
            (1000.0, 0.0),
            (2000.0, 1.2),
            (4000.0, 1.0),
            (8000.0, -1.1),
        ] {
            assert!((a_weighting(hz) - db).abs() < 0.15, "{hz}: {}", a_weighting(hz));
        }
    }
}
