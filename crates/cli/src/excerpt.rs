//! `ripieno excerpt`

use std::path::{Path, PathBuf};

use ripieno_formats::excerpt::{Cut, Excerpt, Parts, PitchShown, bars_named, cut, parts_named};
use ripieno_formats::{midi, musicxml};
use ripieno_score::{BarIndex, Score, Unroll};

use crate::open::open;
use crate::save::{save, spare};

/// Arguments of `ripieno excerpt`.
#[derive(clap::Args)]
pub struct ExcerptArguments {
    /// The score to read
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Bars by their printed numbers: 40 or 40-56; with # counted from the first bar: #1-#8
    #[arg(long, value_name = "BARS")]
    bars: String,
    /// Parts by name, beginning of a name or place on the page, with commas: "Horn, Violin I, 3"
    #[arg(long, value_name = "PARTS", conflicts_with_all = ["sounding", "condensed"])]
    parts: Option<String>,
    /// Only parts that play in these bars
    #[arg(long)]
    sounding: bool,
    /// At concert pitch
    #[arg(long)]
    concert: bool,
    /// One staff for each layer of the texture, at concert pitch
    #[arg(long)]
    condensed: bool,
    /// Tint notes by their role, with its word where it begins (pictures only)
    #[arg(long)]
    by_role: bool,
    /// The file to write: .svg, .png, .pdf, .musicxml, .mxl or .mid, by its ending
    #[arg(long, value_name = "NEW_FILE")]
    out: PathBuf,
    /// Width of the picture in pixels
    #[arg(long, value_name = "PIXELS", default_value_t = 1440, value_parser = clap::value_parser!(u32).range(200..=20_000))]
    #[cfg_attr(not(feature = "engraving"), allow(dead_code))] // only pictures have one
    width: u32,
    /// Height of a staff in pixels
    #[arg(long, value_name = "PIXELS", default_value_t = 20, value_parser = clap::value_parser!(u8).range(8..=72))]
    #[cfg_attr(not(feature = "engraving"), allow(dead_code))] // only pictures have one
    staff: u8,
}

/// Forms of output.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Svg,
    Png,
    Pdf,
    MusicXml,
    Compressed,
    Midi,
}

impl Form {
    fn of(path: &Path) -> Option<Self> {
        Some(match path.extension()?.to_string_lossy().to_lowercase().as_str() {
            "svg" => Self::Svg,
            "png" => Self::Png,
            "pdf" => Self::Pdf,
            "musicxml" | "xml" => Self::MusicXml,
            "mxl" => Self::Compressed,
            "mid" | "midi" => Self::Midi,
            _ => return None,
        })
    }

    const fn is_picture(self) -> bool {
        matches!(self, Self::Svg | Self::Png | Self::Pdf)
    }
}

/// Cuts the bars out and writes them.
pub fn run(arguments: &ExcerptArguments) -> Result<(), String> {
    let out = arguments.out.display();
    let form = Form::of(&arguments.out).ok_or_else(|| {
        format!(
            "{out}: excerpts are written as .svg, .png, .pdf, .musicxml, .mxl or .mid; give the new file one of these endings"
        )
    })?;
    if arguments.by_role && !form.is_picture() {
        return Err(format!("{out}: --by-role tints pictures; write .svg, .png or .pdf, or leave it out"));
    }
    spare(&arguments.out, &[&arguments.file])?;
    let bytes = if arguments.by_role || arguments.condensed { by_texture(arguments, form)? } else { plain(arguments, form)? };
    save(&arguments.out, &bytes)
}

fn plain(arguments: &ExcerptArguments, form: Form) -> Result<Vec<u8>, String> {
    let Some(reading) = open(&arguments.file, false) else { return Err(String::new()) };
    let bars = bars(&reading.score, arguments)?;
    let excerpt = cut_out(&reading.score, bars, arguments)?;
    written(&excerpt, arguments, form)
}

fn bars(score: &Score, arguments: &ExcerptArguments) -> Result<(BarIndex, BarIndex), String> {
    bars_named(score, &arguments.bars).map_err(|error| named(arguments, &error))
}

fn named(arguments: &ExcerptArguments, error: &dyn std::fmt::Display) -> String {
    format!("{}: {error}", arguments.file.display())
}

fn cut_out(score: &Score, (first, last): (BarIndex, BarIndex), arguments: &ExcerptArguments) -> Result<Excerpt, String> {
    let parts = match &arguments.parts {
        Some(names) => Parts::These(parts_named(score, names).map_err(|error| named(arguments, &error))?),
        None if arguments.sounding => Parts::Sounding,
        None => Parts::All,
    };
    let pitch = if arguments.concert { PitchShown::Concert } else { PitchShown::Written };
    cut(score, &Cut { first, last, parts, pitch }).map_err(|error| named(arguments, &error))
}

fn written(excerpt: &Excerpt, arguments: &ExcerptArguments, form: Form) -> Result<Vec<u8>, String> {
    match form {
        Form::MusicXml => Ok(musicxml::write(&excerpt.score).into_bytes()),
        Form::Compressed => musicxml::write_compressed(&excerpt.score).map_err(|error| named(arguments, &error)),
        Form::Midi => Ok(midi::write(&excerpt.score, Unroll::AsPlayed)),
        Form::Svg | Form::Png | Form::Pdf => pictures::drawn(excerpt, None, arguments, form),
    }
}

#[cfg(feature = "engraving")]
use pictures::by_texture;

#[cfg(not(feature = "engraving"))]
fn by_texture(arguments: &ExcerptArguments, form: Form) -> Result<Vec<u8>, String> {
    let _ = form;
    Err(named(arguments, &pictures::NOT_BUILT_IN))
}

#[cfg(not(feature = "engraving"))]
mod pictures {
    use super::{Excerpt, ExcerptArguments, Form, named};

    pub(super) const NOT_BUILT_IN: &str = "this program was built without the engraver; write .musicxml or .mid, or build it with \
`cargo build --release --features engraving`";

    pub(super) fn drawn(_: &Excerpt, _: Option<()>, arguments: &ExcerptArguments, _: Form) -> Result<Vec<u8>, String> {
        Err(named(arguments, &NOT_BUILT_IN))
    }
}

#[cfg(feature = "engraving")]
mod pictures {
    use ripieno_engraving::{Layout, NoteRoles, engrave_score, engraver, layer_staves, note_spans, pdf, png, roles_of_excerpt};
    use ripieno_formats::excerpt::{Excerpt, condense};
    use ripieno_formats::{Limits, Severity};
    use ripieno_study::analyse_file;

    use super::{ExcerptArguments, Form, bars, cut_out, named, written};

    /// A page of paper, A4 upright, in pixels.
    const PAPER: Layout = Layout { width: 794, staff: 14.0, height: Some(1123) };

    /// What needs the score studied.
    pub(super) fn by_texture(arguments: &ExcerptArguments, form: Form) -> Result<Vec<u8>, String> {
        let study = analyse_file(&arguments.file, &Limits::default()).map_err(|error| error.to_string())?;
        study.findings.iter().filter(|finding| finding.severity >= Severity::Warning).for_each(|finding| eprintln!("{finding}"));
        let (score, sounding, reading) = (&study.score, &study.sounding, &study.roles.roles);
        let window = bars(score, arguments)?;
        let excerpt = if arguments.condensed {
            let (names, staves) = layer_staves(score, sounding, &study.lines, reading, window);
            condense(score, window, &names, &staves).map_err(|error| named(arguments, &error))?
        } else {
            cut_out(score, window, arguments)?
        };
        if !form.is_picture() {
            return written(&excerpt, arguments, form);
        }
        let spans = || note_spans(score, sounding, &study.lines, reading, window);
        let roles = arguments.by_role.then(|| roles_of_excerpt(&spans(), reading, &excerpt.origin));
        drawn(&excerpt, roles.as_ref(), arguments, form)
    }

    pub(super) fn drawn(
        excerpt: &Excerpt,
        roles: Option<&NoteRoles>,
        arguments: &ExcerptArguments,
        form: Form,
    ) -> Result<Vec<u8>, String> {
        let screen = Layout { width: arguments.width, staff: f64::from(arguments.staff), height: None };
        let layout = if form == Form::Pdf { PAPER } else { screen };
        let engraver = engraver().map_err(|error| named(arguments, &error))?;
        let pages = engrave_score(&*engraver, &excerpt.score, &layout, roles, &excerpt.held_over)
            .map_err(|error| named(arguments, &error))?;
        let [first, rest @ ..] = &pages[..] else { return Err(named(arguments, &"nothing was engraved")) };
        if form != Form::Pdf && !rest.is_empty() {
            return Err(named(arguments, &"this is more than one picture holds; choose fewer bars, or write .pdf"));
        }
        match form {
            Form::Pdf => pdf(&pages).map_err(|error| named(arguments, &error)),
            Form::Png => png(first, first.width_in_pixels()).map_err(|error| named(arguments, &error)),
            _ => Ok(first.svg.clone().into_bytes()),
        }
    }
}
