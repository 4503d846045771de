//! ISO 532-1 against the values the standard prints, and the laws its loudness keeps.

use proptest::prelude::*;
use ripieno_loudness::zwicker::{RATE, from_levels, levels, stationary, varying};
use ripieno_loudness::{Field, Phons, Sones};

/// Pascals of a tone.
fn tone(hertz: f64, level: f64, seconds: f64) -> Vec<f64> {
    let amplitude = 2e-5 * 10f64.powf(level / 20.0) * 2f64.sqrt();
    let count = (seconds * f64::from(RATE)) as usize;
    (0..count).map(|index| amplitude * (std::f64::consts::TAU * hertz * index as f64 / f64::from(RATE)).sin()).collect()
}

/// 5 % or 0.1 sone, as ISO 532-1, annex B, allows.
fn agrees(found: f64, wanted: f64) -> bool {
    (found - wanted).abs() <= (0.05 * wanted).max(0.1)
}

#[test]
fn signal_1_of_the_standard() {
    // ISO 532-1:2017, B.2: 28 third-octave levels in free field, 83.296 sone.
    let levels = [
        -60.0, -60.0, 78.0, 79.0, 89.0, 72.0, 80.0, 89.0, 75.0, 87.0, 85.0, 79.0, 86.0, 80.0, 71.0, 70.0, 72.0, 71.0, 72.0, 74.0,
        69.0, 65.0, 67.0, 77.0, 68.0, 58.0, 45.0, 30.0,
    ];
    let found = from_levels(&levels, Field::Free).unwrap();
    assert!((found.total.0 - 83.296).abs() < 0.05, "{:?}", found.total);
    let area = found.specific.iter().sum::<f64>() * 0.1;
    assert!((area / found.total.0 - 1.0).abs() < 0.01, "the area under specific loudness is {area}");
}

#[test]
fn tones_of_the_standard() {
    for line in include_str!("data/iso532_1.csv").lines().skip(1) {
        let mut fields = line.split(',').map(|field| field.parse::<f64>());
        let mut next = || fields.next().unwrap().unwrap();
        let (hertz, level, sone) = (next(), next(), next());
        let signal = tone(hertz, level, 1.5);
        let found = stationary(&signal, RATE, RATE as usize / 5, Field::Free).unwrap().total.0;
        assert!(agrees(found, sone), "{hertz} Hz at {level} dB: {found} sone, the standard has {sone}");
        let course = varying(&signal, RATE, Field::Free).unwrap();
        let steady = course.sones[500];
        assert!(agrees(steady, sone), "{hertz} Hz at {level} dB in time: {steady} sone, the standard has {sone}");
    }
}

#[test]
fn third_octave_levels_of_tones() {
    // A tone at the exact centre of a band has its level there (IEC 61260-1 class 1: within 0.4 dB) and 40 dB less two octaves away.
    for (band, hertz) in [(6, 100.0), (16, 1000.0), (26, 10_000.0)] {
        let found = levels(&tone(hertz, 70.0, 2.0), RATE, RATE as usize / 2).unwrap();
        assert!((found[band] - 70.0).abs() < 0.4, "{hertz} Hz: {}", found[band]);
        assert!(found[band - 6] < 30.0, "{hertz} Hz, two octaves below: {}", found[band - 6]);
    }
}

#[test]
fn sone_and_phon() {
    // Definition: 1 sone is 40 phon, and twice the loudness is ten phon more from there up (ISO 532-1, 5.9).
    for (sone, phon) in [(1.0, 40.0), (2.0, 50.0), (4.0, 60.0), (64.0, 100.0)] {
        assert!((Sones(sone).phons().0 - phon).abs() < 1e-9);
        assert!((Phons(phon).sones().0 - sone).abs() < 1e-9);
    }
    assert!((Sones(0.1).phons().0 - 40.0 * 0.1f64.powf(0.35)).abs() < 1e-9);
}

#[test]
fn a_tone_of_1_khz_doubles_every_ten_decibels() {
    for level in [40.0, 50.0, 60.0, 70.0, 80.0] {
        let of = |level: f64| stationary(&tone(1000.0, level, 1.0), RATE, 9600, Field::Free).unwrap().total.phons().0;
        let rise = of(level + 10.0) - of(level);
        // The method's own tones rise by 9.5 to 10.5 phon.
        assert!((rise - 10.0).abs() < 0.6, "from {level} dB: {rise} phon");
    }
}

#[test]
fn loudness_outlasts_a_long_sound_longer() {
    let after = |seconds: f64| {
        let mut signal = tone(1000.0, 70.0, seconds);
        signal.resize(signal.len() + 24_000, 0.0);
        let course = varying(&signal, RATE, Field::Free).unwrap().sones;
        let end = (seconds * 500.0) as usize;
        let peak = course.iter().copied().fold(0.0, f64::max);
        (peak, course[end + 20] / peak)
    };
    let ((brief_peak, brief), (long_peak, long)) = (after(0.01), after(0.5));
    assert!(brief_peak < 0.7 * long_peak, "a brief sound is softer: {brief_peak}, {long_peak}");
    assert!(long > brief, "{long} {brief}");
    assert!(long > 0.2 && long < 0.95, "{long}");
}

#[test]
fn what_cannot_be_measured_is_said() {
    assert!(stationary(&[0.0; 100], 44_100, 0, Field::Free).unwrap_err().contains("44100"));
    assert!(stationary(&[f64::NAN], RATE, 0, Field::Free).unwrap_err().contains("sample 0"));
    assert!(stationary(&[0.0; 10], RATE, 10, Field::Free).is_err());
    assert!(from_levels(&[121.0; 28], Field::Free).unwrap_err().contains("120 dB"));
    assert!(varying(&tone(100.0, 126.0, 0.5), RATE, Field::Free).unwrap_err().contains("120 dB"));
    assert!(varying(&[], RATE, Field::Free).unwrap().sones.is_empty());
    assert_eq!(varying(&[], RATE, Field::Free).unwrap().n5(), Sones(0.0));
    let silence = stationary(&[0.0; 10_000], RATE, 0, Field::Diffuse).unwrap();
    assert_eq!(silence.total, Sones(0.0));
}

proptest! {
    #[test]
    fn more_of_everything_is_never_softer(levels in prop::array::uniform28(-20.0f64..95.0), more in 0.0f64..10.0, diffuse: bool) {
        let field = if diffuse { Field::Diffuse } else { Field::Free };
        let before = from_levels(&levels, field).unwrap();
        let after = from_levels(&levels.map(|level| level + more), field).unwrap();
        // The steps of the low-frequency table may take back a little.
        prop_assert!(after.total.0 >= before.total.0 * 0.999, "{:?} {:?}", before.total, after.total);
        prop_assert!(before.specific.iter().all(|value| *value >= 0.0));
        prop_assert!((before.specific.iter().sum::<f64>() * 0.1 - before.total.0).abs() <= 0.02 * before.total.0 + 0.02);
    }

    #[test]
    fn sone_and_phon_are_inverse(sone in 0.0f64..1000.0) {
        prop_assert!((Sones(sone).phons().sones().0 - sone).abs() < 1e-9 * sone.max(1.0));
    }
}
