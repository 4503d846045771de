//! Engraved pages of scores and excerpts.
//!
//! MusicXML goes in, SVG pages come out; PNG and PDF are made from those with fonts of our own, so that no text depends on what a machine
//! has installed. The engine that sets the notes is a C++ library behind the trait [`Engraver`]: nothing else here, or in any
//! other crate, knows it, and without the feature `engine` everything still compiles and [`engraver`] says what is missing.
//!
//! Every notehead keeps the id it has in the MusicXML (`ripieno_formats::musicxml::note_id`), which is how notes are tinted by role and
//! how a page can be asked about them. Pages depend on the input alone: same score, same bytes.
//!
//! What to engrave is cut beforehand (`ripieno_formats::excerpt`): setting twenty bars costs a fraction of setting a movement.

mod endings;
#[cfg(feature = "engine")]
mod engine;
mod excerpt;
mod export;
mod fonts;
mod keys;
mod long_rests;
mod numbers;
mod page;
mod plan;
mod roles;
mod staves;
mod systems;
mod texts;
mod tint;

use std::fmt;
use std::time::Duration;

use quick_xml::Reader;
use quick_xml::events::Event;

pub use excerpt::{NoteRoles, engrave_score};
pub use export::{ExportError, pdf, png};
pub use keys::{KeyChange, changes as key_changes};
pub use page::{Notehead, Page};
pub use plan::{BarOnPage, HeadOnPage, Plan};
pub use ripieno_pictures::palette::{contrast_with_white, ink};
pub use roles::{NoteSpans, layer_staves, note_spans, roles_of_excerpt};
pub use systems::{STAFF, System};
pub use texts::{STYLE, Words};

/// Whether this program was built with the engine.
pub const IS_BUILT_IN: bool = cfg!(feature = "engine");

/// Largest MusicXML engraved at once, in bytes.
pub const MOST_BYTES: usize = 24 << 20;
/// Fewer notes than this are engraved at once.
pub const MOST_NOTES: usize = 40_000;
/// Deepest that elements of a MusicXML document may lie in each other; its schema needs fewer than twenty.
pub const DEEPEST: usize = 64;
/// Longest an engraving may take.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// How large the notes are and how much goes on a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// Width of a page in pixels (at 96 to the inch, so that 793 is A4).
    pub width: u32,
    /// Height of a five-line staff in pixels; engravers' sizes lie between 14 (a miniature score) and 28 (a part).
    pub staff: f64,
    /// Height at which a page is full, in pixels; `None` for one page as long as it takes. A system taller than that has a page of
    /// its own, made tall enough.
    pub height: Option<u32>,
}

impl Default for Layout {
    fn default() -> Self {
        Self { width: 1440, staff: 20.0, height: None }
    }
}

/// What becomes of staves on which a system has nothing but rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum EmptyStaves {
    /// They are printed.
    #[default]
    Shown,
    /// They are left out, but for the first system, which shows who there is.
    HiddenAfterFirst,
    /// They are left out.
    Hidden,
}

/// Why nothing was engraved.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum EngraveError {
    /// This program was built without the engine.
    NotBuiltIn,
    /// More than is engraved at once.
    TooLarge {
        /// Notes asked for.
        notes: usize,
        /// Bytes of MusicXML asked for.
        bytes: usize,
    },
    /// Not a MusicXML document.
    NotMusicXml,
    /// The engine could not read the document.
    NotTaken,
    /// The engine took too long.
    TooSlow,
    /// Engravings that took too long are still at work; nothing can stop them.
    Busy,
    /// The engine could not start, with the reason.
    NotStarted(String),
    /// The engine answered with something that is no page.
    NoPage(String),
}

impl fmt::Display for EngraveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotBuiltIn => f.write_str(
                "this program was built without the engraver; build it with the feature \"engine\", or write .musicxml and open that elsewhere",
            ),
            Self::TooLarge { notes, bytes } => write!(
                f,
                "{notes} notes in {bytes} bytes are more than is engraved at once ({MOST_NOTES} notes, {MOST_BYTES} bytes); \
choose fewer bars or parts"
            ),
            Self::NotMusicXml => f.write_str("what is to be engraved is not a partwise MusicXML document in UTF-8"),
            Self::NotTaken => f.write_str("the engraver cannot read this excerpt; choose fewer bars or parts to find the place"),
            Self::TooSlow => {
                write!(f, "engraving took longer than {} seconds and was given up; choose fewer bars or parts", PATIENCE.as_secs())
            }
            Self::Busy => f.write_str("earlier engravings that took too long are still at work; try again in some minutes"),
            Self::NotStarted(why) => write!(f, "the engraver cannot start: {why}"),
            Self::NoPage(why) => write!(f, "the engraver left no page to read ({why}); choose other bars or parts"),
        }
    }
}

impl std::error::Error for EngraveError {}

/// Sets MusicXML as pages. The one place an engine is known; another library can take its place here.
pub trait Engraver: Send + Sync {
    /// The pages of a partwise MusicXML document. Elements keep the ids the document gives them; the result depends on the arguments
    /// alone. `keys` are the changes of key after the beginning, where staves differ; none where all staves have the document's.
    ///
    /// # Errors
    /// When the document is too large, is no MusicXML, or the engine fails or takes longer than [`PATIENCE`].
    fn engrave_keyed(&self, musicxml: &[u8], layout: &Layout, keys: &[KeyChange]) -> Result<Vec<Page>, EngraveError>;

    /// The same where all staves change key together, or none does.
    ///
    /// # Errors
    /// As [`Self::engrave_keyed`].
    fn engrave(&self, musicxml: &[u8], layout: &Layout) -> Result<Vec<Page>, EngraveError> {
        self.engrave_keyed(musicxml, layout, &[])
    }

    /// As [`Self::engrave_keyed`], for pages of paper: every line is drawn out to the full width, the last one if it is nearly full. `apart` keeps
    /// to the lines of the document, whose staves stand so much farther from each other than usual, in heights of a staff; without it a line ends
    /// where the document begins one, or else when it is full.
    ///
    /// # Errors
    /// As [`Self::engrave_keyed`].
    fn engrave_lines(
        &self,
        musicxml: &[u8],
        layout: &Layout,
        keys: &[KeyChange],
        empty: EmptyStaves,
        apart: Option<f64>,
    ) -> Result<Vec<Page>, EngraveError>;
}

/// The engraver built in. Starting it takes some tenths of a second; keep it for the next page.
///
/// # Errors
/// When it is not built in, or its fonts cannot be laid out in the folder for temporary files.
pub fn engraver() -> Result<Box<dyn Engraver>, EngraveError> {
    #[cfg(feature = "engine")]
    {
        Ok(Box::new(engine::Engine::start()?))
    }
    #[cfg(not(feature = "engine"))]
    Err(EngraveError::NotBuiltIn)
}

/// Refuses what is too large or no MusicXML before any engine sees it.
#[cfg_attr(not(feature = "engine"), allow(dead_code))]
fn admitted(musicxml: &[u8]) -> Result<&str, EngraveError> {
    let bytes = musicxml.len();
    let text = std::str::from_utf8(musicxml).map_err(|_| EngraveError::NotMusicXml)?;
    if bytes > MOST_BYTES {
        return Err(EngraveError::TooLarge { notes: text.matches("<note").count(), bytes });
    }
    // The engine takes damaged documents as far as they go; half an excerpt must not pass for the whole.
    let (mut notes, mut measures, mut depth, mut is_score) = (0usize, 0usize, 0usize, false);
    let mut reader = Reader::from_str(text);
    loop {
        match reader.read_event().map_err(|_| EngraveError::NotMusicXml)? {
            Event::Start(tag) => {
                is_score |= depth == 0 && tag.name().as_ref() == "score-partwise";
                notes += usize::from(tag.name().as_ref() == "note");
                measures += usize::from(tag.name().as_ref() == "measure");
                depth += 1;
                // The engine descends into elements by recursion.
                if depth > DEEPEST {
                    return Err(EngraveError::NotMusicXml);
                }
            }
            Event::End(_) => depth = depth.saturating_sub(1),
            Event::Eof => break,
            _ => {}
        }
    }
    match notes {
        MOST_NOTES.. => Err(EngraveError::TooLarge { notes, bytes }),
        _ if is_score && measures > 0 && depth == 0 => Ok(text),
        _ => Err(EngraveError::NotMusicXml),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_music_is_refused() {
        for text in [
            "",
            "<score-partwise>",
            "<score-partwise><measure></score-partwise>",
            "<html></html>",
            "<score-partwise></score-partwise>",
        ] {
            assert_eq!(admitted(text.as_bytes()), Err(EngraveError::NotMusicXml), "{text}");
        }
        assert_eq!(admitted(b"\xff\xfe<"), Err(EngraveError::NotMusicXml));
        let deep = format!("<score-partwise><measure>{}{}</measure></score-partwise>", "<a>".repeat(100), "</a>".repeat(100));
        assert_eq!(admitted(deep.as_bytes()), Err(EngraveError::NotMusicXml));
        let many = format!("<score-partwise><measure>{}</measure></score-partwise>", "<note></note>".repeat(MOST_NOTES + 1));
        assert!(matches!(admitted(many.as_bytes()), Err(EngraveError::TooLarge { notes, .. }) if notes == MOST_NOTES + 1));
    }
}
