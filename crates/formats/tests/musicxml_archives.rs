//! `.mxl` archives, encodings and limits: what hostile or careless files do (container rules: MusicXML 4.0, "Compressed MusicXML files").
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

use std::io::{Cursor, Write};

use ripieno_formats::{Format, Limits, Reading, Severity, read};
use zip::write::SimpleFileOptions;

const CONTAINER: &str =
    r#"<?xml version="1.0"?><container><rootfiles><rootfile full-path="music/score.xml"/></rootfiles></container>"#;

fn score(step: &str) -> String {
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flöte</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes><note><pitch><step>{step}</step><octave>5</octave></pitch><duration>4</duration></note></measure></part></score-partwise>"#
    )
}

fn archive(members: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in members {
        archive.start_file(*name, SimpleFileOptions::default()).unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

fn opened(members: &[(&str, &[u8])]) -> Reading {
    read("test.mxl", &archive(members), &Limits::default()).unwrap()
}

fn refused(bytes: &[u8], limits: &Limits) -> &'static str {
    read("test.mxl", bytes, limits).unwrap_err().0.code
}

fn first_pitch(reading: &Reading) -> String {
    reading.score.parts[0].notes[0].pitch().unwrap().to_string()
}

fn codes(reading: &Reading) -> Vec<&str> {
    // Who plays is another matter than how the file reads.
    reading
        .findings
        .iter()
        .map(|finding| finding.code)
        .filter(|code| !code.contains("instrument") && !code.contains("player"))
        .collect()
}

#[test]
fn the_container_names_the_score() {
    let reading = opened(&[
        ("META-INF/container.xml", CONTAINER.as_bytes()),
        ("a.xml", score("C").as_bytes()),
        ("music/score.xml", score("D").as_bytes()),
    ]);
    assert_eq!((reading.format, first_pitch(&reading).as_str()), (Format::CompressedMusicXml, "D5"));
    assert_eq!(codes(&reading), ["more-scores"]);
}

#[test]
fn without_a_container_the_first_score_is_read() {
    let reading = opened(&[("notes.txt", b"hello"), ("__MACOSX/x.xml", b"junk"), ("one.musicxml", score("E").as_bytes())]);
    assert_eq!(first_pitch(&reading), "E5");
    assert_eq!(codes(&reading), ["no-container"]);
}

#[test]
fn a_container_that_leads_nowhere_is_passed_over() {
    let reading = opened(&[("META-INF/container.xml", CONTAINER.as_bytes()), ("one.xml", score("F").as_bytes())]);
    assert_eq!(first_pitch(&reading), "F5");
    assert_eq!(codes(&reading), ["no-container"]);
}

#[test]
fn other_root_files_are_not_taken_for_the_score() {
    let container = r#"<container><rootfiles><rootfile full-path="score.pdf" media-type="application/pdf"/><rootfile full-path="s.xml" media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>"#;
    let reading =
        opened(&[("META-INF/container.xml", container.as_bytes()), ("score.pdf", b"%PDF"), ("s.xml", score("G").as_bytes())]);
    assert_eq!(first_pitch(&reading), "G5");
}

#[test]
fn paths_that_climb_out_only_name_members() {
    let container = r#"<container><rootfiles><rootfile full-path="../../etc/passwd"/></rootfiles></container>"#;
    let outside = archive(&[("META-INF/container.xml", container.as_bytes())]);
    assert_eq!(refused(&outside, &Limits::default()), "no-score-in-archive");
    let inside = opened(&[("META-INF/container.xml", container.as_bytes()), ("../../etc/passwd", score("A").as_bytes())]);
    assert_eq!(first_pitch(&inside), "A5");
    assert!(!std::path::Path::new("../../etc/passwd").exists(), "nothing was written");
}

#[test]
fn an_archive_that_unfolds_out_of_proportion_is_refused() {
    let bomb = vec![b' '; 32 << 20];
    let packed = archive(&[("META-INF/container.xml", CONTAINER.as_bytes()), ("music/score.xml", &bomb)]);
    assert!(packed.len() < 64 << 10);
    assert_eq!(refused(&packed, &Limits::default()), "archive-limit");
}

#[test]
fn an_archive_that_unfolds_beyond_the_limit_is_refused() {
    let packed = archive(&[("s.xml", score("C").as_bytes())]);
    assert_eq!(refused(&packed, &Limits { inflated_bytes: 100, ..Limits::default() }), "archive-limit");
    assert_eq!(refused(&packed, &Limits { archive_members: 0, ..Limits::default() }), "archive-limit");
    assert_eq!(refused(&packed, &Limits { file_bytes: 10, ..Limits::default() }), "file-too-large");
}

#[test]
fn a_damaged_archive_says_so() {
    let mut packed = archive(&[("s.xml", score("C").as_bytes())]);
    assert_eq!(refused(&packed[..packed.len() / 2], &Limits::default()), "bad-archive");
    for byte in &mut packed[35..60] {
        *byte ^= 0x55;
    }
    assert!(["bad-archive", "damaged", "not-musicxml"].contains(&refused(&packed, &Limits::default())));
    assert_eq!(refused(&archive(&[("picture.png", b"x")]), &Limits::default()), "no-score-in-archive");
}

#[test]
fn utf_16_and_latin_1_read_like_utf_8() {
    let text = score("C");
    let utf16: Vec<u8> = std::iter::once(0xfeff).chain(text.encode_utf16()).flat_map(u16::to_be_bytes).collect();
    let latin1: Vec<u8> = text.replace("UTF-8", "ISO-8859-1").chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    for bytes in [text.clone().into_bytes(), utf16, latin1] {
        let reading = read("test.musicxml", &bytes, &Limits::default()).unwrap();
        assert_eq!(reading.score.parts[0].name, "Flöte");
        assert!(reading.findings.iter().all(|finding| finding.code != "bad-encoding"));
    }
}

#[test]
fn limits_on_parts_bars_events_and_depth_end_the_reading() {
    let text = score("C");
    let limits = Limits::default();
    for (limits, code) in [
        (Limits { parts: 0, ..limits.clone() }, "limit"),
        (Limits { bars: 0, ..limits.clone() }, "limit"),
        (Limits { events: 0, ..limits.clone() }, "limit"),
        (Limits { depth: 3, ..limits.clone() }, "limit"),
    ] {
        assert_eq!(refused(text.as_bytes(), &limits), code);
    }
    let short = read("t", text.as_bytes(), &Limits { bar_crotchets: 2, ..limits }).unwrap();
    assert_eq!(short.score.length().to_string(), "2");
    assert!(short.findings.iter().any(|finding| finding.severity == Severity::Warning));
}

/// A bar-repeat sign is a few bytes and stands for a whole bar: what it may unfold to is kept in proportion.
#[test]
fn bar_repeats_unfold_in_proportion() {
    let mut text = score("C").replace("</measure></part></score-partwise>", "");
    for _ in 0..2000 {
        text += "<note><pitch><step>D</step><octave>5</octave></pitch><duration>0</duration></note>";
    }
    text += r#"</measure><measure number="2"><attributes><measure-style><measure-repeat type="start">1</measure-repeat></measure-style></attributes></measure>"#;
    for _ in 0..20_000 {
        text += "<measure/>";
    }
    text += "</part></score-partwise>";
    let reading = read("t", text.as_bytes(), &Limits::default()).unwrap();
    assert!(codes(&reading).contains(&"simile-too-much"));
    assert!(reading.score.parts[0].notes.len() < 100_000);
}
