//! What is engraved is what was written. The law of slices is ours; the pages come from the engine itself.

#![cfg(feature = "engine")]
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::LazyLock;

use ripieno_engraving::{EngraveError, Engraver, Layout, NoteRoles, Notehead, Page, engrave_score, engraver, pdf, png};
use ripieno_formats::excerpt::{Cut, Excerpt, Parts, cut};
use ripieno_formats::{Limits, musicxml, read_file};
use ripieno_score::{BarIndex, Score};
use ripieno_texture::Role;

static ENGINE: LazyLock<Box<dyn Engraver>> = LazyLock::new(|| engraver().unwrap());

fn demo() -> Score {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    read_file(&path, &Limits::default()).unwrap().score
}

fn window(score: &Score, first: u32, last: u32, parts: Parts) -> Excerpt {
    cut(score, &Cut { parts, ..Cut::bars(BarIndex(first), BarIndex(last)) }).unwrap()
}

/// For each bar and staff its noteheads from left to right, those that stand together from below: (id, step on the staff).
type Heads = BTreeMap<(usize, usize), Vec<(String, i32)>>;

fn heads(pages: &[Page]) -> Heads {
    let mut of_staff: BTreeMap<(usize, usize), Vec<Notehead>> = BTreeMap::new();
    let mut before = 0;
    for page in pages {
        let heads = page.noteheads();
        for head in &heads {
            of_staff.entry((before + head.bar, head.staff)).or_default().push(head.clone());
        }
        before += page.svg.matches(" class=\"measure\"").count();
    }
    of_staff
        .into_iter()
        .map(|(place, mut heads)| {
            heads.sort_by(|a, b| a.x.total_cmp(&b.x));
            let mut cluster = (0usize, f64::NEG_INFINITY);
            let mut placed: Vec<(usize, i32, String)> = Vec::new();
            for head in heads {
                // Heads of one moment lie within a notehead's width of each other (SMuFL: 1.18 staff spaces for a black one).
                if head.x - cluster.1 > 2.5 * head.half_space {
                    cluster = (cluster.0 + 1, head.x);
                }
                placed.push((cluster.0, head.step, head.id));
            }
            placed.sort();
            (place, placed.into_iter().map(|(_, step, id)| (id, step)).collect())
        })
        .collect()
}

#[test]
fn a_slice_shows_the_notes_of_the_whole() {
    let score = demo();
    let last = u32::try_from(score.bars.len()).unwrap() - 1;
    let whole = heads(&engrave_score(&**ENGINE, &score, &Layout::default(), None, &[]).unwrap());
    let written: usize = score.parts.iter().map(|part| part.notes.iter().filter(|note| note.plays()).count()).sum();
    let shown: usize = whole.values().map(Vec::len).sum();
    assert!(shown >= written, "{shown} heads for {written} notes");
    for (first, to) in [(2, 12), (51, 66), (85, 104)] {
        let to = to.min(last);
        let excerpt = window(&score, first, to, Parts::All);
        let slice = heads(&engrave_score(&**ENGINE, &excerpt.score, &Layout::default(), None, &[]).unwrap());
        let original = |id: &str| {
            let (part, note) = id.strip_prefix('n').and_then(|rest| rest.split_once('-')).unwrap();
            let from = excerpt.origin[part.parse::<usize>().unwrap()][note.parse::<usize>().unwrap()];
            musicxml::note_id(from.part, from.note as usize)
        };
        let mut compared = 0;
        for bar in first as usize..=to as usize {
            let of_bar = |heads: &Heads, bar: usize| -> Vec<(usize, Vec<(String, i32)>)> {
                heads.range((bar, 0)..(bar + 1, 0)).map(|(place, heads)| (place.1, heads.clone())).collect()
            };
            let expected = of_bar(&whole, bar);
            let mut found = of_bar(&slice, bar - first as usize);
            found.iter_mut().flat_map(|(_, heads)| heads).for_each(|(id, _)| *id = original(id));
            assert_eq!(found, expected, "bar {}", score.bars[bar].number);
            compared += found.iter().map(|(_, heads)| heads.len()).sum::<usize>();
        }
        assert!(compared > 100, "bars {first} to {to}: {compared} heads");
    }
}

#[test]
fn the_same_score_gives_the_same_page() {
    let excerpt = window(&demo(), 40, 47, Parts::Sounding);
    let engrave =
        |engine: &dyn Engraver| engrave_score(engine, &excerpt.score, &Layout::default(), None, &excerpt.held_over).unwrap();
    let first = engrave(&**ENGINE);
    assert_eq!(first, engrave(&**ENGINE));
    let another = engraver().unwrap();
    assert_eq!(first, engrave(&*another));
    assert_eq!(png(&first[0], 700).unwrap(), png(&first[0], 700).unwrap());
    // Nothing is fetched from anywhere, nobody signs.
    let addresses: BTreeSet<&str> = first[0].svg.split("http").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert!(addresses.iter().all(|address| address.contains("www.w3.org")), "{addresses:?}");
}

#[test]
fn roles_are_shown_by_colour_and_word() {
    let excerpt = window(&demo(), 51, 57, Parts::Sounding);
    let roles: NoteRoles = excerpt
        .score
        .parts
        .iter()
        .enumerate()
        .map(|(part, all)| vec![Some(if part == 0 { Role::Melody } else { Role::Harmony }); all.notes.len()])
        .collect();
    let pages = engrave_score(&**ENGINE, &excerpt.score, &Layout::default(), Some(&roles), &excerpt.held_over).unwrap();
    let svg = &pages[0].svg;
    let notes = svg.matches("class=\"role-melody note\"").count();
    assert_eq!(notes, excerpt.score.parts[0].notes.len());
    assert!(svg.contains("\u{2039}melody\u{203a}") && svg.contains("\u{2039}harmony\u{203a}"));
    assert!(svg.contains("class=\"legend\"") && svg.contains(">harmony</text>"));
    assert!(pdf(&pages).unwrap().starts_with(b"%PDF-"));
}

#[test]
fn bars_are_numbered_as_printed() {
    let score = demo();
    let excerpt = window(&score, 51, 57, Parts::Sounding);
    let pages = engrave_score(&**ENGINE, &excerpt.score, &Layout::default(), None, &[]).unwrap();
    let numbers: Vec<&str> = pages[0]
        .svg
        .split("class=\"bar-number\"")
        .skip(1)
        .map(|text| text.split('>').nth(1).unwrap().split('<').next().unwrap())
        .collect();
    let printed: Vec<&str> = excerpt.score.bars.iter().map(|bar| &*bar.number).collect();
    assert_eq!(numbers, printed);
}

#[test]
fn what_cannot_be_engraved_says_so_and_the_next_page_comes() {
    let layout = Layout::default();
    assert_eq!(ENGINE.engrave(b"not music", &layout), Err(EngraveError::NotMusicXml));
    // Broken off in the middle, closed again: the engine itself would draw the first half and say nothing.
    let xml = musicxml::write(&window(&demo(), 0, 1, Parts::All).score);
    let broken = format!("{}</measure></score-partwise>", &xml[..xml.len() / 2]);
    assert_eq!(ENGINE.engrave(broken.as_bytes(), &layout), Err(EngraveError::NotMusicXml));
    // Well formed, but no music: the engine must not end the program.
    let empty = b"<score-partwise><part-list/><part><measure></measure></part></score-partwise>";
    let answer = ENGINE.engrave(empty, &layout);
    assert!(matches!(answer, Err(EngraveError::NotTaken | EngraveError::NoPage(_)) | Ok(_)), "{answer:?}");
    assert_eq!(ENGINE.engrave(xml.as_bytes(), &layout).unwrap().len(), 1);
}

#[test]
fn a_page_has_the_height_it_is_given_or_needs() {
    let excerpt = window(&demo(), 0, 39, Parts::Sounding);
    let layout = Layout { width: 794, staff: 16.0, height: Some(1123) };
    let pages = engrave_score(&**ENGINE, &excerpt.score, &layout, None, &[]).unwrap();
    assert!(pages.len() > 1);
    let bars: usize = pages.iter().map(|page| page.svg.matches("class=\"bar-number\"").count()).sum();
    assert_eq!(bars, 40);
}

/// A clarinet in B flat and a violin change key together: each has the accidentals of its own key, 2 sharps to 1 flat and none to 3 flats
/// (the sounding key is the same). The wider spacing of naturals that cancel is the engine's own.
#[test]
fn each_staff_changes_to_its_own_key() {
    let bar = |number: u32, fifths: i8, extra: &str| {
        format!(
            "<measure number=\"{number}\"><attributes>{}<key><fifths>{fifths}</fifths></key>{extra}</attributes><note><pitch><step>C</step>\
<octave>5</octave></pitch><duration>4</duration><type>whole</type></note></measure>",
            if number == 1 { "<divisions>1</divisions>" } else { "" }
        )
    };
    let rest = "<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef>";
    let transposed = format!("{rest}<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>");
    let xml = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Clarinet in Bb</part-name></score-part><score-part id=\"P2\">\
<part-name>Violin</part-name></score-part></part-list><part id=\"P1\">{}{}</part><part id=\"P2\">{}{}</part></score-partwise>",
        bar(1, 2, &transposed),
        bar(2, -1, ""),
        bar(1, 0, rest),
        bar(2, -3, "")
    );
    let score = ripieno_formats::read("keys.musicxml", xml.as_bytes(), &Limits::default()).unwrap().score;
    let pages = engrave_score(&**ENGINE, &score, &Layout::default(), None, &[]).unwrap();
    let second = pages[0].svg.split("class=\"measure\"").nth(2).unwrap();
    let signs = |staff: &str| staff.split("class=\"keySig\"").nth(1).unwrap().split("class=\"layer\"").next().unwrap().to_owned();
    let flats = |staff: &str| signs(staff).matches("#E260").count();
    let staves: Vec<&str> = second.split("class=\"staff\"").skip(1).collect();
    assert_eq!(staves.iter().map(|staff| flats(staff)).collect::<Vec<_>>(), [1, 3]);
    let plan = pages[0].plan();
    assert_eq!((plan.bars.len(), plan.heads.len()), (2, 4));
}
