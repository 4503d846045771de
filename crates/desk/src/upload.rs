//! Files dropped on the page, kept in a folder beside the library.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use crate::failure::{Failure, Outcome};

/// Endings of files that can be scores.
const ENDINGS: &[&str] = &["musicxml", "xml", "mxl", "mid", "midi", "krn", "kern", "toml"];

/// Most bytes of a name before its ending: file systems take 255 with the number, the ending and what the library adds to them.
const MOST_STEM: usize = 180;

/// The last part of a name a browser gives, without anything that leads elsewhere.
pub(crate) fn plain_name(given: &str) -> Outcome<String> {
    let last = given.rsplit(['/', '\\']).next().unwrap_or_default().trim().trim_start_matches('.');
    let kept = |letter: char| if letter.is_control() || "<>:\"|?*".contains(letter) { '_' } else { letter };
    let name: String = last.chars().map(kept).collect();
    match name.rsplit_once('.') {
        Some((stem, ending)) if !stem.trim().is_empty() && ENDINGS.contains(&ending.to_lowercase().as_str()) => {
            Ok(format!("{}.{ending}", &stem[..stem.floor_char_boundary(MOST_STEM)]))
        }
        _ => Err(Failure::refused(format!(
            "“{name}” is no score the desk can read. Scores are MusicXML (.musicxml, .xml, .mxl), Standard MIDI (.mid), kern (.krn) or charts (.toml)"
        ))),
    }
}

/// One at a time keeps a file: two of one name that come together would take the same place.
static KEEPING: Mutex<()> = Mutex::new(());

/// Keeps the bytes in the folder and answers where; the same bytes of the same name are kept once, others get a number.
pub(crate) fn keep(folder: &Path, name: &str, bytes: &[u8]) -> Outcome<PathBuf> {
    let failed = |error: std::io::Error| Failure::machine(format!("{}: the score cannot be kept ({error})", folder.display()));
    fs::create_dir_all(folder).map_err(failed)?;
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
    let _one_at_a_time = KEEPING.lock().unwrap_or_else(PoisonError::into_inner);
    for number in 1..1000 {
        let name = if number == 1 { name.to_owned() } else { format!("{stem} ({number}).{ending}") };
        let path = folder.join(name);
        // Only a file of the same length is read, so that many of one name cost little.
        let there = fs::metadata(&path).and_then(|about| Ok(about.len() == bytes.len() as u64 && fs::read(&path)? == bytes));
        match there {
            Ok(true) => return Ok(path),
            Ok(false) => {}
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                // Written under another name first, so that a file under its own is always whole.
                let part = path.with_extension(format!("{ending}.{}.part", std::process::id()));
                let mut file = fs::File::create(&part).map_err(failed)?;
                file.write_all(bytes).and_then(|()| file.sync_all()).map_err(failed)?;
                fs::rename(&part, &path).map_err(failed)?;
                return Ok(path);
            }
            Err(error) => return Err(failed(error)),
        }
    }
    Err(Failure::machine(format!("{}: a thousand other scores have this name already", folder.display())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_never_lead_out_of_the_folder() {
        for (given, kept) in [
            ("../../etc/cron.d/x.mid", "x.mid"),
            ("C:\\scores\\First.MXL", "First.MXL"),
            ("...hidden.krn", "hidden.krn"),
            ("a\u{0}b.xml", "a_b.xml"),
        ] {
            assert_eq!(plain_name(given).ok().as_deref(), Some(kept));
        }
        let long = format!("{}.musicxml", "ä".repeat(300));
        assert_eq!(plain_name(&long).ok(), Some(format!("{}.musicxml", "ä".repeat(MOST_STEM / 2))));
        for given in ["", "/", "..", "passwd", ".mid", "score.exe", "x.mid/"] {
            assert!(plain_name(given).is_err(), "{given:?}");
        }
    }

    #[test]
    fn the_same_bytes_are_kept_once() {
        let folder = std::env::temp_dir().join(format!("ripieno-desk-upload-{}", std::process::id()));
        let keep = |bytes: &[u8]| keep(&folder, "a.mid", bytes).ok().and_then(|path| path.file_name().map(|n| n.to_owned()));
        assert_eq!(keep(b"one"), Some("a.mid".into()));
        assert_eq!(keep(b"one"), Some("a.mid".into()));
        assert_eq!(keep(b"two"), Some("a (2).mid".into()));
        let _ = fs::remove_dir_all(&folder);
    }
}
