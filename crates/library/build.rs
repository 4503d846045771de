//! Names the analysis by what it is made of, so that scores kept by another are taken in anew and nobody has to remember to say so.

use std::io;
use std::path::Path;

use sha2::{Digest, Sha256};

/// Crates whose sources and data decide what is kept of a score.
const CRATES: [&str; 10] =
    ["acoustics", "chart", "formats", "instruments", "loudness", "practice", "questions", "score", "study", "texture"];

fn main() -> io::Result<()> {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut hash = Sha256::new();
    for name in CRATES {
        for folder in ["src", "data"] {
            let folder = crates.join(name).join(folder);
            if folder.is_dir() {
                println!("cargo::rerun-if-changed={}", folder.display());
                take(&folder, &mut hash)?;
            }
        }
    }
    let name: String = hash.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    println!("cargo::rustc-env=RIPIENO_ANALYSIS={name}");
    Ok(())
}

/// Every file by name and content. Line ends are taken out: a checkout may change them.
fn take(folder: &Path, hash: &mut Sha256) -> io::Result<()> {
    let mut entries: Vec<_> =
        std::fs::read_dir(folder)?.map(|entry| entry.map(|entry| entry.path())).collect::<io::Result<_>>()?;
    entries.sort();
    for path in entries {
        if path.is_dir() {
            take(&path, hash)?;
        } else {
            let bytes: Vec<u8> = std::fs::read(&path)?.into_iter().filter(|byte| !b"\r\n".contains(byte)).collect();
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            hash.update(format!("{name}:{}:", bytes.len()));
            hash.update(bytes);
        }
    }
    Ok(())
}
