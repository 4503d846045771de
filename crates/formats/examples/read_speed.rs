//! How fast MusicXML is read, beside the least that any reader must do: inflate the archive and tokenise it with attributes.
//!
//!     cargo run --release -p ripieno-formats --example read_speed -- SCORE.mxl...
//!
//! For each file the best of several runs on one core, the two taking turns; and, run with one file only, the peak memory of one reading.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used)] // a tool for people who work on Ripieno

use std::hint::black_box;
use std::io::Read as _;
use std::path::Path;
use std::time::{Duration, Instant};

use quick_xml::Reader;
use quick_xml::events::Event;
use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};

const RUNS: usize = 15;

fn main() {
    let files: Vec<String> = std::env::args().skip(1).collect();
    for file in &files {
        let name = Path::new(file).file_name().expect("a file name").to_string_lossy().into_owned();
        let bytes = std::fs::read(file).expect("the file can be read");
        let before = peak_memory();
        // The first reading alone, before anything else can have left memory behind.
        let notes = whole(&name, &bytes);
        let used = peak_memory().saturating_sub(before);
        let xml = inflate(&bytes).len();
        let (mut least, mut reading, mut parsing) = (Duration::MAX, Duration::MAX, Duration::MAX);
        for _ in 0..RUNS {
            least = least.min(timed(|| tokenise(&inflate(&bytes))));
            reading = reading.min(timed(|| whole(&name, &bytes)));
            parsing = parsing.min(timed(|| read(&name, &bytes, &Limits::default()).expect("a score").score.parts.len()));
        }
        let mb = xml as f64 / 1e6;
        println!(
            "{name}: {mb:.2} MB of XML, {notes} notes; inflate and tokenise {:.1} ms; read {:.1} ms, and sounding view {:.1} ms ({:.0} MB/s), {:.2} times as long{}",
            ms(least),
            ms(parsing),
            ms(reading),
            mb / reading.as_secs_f64(),
            reading.as_secs_f64() / least.as_secs_f64(),
            if files.len() == 1 { format!("; peak memory {:.2} times the XML", used as f64 / xml as f64) } else { String::new() },
        );
    }
}

/// Inflate, parse, sounding view; the number of notes that sound.
fn whole(name: &str, bytes: &[u8]) -> usize {
    let reading = read(name, bytes, &Limits::default()).expect("a score");
    black_box(Sounding::new(&reading.score, Unroll::AsWritten)).notes.len()
}

fn inflate(bytes: &[u8]) -> Vec<u8> {
    let Ok(mut archive) = zip::ZipArchive::new(std::io::Cursor::new(bytes)) else { return bytes.to_vec() };
    let mut largest = Vec::new();
    for index in 0..archive.len() {
        let mut member = archive.by_index(index).expect("a member");
        if member.size() as usize > largest.len() {
            largest = Vec::with_capacity(member.size() as usize);
            member.read_to_end(&mut largest).expect("an intact member");
        }
    }
    largest
}

/// Every event and every attribute once.
fn tokenise(xml: &[u8]) -> usize {
    let mut reader = Reader::from_reader(xml);
    let mut seen = 0;
    loop {
        match reader.read_event().expect("well-formed XML") {
            Event::Start(tag) | Event::Empty(tag) => seen += 1 + tag.attributes().with_checks(false).flatten().count(),
            Event::Eof => return black_box(seen),
            _ => seen += 1,
        }
    }
}

fn timed<T>(work: impl FnOnce() -> T) -> Duration {
    let start = Instant::now();
    black_box(work());
    start.elapsed()
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

/// The most memory the process has held so far, in bytes; 0 where the system does not tell.
fn peak_memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches("kB").trim().parse::<u64>().ok()).unwrap_or(0) * 1024
}
