//! Parts and score of the demo on paper. Leaves them in the target's `tmp/stands`, where `reference/parts_pdf.py` measures them.

#![allow(clippy::unwrap_used, clippy::print_stderr)] // a test may stop at the first surprise

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use ripieno_deliver::{BookOptions, Paper, Setting, Title, books, set_book, set_score};
use ripieno_engraving::{EmptyStaves, EngraveError, Engraver, Layout, System, engraver, key_changes, pdf};
use ripieno_formats::musicxml::{LineBreak, Printing, write, write_printed};
use ripieno_formats::{Limits, read, read_file};
use ripieno_score::{BarIndex, Score, Sounding, Unroll};

fn demo() -> Score {
    read_file(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml"), &Limits::default())
        .unwrap()
        .score
}

fn engine() -> Option<Box<dyn Engraver>> {
    match engraver() {
        Ok(engraver) => Some(engraver),
        Err(EngraveError::NotBuiltIn) => {
            eprintln!("skipped: built without the engraver");
            None
        }
        Err(error) => unreachable!("{error}"),
    }
}

/// Every bar stands on one line, in order.
fn holds_every_bar(setting: &Setting, bars: usize) {
    let mut next = 0;
    let mut page = 0;
    for &(on, first, last) in &setting.lines {
        assert_eq!(first.0, next);
        assert!(last >= first && (page..=page + 1).contains(&on));
        (next, page) = (last.0 + 1, on);
    }
    assert_eq!(next as usize, bars);
    assert_eq!(page + 1, setting.pages.len());
}

/// No words nearer to the edge of the paper than its margin, on the right, where the engraver lets them run on (common practice of printers).
fn words_keep_to_the_page(setting: &Setting, paper: &Paper, name: &str) {
    // Half a millimetre for what is drawn of a letter beyond its place.
    let most = (paper.width - paper.margin + 0.5) * 96.0 / 25.4;
    for (page, drawn) in setting.pages.iter().enumerate() {
        for words in drawn.words().unwrap() {
            let text = drawn.svg[words.at..].split("</text>").next().unwrap_or_default();
            assert!(words.right <= most, "{name}, page {}: {:.1} mm over: {text}", page + 1, (words.right - most) / 96.0 * 25.4);
        }
    }
}

/// A folder of the delivery that is left for the witness, empty.
fn left_for_the_witness(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("stands").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn parts_on_paper() {
    let Some(engraver) = engine() else { return };
    let score = demo();
    let folder = left_for_the_witness("parts");
    let title = |reader: &str| Title::of(&score, reader);
    let tempo = Sounding::new(&score, Unroll::AsWritten).tempo;
    let mut turned = 0;
    for (place, book) in books(&score, &BookOptions::default()).unwrap().iter().enumerate() {
        let setting = set_book(&*engraver, book, &tempo, &Paper::ORCHESTRA, &title(&book.name)).unwrap();
        holds_every_bar(&setting, score.bars.len());
        words_keep_to_the_page(&setting, &Paper::ORCHESTRA, &book.name);
        // Two pages lie open side by side.
        assert!(setting.pages.len() != 2 || setting.turns.is_empty(), "{}", book.name);
        // Only our own bar numbers, one for each line but the first.
        let drawn: String = setting.pages.iter().map(|page| page.svg.as_str()).collect();
        assert!(!drawn.contains("class=\"mNum"), "{}", book.name);
        assert_eq!(drawn.matches("class=\"bar-number\"").count(), setting.lines.len() - 1, "{}", book.name);
        // The overture leaves everybody a rest to turn in, but for those who play throughout.
        turned += usize::from(!setting.turns.iter().any(|turn| turn.is_hurried()));
        if place == 0 {
            let again = set_book(&*engraver, book, &tempo, &Paper::ORCHESTRA, &title(&book.name)).unwrap();
            assert_eq!(again, setting, "the same book gives the same pages");
            // A larger staff needs more paper, never less.
            let large = set_book(&*engraver, book, &tempo, &Paper { staff: 8.5, ..Paper::ORCHESTRA }, &title("")).unwrap();
            assert!(large.lines.len() >= setting.lines.len());
        }
        let name = format!("{:02} {}", place + 1, book.name.replace('/', "-"));
        let file = |ending: &str| folder.join(format!("{name}.{ending}"));
        std::fs::write(file("musicxml"), write_printed(&book.score, &book.printing())).unwrap();
        std::fs::write(file("pdf"), pdf(&setting.pages).unwrap()).unwrap();
    }
    assert!(turned >= 28, "{turned}");
}

#[test]
fn score_on_paper() {
    let Some(engraver) = engine() else { return };
    let score = demo();
    let folder = left_for_the_witness("score");
    let title = |reader: &str| Title::of(&score, reader);
    let mut told = Vec::new();
    let mut seen = |bars: usize| {
        told.push(bars);
        ControlFlow::Continue(())
    };
    let setting = set_score(&*engraver, &score, &Paper::SCORE_A3, &title("Full score"), &mut seen).unwrap();
    holds_every_bar(&setting, score.bars.len());
    // From the beginning again where smaller staves are tried.
    let begun = told.windows(2).filter(|pair| pair[0] > pair[1]).count();
    assert!(begun <= 2 && told.last() == Some(&score.bars.len()), "{told:?}");
    words_keep_to_the_page(&setting, &Paper::SCORE_A3, "score");
    std::fs::write(folder.join("score.musicxml"), write(&score)).unwrap();
    std::fs::write(folder.join("score.pdf"), pdf(&setting.pages).unwrap()).unwrap();
    // Staves that rest are left out where the paper says so, so that fewer pages do; the first page shows all.
    let whole =
        set_score(&*engraver, &score, &Paper { hides_empty: false, ..Paper::SCORE_A3 }, &title("Full score"), &mut |_| {
            ControlFlow::Continue(())
        });
    // Staves of each page, all its bars taken together.
    let on_page = |setting: &Setting| -> Vec<(usize, usize)> {
        let bars = |page: usize| {
            let here = setting.lines.iter().filter(move |line| line.0 == page);
            here.map(|line| (line.2.0 - line.1.0 + 1) as usize).sum()
        };
        let staves = |svg: &str| svg.matches("class=\"staff\"").count();
        setting.pages.iter().enumerate().map(|(page, drawn)| (staves(&drawn.svg), bars(page))).collect()
    };
    let (shown, hidden) = (on_page(&whole.unwrap()), on_page(&setting));
    let all: usize = score.parts.iter().map(|part| usize::from(part.staves)).sum();
    assert!(shown.iter().all(|(staves, bars)| *staves == all * bars), "{shown:?}");
    assert_eq!(hidden[0].0, all * hidden[0].1, "the first system shows who there is");
    assert!(hidden.iter().all(|(staves, bars)| *staves <= all * bars));
    assert!(hidden.iter().filter(|(staves, bars)| *staves < all * bars).count() * 2 > hidden.len(), "{hidden:?}");
    assert!(hidden.len() <= shown.len(), "{hidden:?} {shown:?}");
    // Staves of 6 mm would leave a fifth and more of the pages empty; smaller ones, legible by the guidelines, fill them.
    assert!((4.5..6.0).contains(&setting.staff), "{}", setting.staff);
    let systems = |page: usize| setting.lines.iter().filter(|line| line.0 == page).count();
    assert!((0..setting.pages.len()).any(|page| systems(page) > 1));
}

/// Stopping is obeyed, and too many staves are refused with a sentence.
#[test]
fn what_cannot_be_set_is_told() {
    let Some(engraver) = engine() else { return };
    let score = demo();
    let stop = set_score(&*engraver, &score, &Paper::SCORE_A3, &Title::default(), &mut |_| ControlFlow::Break(()));
    assert_eq!(stop.unwrap_err().to_string(), "broken off");
    let small = Paper { width: 148.0, height: 105.0, ..Paper::SCORE_A3 };
    let error = set_score(&*engraver, &score, &small, &Title::default(), &mut |_| ControlFlow::Continue(())).unwrap_err();
    assert!(error.to_string().contains("choose larger paper"), "{error}");
    assert!(score.bars.get(BarIndex(108).at()).is_some());
}

/// Nine winds over forty bars with signs that reach from line to line: notes tied for three bars, slurs and hairpins of five, a repeat, endings of
/// three bars, dal segno al coda, a key and a metre that change.
fn full_of_signs() -> Score {
    const NAMES: [&str; 9] =
        ["Flute", "Oboe", "Clarinet in A", "Bassoon", "Trumpet in C", "Trombone", "Bass Trombone", "Tuba", "Alto Flute"];
    let mut text = String::from("<score-partwise version=\"4.0\"><part-list>");
    for (part, name) in NAMES.iter().enumerate() {
        let _ = write!(text, "<score-part id=\"P{part}\"><part-name>{name}</part-name></score-part>");
    }
    text += "</part-list>";
    for part in 0..NAMES.len() {
        let _ = write!(text, "<part id=\"P{part}\">");
        let (octave, first) = (if part % 2 == 0 { 5 } else { 3 }, part == 0);
        for bar in 1..=40 {
            let _ = write!(text, "<measure number=\"{bar}\">");
            let left = match bar {
                5 => "<repeat direction=\"forward\"/>",
                20 => "<ending number=\"1\" type=\"start\"/>",
                23 => "<ending number=\"2\" type=\"start\"/>",
                _ => "",
            };
            if !left.is_empty() {
                let _ = write!(text, "<barline location=\"left\">{left}</barline>");
            }
            match bar {
                1 => {
                    text += "<attributes><divisions>1</divisions><key><fifths>1</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
                }
                _ if bar % 7 == 0 => {
                    let _ = write!(text, "<attributes><key><fifths>{}</fifths></key></attributes>", bar % 5);
                }
                _ => {}
            }
            let sign = |kind: &str, sound: &str| {
                format!("<direction><direction-type>{kind}</direction-type><sound {sound}/></direction>")
            };
            let jump = match bar {
                3 => sign("<segno/>", "segno=\"a\""),
                30 => sign("<words>To Coda</words>", "tocoda=\"b\""),
                36 => sign("<words>D.S. al Coda</words>", "dalsegno=\"a\""),
                37 => sign("<coda/>", "coda=\"b\""),
                _ => String::new(),
            };
            if first {
                text += &jump;
            }
            if bar % 5 == 2 {
                text += "<direction><direction-type><wedge type=\"crescendo\"/></direction-type></direction>";
            }
            let (starts, stops) = (bar % 3 != 0 && bar < 40, bar % 3 != 1 && bar > 1);
            let (mut ties, mut tied) = (String::new(), String::new());
            for (is, edge) in [(stops, "stop"), (starts, "start")] {
                if is {
                    let _ = write!(ties, "<tie type=\"{edge}\"/>");
                    let _ = write!(tied, "<tied type=\"{edge}\"/>");
                }
            }
            // Each group its own pitch, so that no tie can be taken for that of the next.
            let step = ["G", "A", "B", "F"][(bar - 1) / 3 % 4];
            let slur = match bar % 5 {
                3 if bar < 38 => "<slur number=\"1\" type=\"start\"/>",
                1 if bar > 1 => "<slur number=\"1\" type=\"stop\"/>",
                _ => "",
            };
            let _ = write!(
                text,
                "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>4</duration>{ties}<voice>1</voice><type>whole</type><notations>{tied}{slur}</notations></note>"
            );
            if bar % 5 == 1 && bar > 1 {
                text += "<direction><direction-type><wedge type=\"stop\"/></direction-type></direction>";
            }
            let right = match bar {
                12 => "<repeat direction=\"backward\"/>",
                22 => "<ending number=\"1\" type=\"stop\"/><repeat direction=\"backward\"/>",
                25 => "<ending number=\"2\" type=\"stop\"/>",
                _ => "",
            };
            if !right.is_empty() {
                let _ = write!(text, "<barline location=\"right\">{right}</barline>");
            }
            text += "</measure>";
        }
        text += "</part>";
    }
    text += "</score-partwise>";
    read("test.musicxml", text.as_bytes(), &Limits::default()).unwrap().score
}

/// How often each kind of sign is drawn in a line: the engine's names for what it draws, and the signs of its font.
fn signs(line: &System) -> BTreeMap<String, usize> {
    let mut found = BTreeMap::new();
    let names = line.body.split(" class=\"").skip(1).filter_map(|rest| rest.split(['"', ' ']).next());
    let glyphs = line.body.split("href=\"#").skip(1).filter_map(|rest| rest.split(['"', '-']).next());
    // What stands before a line differs: names, and in a piece of a score their short forms.
    for name in names.filter(|name| !name.starts_with("label") && !matches!(*name, "text" | "rend" | "system")).chain(glyphs) {
        *found.entry(name.to_owned()).or_default() += 1;
    }
    found
}

/// Whatever is cut to be engraved, and however far staves are spread out, each line has the signs it has where the whole score is engraved at
/// once on the same lines.
#[test]
fn pages_have_the_signs_of_the_whole() {
    let Some(engraver) = engine() else { return };
    let score = full_of_signs();
    let mut spread = 0;
    for height in [330.0, 420.0] {
        let paper = Paper { height, least_staff: 6.0, hides_empty: false, ..Paper::SCORE_A3 };
        let setting = set_score(&*engraver, &score, &paper, &Title::default(), &mut |_| ControlFlow::Continue(())).unwrap();
        holds_every_bar(&setting, score.bars.len());
        let breaks = setting.lines.iter().map(|line| (line.1, LineBreak::System)).collect();
        let pixels = |millimetres: f64| millimetres * 96.0 / 25.4;
        let layout = Layout::lines(pixels(paper.width - 2.0 * paper.margin), pixels(setting.staff));
        let document = write_printed(&score, &Printing { breaks, ..Printing::default() });
        let whole = engraver.engrave_lines(document.as_bytes(), &layout, &key_changes(&score), EmptyStaves::Shown, Some(0.0));
        let whole: Vec<System> = System::of_pages(&whole.unwrap()).unwrap().into_iter().map(System::without_numbers).collect();
        let set = System::of_pages(&setting.pages).unwrap();
        assert_eq!((set.len(), whole.len()), (setting.lines.len(), setting.lines.len()));
        for ((line, own), whole) in setting.lines.iter().zip(&set).zip(&whole) {
            assert_eq!(signs(own), signs(whole), "paper {height} mm high, bars {} to {}", line.1.0 + 1, line.2.0 + 1);
            spread += usize::from(own.staff_foot - own.staff_top > whole.staff_foot - whole.staff_top + 100.0);
        }
        // As many as the score has, a tie that goes over the end of a line in two pieces.
        let dots: usize = set.iter().map(|line| signs(line).get("E044").copied().unwrap_or(0)).sum();
        assert!(dots > 0, "{:?}", signs(&set[0]));
    }
    assert!(spread > 1, "some pages are spread out");
}

/// What would make a finished score finer may fail or be broken off: the score is kept, and stopping is heard.
#[test]
fn a_finished_score_is_kept() {
    struct Failing {
        inner: Box<dyn Engraver>,
    }
    impl Engraver for Failing {
        fn engrave_keyed(
            &self,
            musicxml: &[u8],
            layout: &Layout,
            keys: &[ripieno_engraving::KeyChange],
        ) -> Result<Vec<ripieno_engraving::Page>, EngraveError> {
            self.inner.engrave_keyed(musicxml, layout, keys)
        }

        /// Fails at whatever is engraved a second time.
        fn engrave_lines(
            &self,
            musicxml: &[u8],
            layout: &Layout,
            keys: &[ripieno_engraving::KeyChange],
            empty: EmptyStaves,
            apart: Option<f64>,
        ) -> Result<Vec<ripieno_engraving::Page>, EngraveError> {
            if apart.is_some() {
                return Err(EngraveError::TooSlow);
            }
            self.inner.engrave_lines(musicxml, layout, keys, empty, apart)
        }
    }
    let Some(engraver) = engine() else { return };
    let score = full_of_signs();
    let paper = Paper { height: 330.0, least_staff: 6.0, hides_empty: false, ..Paper::SCORE_A3 };
    let failing = Failing { inner: engraver };
    let setting = set_score(&failing, &score, &paper, &Title::default(), &mut |_| ControlFlow::Continue(())).unwrap();
    holds_every_bar(&setting, score.bars.len());
    // The last bar is done once; what follows asks again, and is broken off.
    let mut done = 0;
    let stop = set_score(&failing, &score, &paper, &Title::default(), &mut |bars| {
        done += usize::from(bars == score.bars.len());
        if done > 1 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    assert_eq!(stop.unwrap_err().to_string(), "broken off");
}
