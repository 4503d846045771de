//! What goes out as text: parts, full score, cover list and proof list, each with its path inside the delivery.

use ripieno_formats::excerpt::{Cut, CutError, PitchShown, cut};
use ripieno_formats::midi;
use ripieno_formats::musicxml::{write, write_printed};
use ripieno_score::{BarIndex, Score, Sounding, Unroll};

use crate::books::Book;
use crate::lists::{Letters, Unresolved, cover};

/// Most letters and bytes of a name: file systems take 255 bytes, with the number before it and the ending.
const MOST_LETTERS: usize = 80;
const MOST_BYTES: usize = 240;

/// A name that any file system takes: cut where it is too long, "unnamed" where nothing is left.
#[must_use]
pub fn file_name(name: &str) -> String {
    let kept: String = name.chars().map(|c| if c.is_alphanumeric() || " .-()♭♯".contains(c) { c } else { '-' }).collect();
    let kept: String = kept.trim_matches(['.', ' ']).chars().take(MOST_LETTERS).collect();
    let kept = kept[..kept.floor_char_boundary(MOST_BYTES)].trim_end_matches(['.', ' ']);
    if kept.is_empty() { "unnamed".to_owned() } else { kept.to_owned() }
}

/// Paths of the parts without an ending, in order: "parts/01 Flute 1".
#[must_use]
pub fn part_paths(books: &[Book]) -> Vec<String> {
    (1..).zip(books).map(|(number, book)| format!("parts/{number:02} {}", file_name(&book.name))).collect()
}

/// Path of the full score without an ending.
pub const SCORE_PATH: &str = "score/score";

/// Parts and full score as MusicXML and MIDI, and the cover list; `sounding` is the score with its repeats.
///
/// # Errors
/// When the score cannot be brought to concert pitch.
pub fn texts(score: &Score, sounding: &Sounding, books: &[Book]) -> Result<Vec<(String, Vec<u8>)>, CutError> {
    let mut files: Vec<(String, Vec<u8>)> = part_paths(books)
        .into_iter()
        .zip(books)
        .map(|(path, book)| (format!("{path}.musicxml"), write_printed(&book.score, &book.printing()).into_bytes()))
        .collect();
    files.push((format!("{SCORE_PATH}.musicxml"), write(score).into_bytes()));
    let last = BarIndex(u32::try_from(score.bars.len().saturating_sub(1)).unwrap_or(u32::MAX));
    let concert = cut(score, &Cut { pitch: PitchShown::Concert, ..Cut::bars(BarIndex(0), last) })?;
    files.push((format!("{SCORE_PATH} at concert pitch.musicxml"), write(&concert.score).into_bytes()));
    files.push((format!("{SCORE_PATH}.mid"), midi::write(score, Unroll::AsPlayed)));
    files.push(("cover list.txt".to_owned(), cover(score, sounding, books).into_bytes()));
    Ok(files)
}

/// The proof list as a table: part, letter, bars, weight, what, remedy (RFC 4180), in the order given.
#[must_use]
pub fn proof_list(score: &Score, open: &[Unresolved]) -> Vec<u8> {
    let mut table = Vec::new();
    let mut writer = csv::Writer::from_writer(&mut table);
    // Rows of one length, written to memory: nothing can fail.
    let _ = writer.write_record(["part", "letter", "bars", "weight", "what", "remedy"]);
    let letters = Letters::of(score);
    for one in open {
        let _ = writer.write_record([&*one.part, letters.for_point(one), &one.bars, one.weight.name(), &one.what, &one.remedy]);
    }
    let _ = writer.flush();
    drop(writer);
    table
}

#[cfg(test)]
mod tests {
    use super::file_name;

    #[test]
    fn names_are_never_empty_nor_longer_than_file_systems_take() {
        assert_eq!(file_name("Oboe 2 (English horn)"), "Oboe 2 (English horn)");
        assert_eq!(file_name("Cor. in F/E."), "Cor. in F-E");
        assert_eq!([file_name(""), file_name(" . "), file_name("..")], ["unnamed"; 3].map(str::to_owned));
        assert_eq!(file_name(&"a".repeat(300)), "a".repeat(80));
        // Letters of two, three and four bytes.
        for letter in ["\u{e9}", "\u{3042}", "\u{20000}"] {
            let cut = file_name(&letter.repeat(300));
            assert!((60..=80).contains(&cut.chars().count()) && "99 ".len() + cut.len() + ".musicxml".len() <= 255, "{letter}");
        }
    }
}
