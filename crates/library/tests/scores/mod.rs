//! Small scores written for the tests.

use std::path::{Path, PathBuf};

/// A folder for one test, emptied first.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Sixteen bars for two horns in unison and a trombone that rests in every other bar; `seed` makes the notes others.
pub fn score(title: &str, seed: usize) -> String {
    let steps = ["C", "D", "E", "F", "G", "A", "B"];
    let part = |id: usize, octave: usize, rests: bool| {
        let bars: String = (0..16)
            .map(|bar| {
                let attributes = if bar == 0 { "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>" } else { "" };
                let notes: String = if rests && bar % 2 == 1 {
                    "<note><rest measure=\"yes\"/><duration>4</duration></note>".to_owned()
                } else {
                    (0..4)
                        .map(|note| {
                            let step = steps[(seed + bar * 3 + note * (1 + seed % 3)) % 7];
                            format!("<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration><type>quarter</type></note>")
                        })
                        .collect()
                };
                format!("<measure number=\"{}\">{attributes}{notes}</measure>", bar + 1)
            })
            .collect();
        format!("<part id=\"P{id}\">{bars}</part>")
    };
    let names = ["Horn 1 in C", "Horn 2 in C", "Trombone"];
    let list: String = (1..)
        .zip(names)
        .map(|(id, name)| format!("<score-part id=\"P{id}\"><part-name>{name}</part-name></score-part>"))
        .collect();
    format!(
        "<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><work><work-title>{title}</work-title></work>\
         <identification><creator type=\"composer\">Ada Bōtsman</creator></identification><part-list>{list}</part-list>{}{}{}</score-partwise>",
        part(1, 4, false),
        part(2, 4, false),
        part(3, 3, true)
    )
}

/// Writes so many scores into a folder: "score00.musicxml", titled "Cue 0" ...
pub fn write(folder: &Path, count: usize) -> Vec<PathBuf> {
    (0..count)
        .map(|seed| {
            let path = folder.join(format!("score{seed:02}.musicxml"));
            std::fs::write(&path, score(&format!("Cue {seed}"), seed)).unwrap();
            path
        })
        .collect()
}
