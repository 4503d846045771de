//! The outer layer of a Standard MIDI File: RIFF wrapper, header and track chunks.
//!
//! Chunks are walked here rather than by midly so that a wrong length or a missing end is seen and reported; midly
//! swallows both. Layout after RP-001, "Standard MIDI Files 1.0" (MIDI Manufacturers Association), and RP-029 for RMID.

use crate::ReadError;

/// What a tick is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Clock {
    /// Ticks to the crotchet; at least 1.
    pub(super) per_crotchet: u32,
    /// For files that count film frames instead of beats: the microseconds a crotchet of that many ticks lasts.
    pub(super) timecode: Option<u32>,
}

/// The file taken apart.
#[derive(Debug)]
pub(super) struct Container<'a> {
    /// 0: one track with all channels; 1: tracks side by side.
    pub(super) layout: u16,
    pub(super) clock: Clock,
    /// Contents of the track chunks.
    pub(super) tracks: Vec<&'a [u8]>,
    pub(super) faults: Vec<(&'static str, String, &'static str)>,
}

const ASSUMED_TICKS: u32 = 480;

/// Takes the file apart.
pub(super) fn open<'a>(file: &str, bytes: &'a [u8]) -> Result<Container<'a>, ReadError> {
    let mut faults = Vec::new();
    let mut rest = unwrap_riff(bytes).unwrap_or(bytes);
    let broken = |what: &str| ReadError::whole_file(file, "no-midi-header", what, "Export the MIDI file again");
    let header = match next_chunk(&mut rest) {
        Some(chunk) if chunk.id == *b"MThd" => chunk.data,
        _ => return Err(broken("the MIDI header is missing")),
    };
    let word = |at: usize| header.get(at..at + 2).and_then(|two| two.try_into().ok()).map(u16::from_be_bytes);
    let (Some(layout), Some(declared), Some(division)) = (word(0), word(2), word(4)) else {
        return Err(broken("the MIDI header is cut off"));
    };
    if layout >= 2 {
        let what = if layout == 2 {
            "this is a MIDI file of type 2, a set of separate patterns rather than one piece".to_owned()
        } else {
            format!("the MIDI header names a file type {layout}, which does not exist")
        };
        return Err(ReadError::whole_file(file, "midi-type", what, "Export it as a MIDI file of type 1"));
    }
    let clock = clock(division, &mut faults);
    let tracks = tracks(rest, &mut faults);
    if tracks.is_empty() {
        return Err(ReadError::whole_file(file, "no-tracks", "the MIDI file has no tracks", "Export it again"));
    }
    if usize::from(declared) != tracks.len() {
        let what = format!("the header promises {declared} tracks, the file has {}", tracks.len());
        faults.push(("track-count", what, "Compare the list of parts with the source"));
    }
    Ok(Container { layout, clock, tracks, faults })
}

fn clock(division: u16, faults: &mut Vec<(&'static str, String, &'static str)>) -> Clock {
    if division == 0 {
        let what = format!("the header gives no ticks to the crotchet; {ASSUMED_TICKS} are assumed");
        faults.push(("no-ticks", what, "Check a bar or two against the source"));
        return Clock { per_crotchet: ASSUMED_TICKS, timecode: None };
    }
    if division < 0x8000 {
        return Clock { per_crotchet: u32::from(division), timecode: None };
    }
    // Upper byte: frames a second as a negative number; lower byte: ticks to the frame.
    let [frames, ticks] = division.to_be_bytes();
    let frames = u32::from(frames.wrapping_neg());
    let a_second = (frames * u32::from(ticks)).max(1);
    // A whole number of ticks must make a crotchet: half a second where that works, otherwise a second.
    let (per_crotchet, micros) = if a_second % 2 == 0 { (a_second / 2, 500_000) } else { (a_second, 1_000_000) };
    // "29" means the 30/1.001 frames of colour television.
    let timecode = if frames == 29 { (per_crotchet / 29 * 30, micros / 1000 * 1001) } else { (per_crotchet, micros) };
    Clock { per_crotchet: timecode.0.max(1), timecode: Some(timecode.1) }
}

/// Gathers the track chunks, passing over chunks of other kinds.
fn tracks<'a>(mut rest: &'a [u8], faults: &mut Vec<(&'static str, String, &'static str)>) -> Vec<&'a [u8]> {
    let mut tracks = Vec::new();
    loop {
        let before = rest;
        let Some(chunk) = next_chunk(&mut rest) else { break };
        let number = tracks.len() + 1;
        let plausible = chunk.id.iter().all(|byte| (0x20..0x7f).contains(byte));
        if chunk.id == *b"MTrk" {
            if chunk.missing == 0 {
                tracks.push(chunk.data);
                continue;
            }
            // Either the file is cut off here, or the length is wrong and the next tracks lie inside.
            let end = find(chunk.data, b"MTrk").filter(|&at| at + 8 <= chunk.data.len());
            let what = format!("track {number} promises {} bytes more than the file has", chunk.missing);
            faults.push(("track-length", what, "The file may be cut off; export it again if parts end early"));
            tracks.push(end.map_or(chunk.data, |end| chunk.data.get(..end).unwrap_or(chunk.data)));
            let Some(end) = end else { break };
            rest = chunk.data.get(end..).unwrap_or_default();
        } else if !plausible {
            let what = format!("there are stray bytes after track {}", tracks.len());
            faults.push(("stray-bytes", what, "A track may have a wrong length; compare the parts with the source"));
            let Some(next) = find(before.get(1..).unwrap_or_default(), b"MTrk") else { break };
            rest = before.get(1 + next..).unwrap_or_default();
        }
    }
    tracks
}

struct Chunk<'a> {
    id: [u8; 4],
    data: &'a [u8],
    /// Bytes promised beyond the end of the file.
    missing: usize,
}

fn next_chunk<'a>(rest: &mut &'a [u8]) -> Option<Chunk<'a>> {
    let (id, after) = rest.split_first_chunk::<4>()?;
    let (length, after) = after.split_first_chunk::<4>()?;
    let length = usize::try_from(u32::from_be_bytes(*length)).unwrap_or(usize::MAX);
    let (data, after) = after.split_at_checked(length).unwrap_or((after, &[]));
    *rest = after;
    Some(Chunk { id: *id, data, missing: length - data.len() })
}

/// The Standard MIDI File inside a RIFF file of form RMID.
fn unwrap_riff(bytes: &[u8]) -> Option<&[u8]> {
    if !bytes.starts_with(b"RIFF") || bytes.get(8..12)? != b"RMID" {
        return None;
    }
    let mut rest = bytes.get(12..)?;
    loop {
        let (id, after) = rest.split_first_chunk::<4>()?;
        let (length, after) = after.split_first_chunk::<4>()?;
        let length = usize::try_from(u32::from_le_bytes(*length)).ok()?;
        let (data, after) = after.split_at_checked(length).unwrap_or((after, &[]));
        if id == b"data" {
            return Some(data);
        }
        rest = after.get(length % 2..)?;
    }
}

fn find(haystack: &[u8], needle: &[u8]) -> Option<usize> {
    haystack.windows(needle.len()).position(|window| window == needle)
}
