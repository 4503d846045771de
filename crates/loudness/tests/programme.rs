//! EBU R 128 against the signals of EBU Tech 3341.

use ripieno_loudness::programme::measure;

fn sine(hertz: f64, peak_dbfs: f64, seconds: f64, rate: u32) -> Vec<f32> {
    let amplitude = 10f64.powf(peak_dbfs / 20.0);
    let count = (seconds * f64::from(rate)) as usize;
    (0..count).map(|index| (amplitude * (std::f64::consts::TAU * hertz * index as f64 / f64::from(rate)).sin()) as f32).collect()
}

#[test]
fn stereo_sines_of_ebu_tech_3341() {
    // Tech 3341, table 1, cases 1 and 2: 1 kHz in both channels, 20 s, peak -23 and -33 dBFS: M, S, I -23 and -33 LUFS, within 0.1 LU.
    for level in [-23.0, -33.0] {
        for rate in [44_100, 48_000] {
            let channel = sine(1000.0, level, 20.0, rate);
            let found = measure(&[&channel, &channel], rate).unwrap();
            for value in [found.integrated, found.short_term, found.momentary] {
                assert!((value - level).abs() <= 0.1, "{level}: {found:?}");
            }
            assert!(found.range < 0.1);
            assert!((found.true_peak - level).abs() < 0.2);
        }
    }
}

#[test]
fn the_gate_of_ebu_tech_3341() {
    // Case 3: 10 s at -36, 60 s at -23, 10 s at -36 dBFS: -23 LUFS, within 0.1 LU.
    let mut channel = sine(1000.0, -36.0, 10.0, 48_000);
    channel.extend(sine(1000.0, -23.0, 60.0, 48_000));
    channel.extend(sine(1000.0, -36.0, 10.0, 48_000));
    let found = measure(&[&channel, &channel], 48_000).unwrap();
    assert!((found.integrated + 23.0).abs() <= 0.1, "{found:?}");
}

#[test]
fn the_range_of_ebu_tech_3342() {
    // Tech 3342, case 1: 20 s at -20 then 20 s at -30 dBFS: 10 LU, within 1 LU.
    let mut channel = sine(1000.0, -20.0, 20.0, 48_000);
    channel.extend(sine(1000.0, -30.0, 20.0, 48_000));
    let found = measure(&[&channel, &channel], 48_000).unwrap();
    assert!((found.range - 10.0).abs() <= 1.0, "{found:?}");
}

#[test]
fn a_peak_between_samples_is_found() {
    // Tech 3341, case 15 and after: a sine at a quarter of the rate, 45 degrees off, peaks 3 dB above its samples.
    let amplitude = 0.5f32;
    let channel: Vec<f32> = (0..48_000)
        .map(|index| amplitude * (std::f32::consts::FRAC_PI_2 * index as f32 + std::f32::consts::FRAC_PI_4).sin())
        .collect();
    let found = measure(&[&channel], 48_000).unwrap();
    assert!(found.true_peak > -6.42 && found.true_peak < -5.82, "{found:?}");
}

#[test]
fn what_cannot_be_measured_is_said() {
    assert!(measure(&[], 48_000).is_err());
    assert!(measure(&[&[0.0], &[]], 48_000).unwrap_err().contains("length"));
    assert!(measure(&[&[f32::NAN]], 48_000).is_err());
    assert!(measure(&[[0.0; 10].as_slice(); 6], 48_000).unwrap_err().contains("five"));
    assert!(measure(&[&[0.0; 10]], 0).is_err());
    let silence = measure(&[&[0.0; 48_000]], 48_000).unwrap();
    assert_eq!((silence.integrated, silence.true_peak), (f64::NEG_INFINITY, f64::NEG_INFINITY));
}
