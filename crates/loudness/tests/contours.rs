//! ISO 226 against its published table, and both ways.

use proptest::prelude::*;
use ripieno_loudness::Phons;
use ripieno_loudness::contours::{Edition, FREQUENCIES, level, loudness_level, threshold};

#[test]
fn the_contours_of_2003() {
    let mut checked = 0;
    for line in include_str!("data/iso226_2003.csv").lines().skip(1) {
        let fields: Vec<f64> = line.split(',').filter_map(|field| field.parse().ok()).collect();
        for (phon, wanted) in [20.0, 40.0, 60.0, 80.0].into_iter().zip(&fields[1..]) {
            let found = level(Edition::Iso2003, Phons(phon), fields[0]).unwrap();
            assert!((found - wanted).abs() < 0.01, "{} Hz, {phon} phon: {found} dB, the table has {wanted}", fields[0]);
            checked += 1;
        }
    }
    assert_eq!(checked, 29 * 4);
    // The anchor two public test suites share.
    assert!((level(Edition::Iso2003, Phons(60.0), 100.0).unwrap() - 78.65).abs() < 0.01);
}

#[test]
fn the_contours_of_2023() {
    // By definition the phon is the decibel at 1 kHz; the edition of 2023 keeps this exactly.
    for phon in [20.0, 40.0, 60.0, 90.0] {
        assert!((level(Edition::Iso2023, Phons(phon), 1000.0).unwrap() - phon).abs() < 1e-9);
    }
    // Suzuki, Takeshima and Kurakata (2024): the two editions lie at most 0.6 dB apart (from memory).
    for hertz in FREQUENCIES {
        for phon in [20.0, 40.0, 60.0, 80.0] {
            let [old, new] = [Edition::Iso2003, Edition::Iso2023].map(|edition| level(edition, Phons(phon), hertz).unwrap());
            assert!((old - new).abs() < 0.7, "{hertz} Hz, {phon} phon: {old} and {new} dB");
        }
    }
    // The threshold of hearing at 20 Hz is 0.4 dB lower since ISO 389-7:2019.
    assert_eq!(threshold(Edition::Iso2023, 20.0), Some(78.1));
    assert_eq!(threshold(Edition::Iso2003, 20.0), Some(78.5));
}

#[test]
fn outside_the_standard_there_is_no_answer() {
    assert_eq!(level(Edition::Iso2023, Phons(40.0), 19.0), None);
    assert_eq!(loudness_level(Edition::Iso2023, 12_501.0, 40.0), None);
    assert_eq!(loudness_level(Edition::Iso2023, f64::NAN, 40.0), None);
    assert!(loudness_level(Edition::Iso2003, 1000.0, -100.0).is_none_or(|loudness| loudness.0 < 2.4));
}

proptest! {
    #[test]
    fn both_ways(hertz in 20.0f64..12_500.0, phon in 20.0f64..90.0, new: bool) {
        let edition = if new { Edition::Iso2023 } else { Edition::Iso2003 };
        let decibels = level(edition, Phons(phon), hertz).unwrap();
        let back = loudness_level(edition, hertz, decibels).unwrap();
        prop_assert!((back.0 - phon).abs() < 1e-6);
        prop_assert!(level(edition, Phons(phon + 1.0), hertz).unwrap() > decibels);
    }
}
