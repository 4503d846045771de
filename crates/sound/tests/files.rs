//! Files: WAV, FLAC and Ogg Vorbis read back by other libraries; loudness by EBU R 128.
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

use ripieno_sound::loudness::{HIGHEST_PEAK, TARGET, gain_for, measure};
use ripieno_sound::{Format, Stereo, encode};

const RATE: u32 = 44_100;

fn tone(gain: f32) -> Stereo {
    let wave = |hz: f32| (0..RATE * 4).map(|at| gain * (std::f32::consts::TAU * hz * at as f32 / RATE as f32).sin()).collect();
    Stereo { left: wave(440.0), right: wave(660.0) }
}

#[test]
fn wav_and_flac_give_the_samples_back() {
    let sound = tone(0.5);
    let wav = encode(&sound, RATE, Format::Wav).unwrap();
    let mut reader = hound::WavReader::new(&wav[..]).unwrap();
    assert_eq!((reader.spec().channels, reader.spec().sample_rate, reader.spec().bits_per_sample), (2, RATE, 24));
    let from_wav: Vec<i32> = reader.samples::<i32>().map(Result::unwrap).collect();
    assert!((from_wav[200] as f32 / 8_388_607.0 - sound.left[100]).abs() < 1e-6);
    let flac = encode(&sound, RATE, Format::Flac).unwrap();
    let from_flac: Vec<i32> = claxon::FlacReader::new(&flac[..]).unwrap().samples().map(Result::unwrap).collect();
    assert_eq!(from_wav, from_flac);
    assert!(flac.len() < wav.len());
}

#[test]
fn ogg_gives_nearly_the_sound_back_and_the_same_bytes_each_time() {
    let sound = tone(0.5);
    let ogg = encode(&sound, RATE, Format::Ogg).unwrap();
    assert_eq!(ogg, encode(&sound, RATE, Format::Ogg).unwrap());
    let mut reader = lewton::inside_ogg::OggStreamReader::new(std::io::Cursor::new(ogg)).unwrap();
    let mut left: Vec<f32> = Vec::new();
    while let Some(packet) = reader.read_dec_packet_generic::<Vec<Vec<f32>>>().unwrap() {
        left.extend(&packet[0]);
    }
    assert_eq!(left.len(), sound.left.len());
    let error: f32 = left.iter().zip(&sound.left).map(|(a, b)| (a - b).powi(2)).sum::<f32>() / left.len() as f32;
    assert!(error.sqrt() < 0.02, "{}", error.sqrt());
}

/// EBU Tech 3341 case 1: a stereo sine of 1000 Hz at -23 dBFS measures -23 LUFS within 0.1.
#[test]
fn loudness_is_that_of_ebu_r128() {
    let wave: Vec<f32> = (0..48_000 * 20)
        .map(|at| 10f32.powf(-23.0 / 20.0) * (std::f32::consts::TAU * 1000.0 * at as f32 / 48_000.0).sin())
        .collect();
    let measured = measure(&Stereo { left: wave.clone(), right: wave }, 48_000).unwrap();
    assert!((measured.loudness + 23.0).abs() < 0.1, "{measured:?}");
}

#[test]
fn a_file_is_set_to_its_loudness_and_never_clips() {
    let mut sound = tone(0.9);
    let (gain, after) = gain_for(&sound, RATE, TARGET).unwrap().unwrap();
    sound.scale(gain);
    let again = measure(&sound, RATE).unwrap();
    assert!((again.loudness - TARGET).abs() < 0.05 && (after.loudness - again.loudness).abs() < 0.05);
    // One loud sample in a soft sound would clip: the peak decides.
    let mut spiky = tone(0.001);
    spiky.left[5000] = 0.9;
    let (gain, _) = gain_for(&spiky, RATE, TARGET).unwrap().unwrap();
    spiky.scale(gain);
    assert!(measure(&spiky, RATE).unwrap().peak <= HIGHEST_PEAK);
    assert!(gain_for(&Stereo { left: vec![0.0; 90_000], right: vec![0.0; 90_000] }, RATE, TARGET).unwrap().is_none());
}
