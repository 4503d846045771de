//! `ripieno hear`

use std::collections::BTreeSet;
use std::fmt;
use std::fs;
use std::io::{IsTerminal, Write};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use ripieno_score::{Score, Sounding, Unroll};
use ripieno_sound::groups::{Gather, Group, gather, parts_named};
use ripieno_sound::loudness::{HIGHEST_PEAK, Measured, TARGET, gain_for, measure};
use ripieno_sound::{
    Chunk, Font, FontRenderer, Format, Listener, Options, Passage, Renderer, Room, SLOWEST, Selection, Stereo, encode, mix,
    render,
};

use crate::open::open;
use crate::save::save;

/// Said with every rendering.
const CAUTION: &str = "Start at a low volume: within a file loud passages are as much louder than soft ones as in a hall, a file \
                       is set to a loudness of its own unless --loudness same is given, and long loud listening harms the ears.";

/// Below this peak a stem is silent.
const SILENT: f32 = 1e-5;

/// Arguments of `ripieno hear`.
#[derive(clap::Args)]
pub struct HearArguments {
    /// The score to read
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Bars as printed, such as 40-56 or 40; the whole piece otherwise
    #[arg(long, value_name = "FIRST-LAST")]
    bars: Option<String>,
    /// Only these players: a section, family or instrument, or a part by its name in quotation marks; may be given again
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    only: Vec<String>,
    /// All but these players
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    without: Vec<String>,
    /// The file to write; its ending tells the format: .wav, .flac or .ogg
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Also write each group by itself into this folder, in the same format; together they are the whole
    #[arg(long, value_name = "FOLDER")]
    stems: Option<PathBuf>,
    /// What a group is
    #[arg(long, value_enum, default_value_t = By::Section)]
    by: By,
    /// Play at this share of the written tempo, such as 0.8; from 0.1 to 1, the written tempo; the pitch stays
    #[arg(long, value_name = "SHARE", default_value_t = 1.0, value_parser = slower)]
    slower: f64,
    /// Play from this SoundFont 2 file instead of the built-in models
    #[arg(long, value_name = "FILE")]
    soundfont: Option<PathBuf>,
    /// Where it is played
    #[arg(long, value_enum, default_value_t = Where::Hall)]
    room: Where,
    /// From where it is heard: microphones (behind the conductor), conductor, or a seat so many metres behind the conductor, such as 15, from which
    /// balance is weighed
    #[arg(long, value_name = "PLACE", default_value = "microphones", value_parser = listener)]
    from: Listener,
    /// Loudness of the file in LUFS, by EBU R 128; less where the true peak would go beyond -1 dBTP. Or "same": at the level that all files of this
    /// score share, so that excerpts and stems compare as they would in the hall
    #[arg(long, value_name = "LUFS", default_value_t = Loudness::Lufs(TARGET), allow_negative_numbers = true)]
    loudness: Loudness,
    /// Number from which the players' small differences are drawn; the same number gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Refuse a file about which the reader has to warn, instead of mending it
    #[arg(long)]
    strict: bool,
}

/// What a file is set to.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Loudness {
    /// So many LUFS.
    Lufs(f64),
    /// The level that all files of one score share.
    Same,
}

impl FromStr for Loudness {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "same" {
            return Ok(Self::Same);
        }
        let lufs = text.parse().ok().filter(|lufs| (-70.0..=-5.0).contains(lufs));
        lufs.map(Self::Lufs)
            .ok_or_else(|| format!("“{text}” is no loudness for a file; choose -70 to -5 LUFS, usually -23, or same"))
    }
}

impl fmt::Display for Loudness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lufs(lufs) => write!(f, "{lufs}"),
            Self::Same => f.write_str("same"),
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum By {
    /// Horns, trumpets, violas ...
    Section,
    /// Woodwind, brass, strings ...
    Family,
    /// Every part of the score
    Part,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Where {
    /// The concert hall in which balance is weighed, 2 seconds of reverberation
    Hall,
    /// A small hall, 1.4 seconds
    SmallHall,
    /// A recording stage, 1.1 seconds
    Stage,
    /// A rehearsal room, 1 second
    Rehearsal,
    /// No room at all
    None,
}

impl Where {
    /// The room of the acoustic model.
    fn room(self) -> Room {
        let id = match self {
            Self::Hall => "hall",
            Self::SmallHall => "small-hall",
            Self::Stage => "studio",
            Self::Rehearsal => "rehearsal",
            Self::None => "open",
        };
        Room::named(id).unwrap_or(Room::NONE)
    }
}

fn slower(text: &str) -> Result<f64, String> {
    let wrong = || format!("“{text}” is no share of the written tempo; give one from {SLOWEST} to 1: 0.5 plays at half of it");
    let share: f64 = text.parse().map_err(|_| wrong())?;
    if (SLOWEST..=1.0).contains(&share) { Ok(share) } else { Err(wrong()) }
}

fn listener(text: &str) -> Result<Listener, String> {
    match text {
        "microphones" => Ok(Listener::Microphones),
        "conductor" => Ok(Listener::Conductor),
        metres => {
            let wrong =
                |_| format!("“{text}” is no place to hear from; choose microphones, conductor, or metres behind the conductor");
            let seat = Listener::Seat(metres.parse().map_err(wrong)?);
            seat.check().map(|()| seat)
        }
    }
}

/// Renders, sets the loudness, writes.
pub fn run(arguments: &HearArguments) -> Result<(), String> {
    let format = Format::of(&arguments.out).ok_or_else(|| {
        format!("{}: sound is written as .wav, .flac or .ogg; give the file one of these endings", arguments.out.display())
    })?;
    let font = arguments.soundfont.as_deref().map(read_font).transpose()?;
    let Some(reading) = open(&arguments.file, arguments.strict) else { return Err(String::new()) };
    let score = &reading.score;
    let said = |what: String| format!("{}: {what}", arguments.file.display());
    let sounding = Sounding::new(score, Unroll::AsPlayed);
    if sounding.tempo.assumed {
        eprintln!("{}: the score gives no tempo; it is played at 120 crotchets a minute", arguments.file.display());
    }
    let passage = Passage::new(score, &sounding, &ripieno_texture::techniques(score, &sounding));
    let (from, to) = match &arguments.bars {
        None => (0.0, passage.seconds()),
        Some(bars) => {
            let (first, last) = bars.split_once(['-', '–']).unwrap_or((bars, bars));
            passage.between(first.trim(), last.trim()).map_err(said)?
        }
    };
    let selection = Selection { from, to, groups: chosen(score, arguments).map_err(said)? };
    let options = Options {
        room: arguments.room.room(),
        listener: arguments.from,
        pace: arguments.slower,
        seed: arguments.seed,
        ..Options::default()
    };
    eprintln!("{CAUTION}");
    let files = Files { out: &arguments.out, stems: arguments.stems.as_deref(), format, loudness: arguments.loudness };
    match &font {
        Some(font) => {
            let renderer = FontRenderer::new(&passage, font, &selection, &options).map_err(said)?;
            let frames = renderer.frames();
            finish(&files, renderer, frames, &selection, &options).map_err(said)?;
        }
        None => {
            let renderer = Renderer::new(&passage, &selection, &options).map_err(said)?;
            let frames = renderer.frames();
            finish(&files, renderer, frames, &selection, &options).map_err(said)?;
        }
    }
    Ok(())
}

/// What is written.
struct Files<'a> {
    out: &'a Path,
    stems: Option<&'a Path>,
    format: Format,
    loudness: Loudness,
}

/// Plays a whole score in the hall, `sounding` with its repeats, into `mock-up.flac` of the folder and each section by itself into its `stems`. Returns
/// the files written.
pub(crate) fn mock_up(score: &Score, sounding: &Sounding, folder: &Path) -> Result<Vec<PathBuf>, String> {
    let passage = Passage::new(score, sounding, &ripieno_texture::techniques(score, sounding));
    let groups = gather(score, &(0..score.parts.len()).collect(), Gather::Sections);
    let selection = Selection { from: 0.0, to: passage.seconds(), groups };
    let options = Options::default();
    eprintln!("{CAUTION}");
    let (out, stems) = (folder.join("mock-up.flac"), folder.join("stems"));
    let files = Files { out: &out, stems: Some(&stems), format: Format::Flac, loudness: Loudness::Lufs(TARGET) };
    let renderer = Renderer::new(&passage, &selection, &options)?;
    let frames = renderer.frames();
    finish(&files, renderer, frames, &selection, &options)
}

fn read_font(path: &Path) -> Result<Font, String> {
    let file = fs::File::open(path).map_err(|error| format!("{}: cannot be read ({error})", path.display()))?;
    Font::read(std::io::BufReader::new(file)).map_err(|error| format!("{}: {error}", path.display()))
}

fn chosen(score: &Score, arguments: &HearArguments) -> Result<Vec<Group>, String> {
    let named = |names: &[String]| {
        names.iter().try_fold(BTreeSet::new(), |mut all, name| {
            all.extend(parts_named(score, name)?);
            Ok::<_, String>(all)
        })
    };
    let mut parts = if arguments.only.is_empty() { (0..score.parts.len()).collect() } else { named(&arguments.only)? };
    for part in named(&arguments.without)? {
        parts.remove(&part);
    }
    let by = match arguments.by {
        By::Section => Gather::Sections,
        By::Family => Gather::Families,
        By::Part => Gather::Parts,
    };
    Ok(gather(score, &parts, by))
}

fn finish(
    files: &Files<'_>,
    chunks: impl Iterator<Item = Chunk>,
    frames: u64,
    selection: &Selection,
    options: &Options,
) -> Result<Vec<PathBuf>, String> {
    let shows = std::io::stderr().is_terminal();
    let mut shown = 101;
    let progress = |share: f64| {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a share
        let percent = (share * 100.0) as u32;
        if shows && percent != shown {
            shown = percent;
            eprint!("\r{percent:3} % ");
            // Progress that cannot be shown is no reason to stop.
            let _ = std::io::stderr().flush();
        }
        ControlFlow::Continue(())
    };
    let (mut whole, stems) = if files.stems.is_some() {
        let stems = render(chunks, frames, selection, options, progress)?;
        (stems.mix(), Some(stems))
    } else {
        (mix(chunks, frames, progress)?, None)
    };
    if shows {
        eprint!("\r      \r");
    }
    let set = match files.loudness {
        Loudness::Lufs(lufs) => gain_for(&whole, options.rate, lufs)?,
        Loudness::Same => as_planned(&whole, options.rate)?,
    };
    let Some((gain, measured)) = set else {
        return Err("none of the players chosen has a note in these bars".to_owned());
    };
    whole.scale(gain);
    save(files.out, &encode(&whole, options.rate, files.format)?)?;
    let mut written = vec![files.out.to_owned()];
    if let (Some(folder), Some(mut stems)) = (files.stems, stems) {
        fs::create_dir_all(folder).map_err(|error| format!("{}: cannot be made ({error})", folder.display()))?;
        stems.scale(gain);
        let silent = stems.names.iter().zip(&stems.stems).filter(|(_, stem)| stem.peak() < SILENT);
        let silent: Vec<&str> = silent.map(|(name, _)| name.as_str()).collect();
        if !silent.is_empty() {
            eprintln!("silent in these bars, and written all the same: {}", silent.join(", "));
        }
        for (name, stem) in stems.names.iter().zip(&stems.stems) {
            let name: String = name.chars().map(|letter| if letter.is_alphanumeric() { letter } else { '-' }).collect();
            let file = folder.join(format!("{name}.{}", files.format.ending()));
            save(&file, &encode(stem, options.rate, files.format)?)?;
            written.push(file);
        }
    }
    #[allow(clippy::cast_precision_loss)] // samples of a rendering
    let seconds = whole.left.len() as f64 / f64::from(options.rate);
    println!("{}: {seconds:.1} s, {:.1} LUFS, true peak {:.1} dBTP", files.out.display(), measured.loudness, measured.peak);
    Ok(written)
}

/// The sound at the level planned for its score; less where its true peak would go beyond what a file may have, which is said, since it then compares
/// with no other.
fn as_planned(whole: &Stereo, rate: u32) -> Result<Option<(f32, Measured)>, String> {
    let measured = measure(whole, rate)?;
    if !measured.peak.is_finite() {
        return Ok(None);
    }
    let over = measured.peak - HIGHEST_PEAK;
    if over <= 0.0 {
        return Ok(Some((1.0, measured)));
    }
    eprintln!("{over:.1} dB softer than the other files of this score, since its true peak would go beyond {HIGHEST_PEAK} dBTP");
    gain_for(whole, rate, measured.loudness - over - 0.01)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_played_so_slowly_is_refused_at_once() {
        assert_eq!((slower("0.1"), slower("1")), (Ok(SLOWEST), Ok(1.0)));
        for share in ["0.05", "0", "-1", "1.5", "nan", "half"] {
            assert!(slower(share).is_err_and(|said| said.contains("from 0.1 to 1")), "{share}");
        }
    }
}
