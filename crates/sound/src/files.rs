//! Sound as files: WAV and FLAC with 24 bits, Ogg Vorbis.

use std::num::{NonZeroU8, NonZeroU32};
use std::path::Path;

use flacenc::component::BitRepr;
use flacenc::error::Verify;
use vorbis_rs::{VorbisBitrateManagementStrategy, VorbisEncoderBuilder};

use crate::render::Stereo;

/// Largest sample of 24 bits.
const FULL: f32 = 8_388_607.0;
/// Quality of Ogg Vorbis on its scale of -0.2 to 1: about 190 kbit a second.
const QUALITY: f32 = 0.6;
/// Serial number of the Ogg stream: fixed, so that the same sound gives the same bytes.
const SERIAL: i32 = 0x5210;

/// Formats of sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// WAV, 24 bits.
    Wav,
    /// FLAC, 24 bits.
    Flac,
    /// Ogg Vorbis.
    Ogg,
}

impl Format {
    /// The format that a file's ending asks for.
    #[must_use]
    pub fn of(path: &Path) -> Option<Self> {
        match path.extension()?.to_string_lossy().to_lowercase().as_str() {
            "wav" => Some(Self::Wav),
            "flac" => Some(Self::Flac),
            "ogg" | "oga" => Some(Self::Ogg),
            _ => None,
        }
    }

    /// Its usual ending, without the dot.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Wav => "wav",
            Self::Flac => "flac",
            Self::Ogg => "ogg",
        }
    }
}

/// The bytes of a file. Samples beyond full scale are held at it.
///
/// # Errors
/// One sentence when the encoder refuses, as for a rate it does not know.
pub fn encode(sound: &Stereo, rate: u32, format: Format) -> Result<Vec<u8>, String> {
    match format {
        Format::Wav => wav(sound, rate).map_err(|error| format!("the WAV file cannot be made ({error})")),
        Format::Flac => flac(sound, rate).map_err(|error| format!("the FLAC file cannot be made ({error})")),
        Format::Ogg => ogg(sound, rate).map_err(|error| format!("the Ogg file cannot be made ({error})")),
    }
}

#[allow(clippy::cast_possible_truncation)] // clamped
fn whole(sample: f32) -> i32 {
    (sample.clamp(-1.0, 1.0) * FULL).round() as i32
}

fn interleaved(sound: &Stereo) -> impl Iterator<Item = i32> + '_ {
    sound.left.iter().zip(&sound.right).flat_map(|(left, right)| [whole(*left), whole(*right)])
}

fn wav(sound: &Stereo, rate: u32) -> Result<Vec<u8>, hound::Error> {
    let spec = hound::WavSpec { channels: 2, sample_rate: rate, bits_per_sample: 24, sample_format: hound::SampleFormat::Int };
    let mut bytes = std::io::Cursor::new(Vec::with_capacity(sound.left.len() * 6 + 64));
    let mut writer = hound::WavWriter::new(&mut bytes, spec)?;
    for sample in interleaved(sound) {
        writer.write_sample(sample)?;
    }
    writer.finalize()?;
    Ok(bytes.into_inner())
}

fn flac(sound: &Stereo, rate: u32) -> Result<Vec<u8>, String> {
    let config = flacenc::config::Encoder::default().into_verified().map_err(|(_, error)| error.to_string())?;
    let samples: Vec<i32> = interleaved(sound).collect();
    let rate = usize::try_from(rate).map_err(|error| error.to_string())?;
    let source = flacenc::source::MemSource::from_samples(&samples, 2, 24, rate);
    let stream =
        flacenc::encode_with_fixed_block_size(&config, source, config.block_size).map_err(|error| format!("{error:?}"))?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).map_err(|error| format!("{error:?}"))?;
    Ok(sink.as_slice().to_vec())
}

fn ogg(sound: &Stereo, rate: u32) -> Result<Vec<u8>, String> {
    let rate = NonZeroU32::new(rate).ok_or("a rate of zero")?;
    let channels = NonZeroU8::new(2).ok_or("no channels")?;
    let mut builder = VorbisEncoderBuilder::new_with_serial(rate, channels, Vec::new(), SERIAL);
    builder.bitrate_management_strategy(VorbisBitrateManagementStrategy::QualityVbr { target_quality: QUALITY });
    let mut encoder = builder.build().map_err(|error| error.to_string())?;
    for (left, right) in sound.left.chunks(4096).zip(sound.right.chunks(4096)) {
        encoder.encode_audio_block([left, right]).map_err(|error| error.to_string())?;
    }
    encoder.finish().map_err(|error| error.to_string())
}
