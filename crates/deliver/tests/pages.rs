//! Parts and score of the demo on paper. Leaves them in the target's `tmp/stands`, where `reference/parts_pdf.py` measures them.

#![allow(clippy::unwrap_used, clippy::print_stderr)] // a test may stop at the first surprise

use std::ops::ControlFlow;
use std::path::Path;

use ripieno_deliver::{BookOptions, Paper, Setting, Title, books, set_book, set_score};
use ripieno_engraving::{EngraveError, Engraver, engraver, pdf};
use ripieno_formats::musicxml::{write, write_printed};
use ripieno_formats::{Limits, read_file};
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

#[test]
fn parts_and_score_on_paper() {
    let Some(engraver) = engine() else { return };
    let score = demo();
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("stands");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(folder.join("parts")).unwrap();
    std::fs::create_dir_all(folder.join("score")).unwrap();
    let title = |reader: &str| Title {
        title: score.about.title(),
        composer: score.about.composer().unwrap_or_default().to_owned(),
        reader: reader.to_owned(),
        ..Title::default()
    };
    let tempo = Sounding::new(&score, Unroll::AsWritten).tempo;
    let mut turned = 0;
    for (place, book) in books(&score, &BookOptions::default()).unwrap().iter().enumerate() {
        let setting = set_book(&*engraver, book, &tempo, &Paper::ORCHESTRA, &title(&book.name)).unwrap();
        holds_every_bar(&setting, score.bars.len());
        // Only our own bar numbers, one for each line but the first.
        let drawn: String = setting.pages.iter().map(|page| page.svg.as_str()).collect();
        assert!(!drawn.contains("class=\"mNum"), "{}", book.name);
        assert_eq!(drawn.matches("class=\"bar-number\"").count(), setting.lines.len() - 1, "{}", book.name);
        // The overture leaves everybody a rest to turn in, but for those who play throughout.
        turned += setting.turns.iter().filter(|turn| !turn.is_hurried()).count();
        if place == 0 {
            let again = set_book(&*engraver, book, &tempo, &Paper::ORCHESTRA, &title(&book.name)).unwrap();
            assert_eq!(again, setting, "the same book gives the same pages");
            // A larger staff needs more paper, never less.
            let large = set_book(&*engraver, book, &tempo, &Paper { staff: 8.5, ..Paper::ORCHESTRA }, &title("")).unwrap();
            assert!(large.lines.len() >= setting.lines.len());
        }
        let name = format!("{:02} {}", place + 1, book.name.replace('/', "-"));
        let file = |ending: &str| folder.join("parts").join(format!("{name}.{ending}"));
        std::fs::write(file("musicxml"), write_printed(&book.score, &book.printing())).unwrap();
        std::fs::write(file("pdf"), pdf(&setting.pages).unwrap()).unwrap();
    }
    assert!(turned >= 20, "{turned}");
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
    std::fs::write(folder.join("score/score.musicxml"), write(&score)).unwrap();
    std::fs::write(folder.join("score/score.pdf"), pdf(&setting.pages).unwrap()).unwrap();
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
