//! Roughness against what is published about it.

use ripieno_loudness::ear::Tone;
use ripieno_loudness::roughness::roughness;

fn pair(hertz: f64, apart: f64, levels: [f64; 2]) -> f64 {
    roughness(&[Tone { hertz, level: levels[0] }, Tone { hertz: hertz + apart, level: levels[1] }])
}

/// A chord of tones with six partials each, falling by 6 dB an octave.
fn chord(roots: &[f64]) -> f64 {
    let tones: Vec<Tone> = roots
        .iter()
        .flat_map(|root| {
            (1..=6).map(f64::from).map(move |partial| Tone { hertz: root * partial, level: 60.0 - 20.0 * partial.log10() })
        })
        .collect();
    roughness(&tones)
}

#[test]
fn roughest_at_a_quarter_of_the_critical_band() {
    // Plomp and Levelt (1965): two tones are roughest about 25 % of a critical band apart. Critical bandwidths by Zwicker and Terhardt
    // (1980): 117.3 Hz at 500 Hz, 162.2 Hz at 1 kHz.
    for (hertz, band) in [(500.0, 117.3), (1000.0, 162.2)] {
        let apart = (1..400)
            .map(|tenths| f64::from(tenths) * 0.5)
            .max_by(|a, b| pair(hertz, *a, [60.0; 2]).total_cmp(&pair(hertz, *b, [60.0; 2])));
        let share = apart.unwrap() / band;
        assert!((0.2..0.3).contains(&share), "{hertz} Hz: {share} of the critical band");
        // Beyond it hardly any is left.
        assert!(pair(hertz, band * 1.5, [60.0; 2]) < 0.15 * pair(hertz, apart.unwrap(), [60.0; 2]));
    }
}

#[test]
fn even_tones_are_roughest_and_one_is_smooth() {
    assert_eq!(roughness(&[Tone { hertz: 440.0, level: 80.0 }]), 0.0);
    assert_eq!(roughness(&[]), 0.0);
    assert_eq!(pair(440.0, f64::NAN, [60.0; 2]), 0.0);
    assert!(pair(440.0, 25.0, [60.0, 60.0]) > 5.0 * pair(440.0, 25.0, [60.0, 40.0]));
}

#[test]
fn octave_and_fifth_are_smooth_and_seconds_rough() {
    // Common practice: octave, then fifth; then third and tritone, in an order that depends on the partials; then the seconds.
    let interval = |semitones: f64| chord(&[261.6, 261.6 * 2f64.powf(semitones / 12.0)]);
    let [second, major_second, third, tritone, fifth, octave] = [1.0, 2.0, 4.0, 6.0, 7.0, 12.0].map(interval);
    assert!(octave < fifth && fifth < third.min(tritone), "{octave} {fifth} {third} {tritone}");
    assert!(third.max(tritone) < major_second && major_second < second, "{third} {tritone} {major_second} {second}");
    // The same third grates more in the low register.
    assert!(chord(&[65.4, 82.4]) > chord(&[261.6, 329.6]));
}
