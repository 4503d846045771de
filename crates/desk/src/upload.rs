//! Files dropped on the page, kept in a folder beside the library.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::failure::{Failure, Outcome};

/// Endings of files that can be scores.
const ENDINGS: &[&str] = &["musicxml", "xml", "mxl", "mid", "midi", "krn", "kern"];

/// The last part of a name a browser gives, without anything that leads elsewhere.
pub(crate) fn plain_name(given: &str) -> Outcome<String> {
    let last = given.rsplit(['/', '\\']).next().unwrap_or_default().trim().trim_start_matches('.');
    let kept = |letter: char| if letter.is_control() || "<>:\"|?*".contains(letter) { '_' } else { letter };
    let name: String = last.chars().take(120).map(kept).collect();
    let ending = name.rsplit_once('.').map(|(stem, ending)| (stem.trim(), ending.to_lowercase()));
    match ending {
        Some((stem, ending)) if !stem.is_empty() && ENDINGS.contains(&ending.as_str()) => Ok(name),
        _ => Err(Failure::refused(format!(
            "“{name}” is no score the desk can read. Scores are MusicXML (.musicxml, .xml, .mxl), Standard MIDI (.mid) or kern (.krn)"
        ))),
    }
}

/// Keeps the bytes in the folder and answers where; the same bytes of the same name are kept once, others get a number.
pub(crate) fn keep(folder: &Path, name: &str, bytes: &[u8]) -> Outcome<PathBuf> {
    let failed = |error: std::io::Error| Failure::machine(format!("{}: the score cannot be kept ({error})", folder.display()));
    fs::create_dir_all(folder).map_err(failed)?;
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
    for number in 1..1000 {
        let name = if number == 1 { name.to_owned() } else { format!("{stem} ({number}).{ending}") };
        let path = folder.join(name);
        match fs::read(&path) {
            Ok(there) if there == bytes => return Ok(path),
            Ok(_) => {}
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                // Written under another name first, so that a file under its own is always whole.
                let part = path.with_extension(format!("{ending}.part"));
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
