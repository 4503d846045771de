//! Writes MusicXML 4.0, partwise.
//!
//! What is written reads back to the same sounding view. Layout is left to whoever opens the file; what musicians need
//! to see is there: printed accidentals are worked out bar by bar, beams, tuplets, slurs and directions are kept. Signs
//! the score holds only as text come out as words or `other-...` elements. The result depends on the score alone: no
//! date, no machine name.

mod accidentals;
mod attributes;
mod bar;
mod barlines;
mod directions;
mod hairpins;
mod header;
mod notes;
mod printing;
mod tuplets;
mod xml;

use std::io::{Cursor, Write};

use ripieno_score::Score;

pub use printing::{LineBreak, MultipleRest, Printing};

use xml::Xml;

const PROLOG: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n";

/// The score as a MusicXML 4.0 document. Expects the order [`Score::finish`] leaves.
#[must_use]
pub fn write(score: &Score) -> String {
    document(score, &header::Ids::new(score), &Printing::default())
}

/// The same as it is laid out for a reader: long rests gathered, lines and pages broken. What sounds is the same.
#[must_use]
pub fn write_printed(score: &Score, printing: &Printing) -> String {
    document(score, &header::Ids::new(score), printing)
}

/// The same with an id on every note, [`note_id`], so that a program that draws the document can be asked about single notes.
#[must_use]
pub fn write_with_ids(score: &Score) -> String {
    document(score, &header::Ids::new(score).with_notes(), &Printing::default())
}

/// The id of a note in what [`write_with_ids`] writes: "n2-17" for note 17 of part 2, both counted from 0.
#[must_use]
pub fn note_id(part: usize, note: usize) -> String {
    format!("n{part}-{note}")
}

fn document(score: &Score, ids: &header::Ids, printing: &Printing) -> String {
    let mut xml = Xml::new(PROLOG);
    xml.element("score-partwise", &[("version", "4.0")], |xml| {
        header::write(xml, score, ids);
        for (index, part) in score.parts.iter().enumerate() {
            xml.element("part", &[("id", ids.part(index))], |xml| {
                bar::Writer::new(score, part, index, ids, printing).write(xml);
            });
        }
    });
    xml.finish()
}

/// The score as a compressed `.mxl` archive.
///
/// # Errors
/// When the archive cannot be built (more than 4 GiB of XML).
pub fn write_compressed(score: &Score) -> std::io::Result<Vec<u8>> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    // A fixed date: the same score gives the same bytes.
    let options = zip::write::SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
    archive.start_file("META-INF/container.xml", options)?;
    archive.write_all(
        b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container>\n <rootfiles>\n  <rootfile full-path=\"score.musicxml\" \
media-type=\"application/vnd.recordare.musicxml+xml\"/>\n </rootfiles>\n</container>\n",
    )?;
    archive.start_file("score.musicxml", options)?;
    archive.write_all(write(score).as_bytes())?;
    Ok(archive.finish()?.into_inner())
}
