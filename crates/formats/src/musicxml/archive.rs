//! `.mxl`: MusicXML in a zip archive, with a list of its root files.
//!
//! Members are only ever inflated into memory, so their names cannot reach the file system. What one may unfold to is bounded in
//! bytes and in proportion to its packed size, whatever the archive itself claims.

use std::io::{Cursor as Bytes, Read as _};

use zip::ZipArchive;

use crate::{Limits, ReadError};

use super::cursor::Cursor;
use super::entities::plain;
use super::source;

/// The score inside an archive.
pub(super) struct Member {
    pub name: String,
    pub bytes: Vec<u8>,
    /// Other scores in the archive, which are not read.
    pub others: Vec<String>,
    /// The archive has no list of its root files, or one that leads nowhere.
    pub guessed: bool,
}

/// Text seldom packs better than 1 : 40, long runs of rests 1 : 100; a bomb is at 1 : 1000.
const MOST_EXPANSION: u64 = 400;
/// Small members may unfold to this whatever their ratio.
const ALWAYS_ALLOWED: u64 = 4 << 20;

/// Finds the score and inflates it.
pub(super) fn open(file: &str, bytes: &[u8], limits: &Limits) -> Result<Member, ReadError> {
    let failed = |code, what: String, hint: &str| ReadError::whole_file(file, code, what, hint);
    let again = "Export the score again, or unpack it and give the .musicxml inside";
    let mut archive = ZipArchive::new(Bytes::new(bytes))
        .map_err(|error| failed("bad-archive", format!("the archive is damaged ({error})"), again))?;
    if archive.len() > limits.archive_members {
        let what = format!("the archive has {} members, more than the {} allowed", archive.len(), limits.archive_members);
        return Err(failed("archive-limit", what, "Give the .musicxml inside"));
    }
    let container = archive.index_for_name("META-INF/container.xml").and_then(|index| inflate(&mut archive, index, limits).ok());
    let roots = container.map(|bytes| root_files(&bytes, limits)).unwrap_or_default();
    let listed = roots.iter().find_map(|name| archive.index_for_name(name));
    let scores = score_members(&mut archive);
    let Some(index) = listed.or_else(|| scores.first().map(|&(index, _)| index)) else {
        let hint = "Ripieno reads zip archives only when they hold a MusicXML score (.mxl)";
        return Err(failed("no-score-in-archive", "the archive holds no MusicXML score".to_owned(), hint));
    };
    let name = archive
        .name_for_index(index)
        .and_then(Result::ok)
        .map(|name| name.chars().take(200).collect::<String>())
        .unwrap_or_default();
    let bytes = inflate(&mut archive, index, limits).map_err(|problem| match problem {
        Problem::TooLarge => {
            let what = format!(
                "{name} unfolds to more than the {} bytes allowed, or more than {MOST_EXPANSION} times its packed size",
                limits.inflated_bytes
            );
            failed("archive-limit", what, "If the score is truly that large, split it into movements")
        }
        Problem::Damaged(error) => failed("bad-archive", format!("{name} in the archive is damaged ({error})"), again),
    })?;
    let others = scores.into_iter().filter(|&(other, _)| other != index).map(|(_, name)| name).collect();
    Ok(Member { name, bytes, others, guessed: listed.is_none() })
}

enum Problem {
    TooLarge,
    Damaged(String),
}

fn inflate(archive: &mut ZipArchive<Bytes<&[u8]>>, index: usize, limits: &Limits) -> Result<Vec<u8>, Problem> {
    let member = archive.by_index(index).map_err(|error| Problem::Damaged(error.to_string()))?;
    let ratio = member.compressed_size().saturating_mul(MOST_EXPANSION).max(ALWAYS_ALLOWED);
    let most = limits.inflated_bytes.min(ratio);
    if member.size() > most {
        return Err(Problem::TooLarge);
    }
    let mut bytes = Vec::with_capacity(usize::try_from(member.size()).unwrap_or(0));
    member.take(most.saturating_add(1)).read_to_end(&mut bytes).map_err(|error| Problem::Damaged(error.to_string()))?;
    if bytes.len() as u64 > most { Err(Problem::TooLarge) } else { Ok(bytes) }
}

/// The MusicXML root files named by `META-INF/container.xml`, in order.
fn root_files(container: &[u8], limits: &Limits) -> Vec<String> {
    let source = source::decode(container);
    let mut cursor = Cursor::new(&source.text, limits.depth);
    let mut names = Vec::new();
    let Some(_container) = cursor.child() else { return names };
    while let Some(tag) = cursor.child() {
        if tag.name() != "rootfiles" {
            cursor.skip();
            continue;
        }
        while let Some(tag) = cursor.child() {
            cursor.skip();
            let media = tag.attribute("media-type").unwrap_or_default();
            let is_score = media.is_empty() || media.contains("musicxml") && !media.contains("opus");
            if let (true, "rootfile", Some(path)) = (is_score, tag.name(), tag.attribute("full-path")) {
                names.push(plain(path).into_owned());
            }
        }
    }
    names
}

/// Members that look like scores by their names, in the order of the archive.
fn score_members(archive: &mut ZipArchive<Bytes<&[u8]>>) -> Vec<(usize, String)> {
    (0..archive.len())
        .filter_map(|index| {
            let name = archive.name_for_index(index)?.ok()?.into_owned();
            let lower = name.to_ascii_lowercase();
            let outside = lower.starts_with("meta-inf/") || lower.starts_with("__macosx/");
            let score = [".xml", ".musicxml"].iter().any(|end| lower.ends_with(end));
            (score && !outside).then_some((index, name))
        })
        .collect()
}
