//! Reads MusicXML 1.0 to 4.0, partwise and timewise, plain or in its zip container.
//!
//! One pass over the text, element by element (`cursor`), fills one `PartReader` per part (`part_reader`, with an `impl` block
//! for each kind of element beside it); then `assemble` weighs what the parts say about each bar and builds the score. Positions are
//! counted in divisions inside a bar and become exact crotchets once.
//!
//! What the score model cannot hold is passed over: page layout, fonts, playback details. docs/reading.md lists it.
//! Nothing outside the given bytes is ever read: no DTD, no entity, no archive path.

mod align;
mod archive;
mod assemble;
mod attributes;
mod bar_length;
mod barline;
mod beat_repeat;
mod chord_symbols;
mod clock;
mod context;
mod cursor;
mod directions;
mod dynamics;
mod entities;
mod harmonics;
mod header;
mod horn;
mod jumps;
mod metres;
mod metronome;
mod notations;
mod note;
mod number;
mod part_list;
mod part_reader;
mod score_reader;
mod simile;
mod sound;
mod source;
mod tag;
mod text;
mod write;

pub(crate) use jumps::in_words as jump_in_words;
pub use write::{LineBreak, MultipleRest, Printing, note_id, write, write_compressed, write_printed, write_with_ids};

use crate::{Format, Limits, ReadError, Reading, Severity};

use context::At;

/// Whether the bytes begin like an XML document, which is as much as can be said cheaply; [`read`] says if it is not MusicXML.
#[must_use]
pub fn looks_like(bytes: &[u8]) -> bool {
    source::begins_like_xml(bytes)
}

/// Reads a score from the text of a MusicXML file. `file` is the name used in findings.
///
/// # Errors
/// When the text is not MusicXML, holds no music, or goes beyond `limits`.
pub fn read(file: &str, bytes: &[u8], limits: &Limits) -> Result<Reading, ReadError> {
    read_text(file, bytes, limits, Format::MusicXml, |_| {})
}

/// Reads a score from a `.mxl` archive: the first root file of its container, else its first member that looks like a score.
///
/// # Errors
/// When the archive is damaged, holds no score, or goes beyond `limits`; otherwise as [`read`].
pub fn read_compressed(file: &str, bytes: &[u8], limits: &Limits) -> Result<Reading, ReadError> {
    let member = archive::open(file, bytes, limits)?;
    read_text(file, &member.bytes, limits, Format::CompressedMusicXml, |context| {
        if member.guessed {
            let what = format!("the archive does not say which of its members is the score, and {} was read", member.name);
            context.warn(At::FILE, "no-container", what, "");
        }
        if !member.others.is_empty() {
            let what = format!("other scores in the archive were not read: {}", shown(&member.others));
            context.note(
                At::FILE,
                "more-scores",
                what,
                "They are often the single parts of this score; if not, unpack them and give them one by one",
            );
        }
    })
}

/// A list of names, not too long.
fn shown(names: &[String]) -> String {
    const SHOWN: usize = 5;
    let more = if names.len() > SHOWN { ", ..." } else { "" };
    names.iter().take(SHOWN).map(String::as_str).collect::<Vec<_>>().join(", ") + more
}

fn read_text(
    file: &str,
    bytes: &[u8],
    limits: &Limits,
    format: Format,
    first: impl FnOnce(&mut context::Context<'_, '_>),
) -> Result<Reading, ReadError> {
    let source = source::decode(bytes);
    let cursor = cursor::Cursor::new(&source.text, limits.depth);
    let mut context = context::Context::new(file, cursor, limits);
    first(&mut context);
    if let Some(mended) = source.mended {
        context.say(
            Severity::Warning,
            At::FILE,
            "bad-encoding",
            mended,
            "Names and texts may be wrong; export the score as UTF-8",
        );
    }
    let score = score_reader::read(file, &mut context)?;
    Ok(Reading { score, findings: context.into_findings(), format })
}
