//! Long runs of mutated input against one reader, outside the ordinary tests.
//!
//! `cargo run --release --example mutate -- FORMAT SEEDS_DIR SECONDS SEED [CRASH_DIR]` with FORMAT one of `musicxml`, `mxl`,
//! `midi`, `kern`. Each input (at most 8 kB) is a seed changed by a few random edits; it is read and its sounding view made.
//! A panic, or an input that takes over two seconds, is written to CRASH_DIR (default: the current folder) and makes the
//! run fail; an input that takes over twenty seconds ends it at once. Run it under `ulimit -v` to bound memory. SECONDS are
//! of CPU time of this process, which works on one thread. The same SEED gives the same inputs.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a command for developers

use std::io::{Cursor, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use ripieno_formats::{Limits, kern, midi, musicxml};
use ripieno_score::{Sounding, Unroll};

/// Inputs stay below this.
const LARGEST: usize = 8_000;
const SLOW: Duration = Duration::from_secs(2);
const HANGING: Duration = Duration::from_secs(20);

/// What damaged and hostile files hold.
const POISONS: [&[u8]; 36] = [
    b"0",
    b"-1",
    b"1",
    b"NaN",
    b"inf",
    b"1e308",
    b"99999999999999999999",
    b"2147483648",
    b"-2147483649",
    b"65536",
    b"0.333333",
    b"",
    b"&#0;",
    b"&lol;",
    b"&amp;",
    b"<!DOCTYPE a [<!ENTITY b \"c\">]>",
    b"<chord/>",
    b"<backup><duration>9999</duration></backup>",
    b"</measure>",
    b"<measure number=\"1\">",
    b"<note>",
    b"</note>",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\xc3",
    b"\t",
    b"\n",
    b"*^",
    b"*v",
    b"*-",
    b"**kern",
    b"=",
    b"\xff\x2f\x00",
    b"\x00\x00\x00\x00",
    b"\xff\xff\xff\x7f",
    b"MTrk",
];

/// A small generator of our own (xorshift64*), so that a run can be repeated anywhere.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// A number below `bound`; 0 when the bound is 0.
    fn below(&mut self, bound: usize) -> usize {
        let bound = u64::try_from(bound).unwrap_or(u64::MAX).max(1);
        usize::try_from(self.next() % bound).unwrap_or(0)
    }

    fn span(&mut self, length: usize) -> std::ops::Range<usize> {
        let start = self.below(length + 1);
        let most = (length - start).min(if self.below(4) == 0 { 600 } else { 24 });
        start..start + self.below(most + 1)
    }
}

fn mutate(input: &mut Vec<u8>, seeds: &[Vec<u8>], random: &mut Random) {
    for _ in 0..=random.below(6) {
        let at = random.below(input.len() + 1);
        match random.below(9) {
            0 if !input.is_empty() => {
                let at = random.below(input.len());
                input[at] ^= 1 << random.below(8);
            }
            1 if !input.is_empty() => {
                let at = random.below(input.len());
                input[at] = u8::try_from(random.below(256)).unwrap_or(0);
            }
            2 => drop(input.drain(random.span(input.len()))),
            3 => {
                let piece = input[random.span(input.len())].to_vec();
                drop(input.splice(at..at, piece));
            }
            4 => {
                let seed = &seeds[random.below(seeds.len())];
                let piece = seed[random.span(seed.len())].to_vec();
                drop(input.splice(at..at, piece));
            }
            5 => {
                let poison = POISONS[random.below(POISONS.len())];
                drop(input.splice(at..at, poison.iter().copied()));
            }
            6 => number(input, random),
            7 => input.truncate(at),
            _ => {
                let (a, b) = (random.span(input.len()), random.below(input.len() + 1));
                let piece: Vec<u8> = input.drain(a).collect();
                let b = b.min(input.len());
                drop(input.splice(b..b, piece));
            }
        }
    }
    input.truncate(LARGEST);
}

/// Replaces a run of digits by a hostile number.
fn number(input: &mut Vec<u8>, random: &mut Random) {
    let from = random.below(input.len() + 1);
    let Some(start) = input[from..].iter().position(u8::is_ascii_digit).map(|offset| from + offset) else { return };
    let length = input[start..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    let poison = POISONS[random.below(12)];
    drop(input.splice(start..start + length, poison.iter().copied()));
}

/// The archive a `.mxl` seed lies in; every so often the archive itself is damaged too.
fn archive(inside: &[u8], random: &mut Random) -> Vec<u8> {
    let build = || -> zip::result::ZipResult<Vec<u8>> {
        let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
        let options = zip::write::SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
        archive.start_file("META-INF/container.xml", options)?;
        archive.write_all(b"<container><rootfiles><rootfile full-path=\"s.xml\"/></rootfiles></container>")?;
        archive.start_file("s.xml", options)?;
        archive.write_all(inside)?;
        Ok(archive.finish()?.into_inner())
    };
    let mut bytes = build().unwrap_or_default();
    for _ in 0..random.below(4) {
        let at = random.below(bytes.len());
        if let Some(byte) = bytes.get_mut(at) {
            *byte = u8::try_from(random.below(256)).unwrap_or(0);
        }
    }
    bytes
}

fn read(format: &str, bytes: &[u8], limits: &Limits) {
    let reading = match format {
        "musicxml" => musicxml::read("mutated", bytes, limits),
        "mxl" => musicxml::read_compressed("mutated", bytes, limits),
        "midi" => midi::read("mutated", bytes, limits),
        _ => kern::read("mutated", bytes, limits),
    };
    if let Ok(reading) = reading {
        std::hint::black_box(Sounding::new(&reading.score, Unroll::AsPlayed));
    }
}

fn seeds(folder: &Path) -> Vec<Vec<u8>> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| path.is_file()).collect();
    paths.sort();
    let read = paths.iter().filter_map(|path| std::fs::read(path).ok());
    read.filter(|bytes| !bytes.is_empty() && bytes.len() <= LARGEST).collect()
}

/// CPU seconds of this process so far (Linux; elapsed time elsewhere).
fn cpu_seconds(start: Instant) -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    let ticks: Vec<f64> = after_name.split_whitespace().skip(11).take(2).filter_map(|field| field.parse().ok()).collect();
    // Linux counts a hundred ticks a second on every machine we know.
    if ticks.len() == 2 { (ticks[0] + ticks[1]) / 100.0 } else { start.elapsed().as_secs_f64() }
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [format, folder, seconds, seed, rest @ ..] = arguments.as_slice() else {
        eprintln!("mutate FORMAT SEEDS_DIR SECONDS SEED [CRASH_DIR]");
        return ExitCode::FAILURE;
    };
    let crashes = PathBuf::from(rest.first().map_or(".", String::as_str));
    let (seconds, seed): (f64, u64) = (seconds.parse().unwrap_or(10.0), seed.parse().unwrap_or(1));
    let seeds = seeds(Path::new(folder));
    if seeds.is_empty() {
        eprintln!("{folder}: no seeds of at most {LARGEST} bytes");
        return ExitCode::FAILURE;
    }
    // Silence the message of each panic: the input is kept, which tells more.
    std::panic::set_hook(Box::new(|_| {}));
    let now: Arc<Mutex<(Instant, Vec<u8>)>> = Arc::new(Mutex::new((Instant::now(), Vec::new())));
    let (watched, kept) = (Arc::clone(&now), crashes.clone());
    std::thread::spawn(move || {
        loop {
            std::thread::sleep(Duration::from_secs(1));
            let now = watched.lock().unwrap_or_else(PoisonError::into_inner);
            if now.0.elapsed() > HANGING && !now.1.is_empty() {
                let _ = std::fs::write(kept.join("hang.input"), &now.1);
                eprintln!("an input hangs; kept as hang.input");
                std::process::exit(2);
            }
        }
    });
    let (mut random, start) = (Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1), Instant::now());
    let (limits, mut count, mut bad, mut slowest) = (Limits::default(), 0u64, 0u32, Duration::ZERO);
    while count % 256 != 0 || cpu_seconds(start) < seconds {
        let mut input = seeds[random.below(seeds.len())].clone();
        mutate(&mut input, &seeds, &mut random);
        let bytes = if format == "mxl" { archive(&input, &mut random) } else { input };
        *now.lock().unwrap_or_else(PoisonError::into_inner) = (Instant::now(), bytes.clone());
        let begun = Instant::now();
        let outcome = catch_unwind(AssertUnwindSafe(|| read(format, &bytes, &limits)));
        let took = begun.elapsed();
        slowest = slowest.max(took);
        count += 1;
        if outcome.is_err() || took > SLOW {
            bad += 1;
            let what = if outcome.is_err() { "panic" } else { "slow" };
            let _ = std::fs::write(crashes.join(format!("{format}-{what}-{seed}-{count}.input")), &bytes);
            if bad >= 50 {
                break;
            }
        }
    }
    *now.lock().unwrap_or_else(PoisonError::into_inner) = (Instant::now(), Vec::new());
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).map_or("?", str::trim);
    println!(
        "{format}: {count} inputs in {:.0} CPU seconds, {bad} bad, slowest {} ms, peak memory {peak}",
        cpu_seconds(start),
        slowest.as_millis()
    );
    if bad == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
