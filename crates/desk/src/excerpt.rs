//! Some bars of an open score, engraved for the page or taken away as a file.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Json, http::HeaderValue};
use ripieno_engraving::{
    EngraveError, IS_BUILT_IN, Layout, NoteSpans, Page, engrave_score, layer_staves, note_spans, pdf, png, roles_of_excerpt,
};
use ripieno_formats::excerpt::{Cut, Excerpt, Parts, PitchShown, condense, cut};
use ripieno_formats::musicxml::note_id;
use ripieno_formats::{midi, musicxml};
use ripieno_instruments::printed;
use ripieno_score::{BarIndex, Unroll};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{ScorePath, bad, blocking, number};
use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};
use crate::takeaway::{Named, attachment};

/// Bars engraved for the page at one time.
pub(crate) const MOST_BARS: u32 = 64;
/// A page of paper, A4 upright, in pixels.
const PAPER: Layout = Layout { width: 794, staff: 14.0, height: Some(1123) };

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new().routes(routes!(engraved)).routes(routes!(page)).routes(routes!(file))
}

/// Which staves an excerpt has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Staves {
    /// Of every part of the score.
    Full,
    /// Of the parts that play in these bars.
    #[default]
    Sounding,
    /// One for each layer of the texture, at sounding pitch.
    Layers,
}

/// What is to be engraved.
#[derive(Debug, Clone, PartialEq, Deserialize, IntoParams)]
pub(crate) struct Wish {
    /// First bar, from 0.
    pub first: u32,
    /// Last bar, from 0.
    pub last: u32,
    /// Which staves; "sounding" without it.
    #[serde(default)]
    #[param(inline)]
    pub staves: Staves,
    /// At concert pitch rather than as written.
    #[serde(default)]
    pub concert: bool,
    /// Notes in the ink of their roles.
    #[serde(default)]
    pub roles: bool,
    /// Width in pixels, 320 to 4000; 1100 without it.
    #[serde(default = "usual_width")]
    pub width: u32,
    /// Height of a staff in pixels, 10 to 40; 16 without it.
    #[serde(default = "usual_staff")]
    pub staff: u32,
}

const fn usual_width() -> u32 {
    1100
}

const fn usual_staff() -> u32 {
    16
}

/// A bar on a page, in pixels from its upper left corner.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct BarPlace {
    /// The bar, from 0.
    pub bar: u32,
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

/// An engraved page: its picture is `excerpt/page`; here is what stands where.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct PagePlan {
    pub width: f64,
    pub height: f64,
    /// Height of a notehead.
    pub head: f64,
    /// Left edges of the noteheads, in pixels.
    pub x: Vec<f64>,
    /// Their middles.
    pub y: Vec<f64>,
    /// The span each belongs to; -1 where there is none.
    pub span: Vec<i64>,
    /// Part and written note each stands for; -1 where it stands for none.
    pub part: Vec<i64>,
    pub note: Vec<i64>,
    pub bars: Vec<BarPlace>,
}

/// An excerpt as the page shows it.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct ExcerptShown {
    /// Why there is no picture, in one sentence: this program was built without the engraver. Empty otherwise.
    pub missing: String,
    /// Parts, or layers, in it.
    pub staves: Vec<String>,
    pub pages: Vec<PagePlan>,
}

/// Pages with their pictures.
#[derive(Debug)]
pub(crate) struct Engraved {
    shown: ExcerptShown,
    pictures: Vec<Page>,
}

impl Engraved {
    pub(crate) fn bytes(&self) -> usize {
        self.pictures.iter().map(|page| page.svg.len()).sum::<usize>()
            + self.shown.pages.iter().map(|page| page.x.len() * 24).sum::<usize>()
    }
}

/// What the program says that has no engraver.
const NO_ENGRAVER: &str = "This program came without its engraver, so no score can be drawn. The bars can be taken away as MusicXML and opened \
elsewhere";

impl Wish {
    fn check(&self, bars: usize) -> Outcome<()> {
        let last_bar = bars.saturating_sub(1);
        if self.first > self.last || self.last as usize > last_bar {
            return Err(Failure::refused(format!(
                "there are no bars {} to {}; the score's are 0 to {last_bar}",
                self.first, self.last
            )));
        }
        if !(320..=4000).contains(&self.width) || !(10..=40).contains(&self.staff) {
            return Err(Failure::refused("the page is 320 to 4000 pixels wide, a staff 10 to 40 pixels high"));
        }
        Ok(())
    }

    fn check_length(&self) -> Outcome<()> {
        let bars = self.last - self.first + 1;
        if bars > MOST_BARS {
            return Err(Failure::refused(format!(
                "{bars} bars are more than is engraved at once; choose up to {MOST_BARS}, or take them away as MusicXML"
            )));
        }
        Ok(())
    }

    fn cut(&self, open: &Open) -> Outcome<Excerpt> {
        let study = &open.study;
        let (first, last) = (BarIndex(self.first), BarIndex(self.last));
        let refused = |error: &dyn std::fmt::Display| Failure::refused(error.to_string());
        if self.staves == Staves::Layers {
            let (names, staves) = layer_staves(&study.score, &study.sounding, &study.lines, &study.roles.roles, (first, last));
            return condense(&study.score, (first, last), &names, &staves).map_err(|error| refused(&error));
        }
        let parts = if self.staves == Staves::Full { Parts::All } else { Parts::Sounding };
        let pitch = if self.concert { PitchShown::Concert } else { PitchShown::Written };
        cut(&study.score, &Cut { parts, pitch, ..Cut::bars(first, last) }).map_err(|error| refused(&error))
    }

    /// Pages in this layout, with the excerpt they show; `spans` are those of its bars.
    fn engrave(&self, desk: &Desk, open: &Open, spans: &NoteSpans, layout: &Layout) -> Outcome<(Excerpt, Vec<Page>)> {
        let mut excerpt = self.cut(open)?;
        for part in &mut excerpt.score.parts {
            part.name = printed(&part.name);
        }
        let roles = self.roles.then(|| roles_of_excerpt(spans, &open.study.roles.roles, &excerpt.origin));
        let engraver = desk.media.engraver().map_err(said)?;
        let pages = engrave_score(&*engraver, &excerpt.score, layout, roles.as_ref(), &excerpt.held_over).map_err(said)?;
        Ok((excerpt, pages))
    }
}

fn said(error: EngraveError) -> Failure {
    match error {
        EngraveError::NotBuiltIn => Failure::refused(NO_ENGRAVER),
        EngraveError::Busy => Failure::new(StatusCode::TOO_MANY_REQUESTS, error.to_string()),
        EngraveError::NotStarted(_) => Failure::machine(error.to_string()),
        other => Failure::refused(other.to_string()),
    }
}

/// The spans of the notes in the bars wished for.
fn spans(open: &Open, wish: &Wish) -> NoteSpans {
    let study = &open.study;
    let bars = (BarIndex(wish.first), BarIndex(wish.last));
    note_spans(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars)
}

/// Engraves, or takes what was engraved before.
async fn made(desk: &Desk, score: i64, wish: Wish) -> Outcome<Arc<Engraved>> {
    let open = desk.opened(score)?;
    wish.check(open.study.score.bars.len())?;
    wish.check_length()?;
    let key = (score, open.revision, wish.clone());
    if let Some(known) = desk.media.engraved(&key) {
        return Ok(known);
    }
    let closed = |_| Failure::machine("the desk is closing");
    let turn = Arc::clone(&desk.media.engraving).acquire_owned().await.map_err(closed)?;
    if let Some(known) = desk.media.engraved(&key) {
        return Ok(known);
    }
    let desk = desk.clone();
    blocking(move || {
        // Kept until the engraving is done, also where nobody waits for it any more.
        let _turn = turn;
        let spans = spans(&open, &wish);
        let layout = Layout { width: wish.width, staff: f64::from(wish.staff), height: None };
        let (excerpt, pictures) = wish.engrave(&desk, &open, &spans, &layout)?;
        let shown = shown(&excerpt, &pictures, &spans, wish.first);
        Ok(desk.media.keep(key, Engraved { shown, pictures }))
    })
    .await
}

fn names(excerpt: &Excerpt) -> Vec<String> {
    excerpt.score.parts.iter().map(|part| printed(&part.name)).collect()
}

fn shown(excerpt: &Excerpt, pictures: &[Page], spans: &NoteSpans, first: u32) -> ExcerptShown {
    // Part, note and span of each notehead.
    let ids: BTreeMap<String, [i64; 3]> = excerpt
        .origin
        .iter()
        .enumerate()
        .flat_map(|(part, notes)| notes.iter().enumerate().map(move |(note, from)| (note_id(part, note), from)))
        .filter_map(|(id, from)| {
            let span = spans.get(from.part, from.note as usize);
            let span = span.map_or(Some(-1), |span| i64::try_from(span).ok())?;
            Some((id, [i64::try_from(from.part).ok()?, i64::from(from.note), span]))
        })
        .collect();
    let pixel = |value: f64| (value * 10.0).round() / 10.0;
    let mut bar = first;
    let pages = pictures.iter().map(|page| {
        let plan = page.plan();
        let bars = plan.bars.iter().map(|place| {
            bar += 1;
            BarPlace {
                bar: bar - 1,
                x: pixel(place.x),
                y: pixel(place.y),
                width: pixel(place.width),
                height: pixel(place.height),
            }
        });
        let of = |column: usize| plan.heads.iter().map(|head| ids.get(&head.id).map_or(-1, |of| of[column])).collect();
        PagePlan {
            width: page.width,
            height: page.height,
            head: pixel(plan.head),
            bars: bars.collect(),
            x: plan.heads.iter().map(|head| pixel(head.x)).collect(),
            y: plan.heads.iter().map(|head| pixel(head.y)).collect(),
            span: of(2),
            part: of(0),
            note: of(1),
        }
    });
    ExcerptShown { missing: String::new(), pages: pages.collect(), staves: names(excerpt) }
}

/// Bars of an open score engraved: what stands where on its pages
#[utoipa::path(get, path = "/api/scores/{score}/excerpt", params(("score" = i64, Path), Wish), responses((status = 200, body = ExcerptShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 429, body = Failure), (status = 507, body = Failure)))]
async fn engraved(
    State(desk): State<Desk>,
    score: ScorePath,
    wish: Result<Query<Wish>, QueryRejection>,
) -> Outcome<Json<ExcerptShown>> {
    let (score, Query(wish)) = (number(score)?, wish.map_err(bad)?);
    if !IS_BUILT_IN {
        let open = desk.opened(score)?;
        wish.check(open.study.score.bars.len())?;
        let excerpt = blocking(move || wish.cut(&open)).await?;
        return Ok(Json(ExcerptShown { missing: NO_ENGRAVER.to_owned(), staves: names(&excerpt), pages: Vec::new() }));
    }
    Ok(Json(made(&desk, score, wish).await?.shown.clone()))
}

#[derive(Debug, Deserialize, IntoParams)]
struct Sheet {
    /// The page, from 0.
    #[serde(default)]
    page: usize,
}

/// The picture of a page of an excerpt
#[utoipa::path(get, path = "/api/scores/{score}/excerpt/page", params(("score" = i64, Path), Wish, Sheet), responses((status = 200, content_type = "image/svg+xml", body = String), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 429, body = Failure), (status = 507, body = Failure)))]
async fn page(
    State(desk): State<Desk>,
    score: ScorePath,
    wish: Result<Query<Wish>, QueryRejection>,
    sheet: Result<Query<Sheet>, QueryRejection>,
) -> Outcome<Response> {
    let (score, Query(wish), Query(sheet)) = (number(score)?, wish.map_err(bad)?, sheet.map_err(bad)?);
    let made = made(&desk, score, wish).await?;
    let page = made.pictures.get(sheet.page).ok_or_else(|| Failure::not_there("the excerpt has no such page"))?;
    Ok(([(header::CONTENT_TYPE, HeaderValue::from_static("image/svg+xml"))], page.svg.clone()).into_response())
}

/// What an excerpt is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
enum Form {
    MusicXml,
    Mid,
    Svg,
    Png,
    Pdf,
}

#[derive(Debug, Deserialize, IntoParams)]
struct As {
    #[param(inline)]
    form: Form,
}

/// An excerpt as a file: MusicXML, MIDI, SVG, PNG or PDF
#[utoipa::path(get, path = "/api/scores/{score}/excerpt/file", params(("score" = i64, Path), Wish, As), responses((status = 200, content_type = "application/octet-stream", body = Vec<u8>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 429, body = Failure), (status = 507, body = Failure)))]
async fn file(
    State(desk): State<Desk>,
    score: ScorePath,
    wish: Result<Query<Wish>, QueryRejection>,
    form: Result<Query<As>, QueryRejection>,
) -> Outcome<Response> {
    let (score, Query(wish), Query(As { form })) = (number(score)?, wish.map_err(bad)?, form.map_err(bad)?);
    let open = desk.opened(score)?;
    wish.check(open.study.score.bars.len())?;
    let what = if wish.staves == Staves::Layers { "layers" } else { "score" };
    let named = Named { study: &open.study, bars: Some((wish.first, wish.last)), what };
    let named = |ending: &str| named.file(ending);
    let (kind, name, bytes) = match form {
        Form::MusicXml => (
            "application/vnd.recordare.musicxml+xml",
            named("musicxml"),
            plain(&open, wish, |excerpt| musicxml::write(&excerpt.score).into_bytes()).await?,
        ),
        Form::Mid => {
            ("audio/midi", named("mid"), plain(&open, wish, |excerpt| midi::write(&excerpt.score, Unroll::AsPlayed)).await?)
        }
        Form::Pdf => {
            wish.check_length()?;
            let closed = |_| Failure::machine("the desk is closing");
            let turn = Arc::clone(&desk.media.engraving).acquire_owned().await.map_err(closed)?;
            let (desk, open) = (desk.clone(), Arc::clone(&open));
            let bytes = blocking(move || {
                let _turn = turn;
                let (_, pages) = wish.engrave(&desk, &open, &spans(&open, &wish), &PAPER)?;
                pdf(&pages).map_err(|error| Failure::refused(error.to_string()))
            });
            ("application/pdf", named("pdf"), bytes.await?)
        }
        Form::Svg | Form::Png => {
            let made = made(&desk, score, wish).await?;
            let [one] = &made.pictures[..] else {
                return Err(Failure::refused("this is more than one picture holds; choose fewer bars, or take it as PDF"));
            };
            if form == Form::Svg {
                ("image/svg+xml", named("svg"), one.svg.clone().into_bytes())
            } else {
                let one = one.clone();
                let drawn = blocking(move || {
                    png(&one, one.width_in_pixels() * 2)
                        .or_else(|_| png(&one, one.width_in_pixels()))
                        .map_err(|error| Failure::refused(error.to_string()))
                });
                ("image/png", named("png"), drawn.await?)
            }
        }
    };
    Ok(attachment(kind, &name, bytes))
}

async fn plain(open: &Arc<Open>, wish: Wish, write: impl FnOnce(&Excerpt) -> Vec<u8> + Send + 'static) -> Outcome<Vec<u8>> {
    let open = Arc::clone(open);
    blocking(move || Ok(write(&wish.cut(&open)?))).await
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::media::trial::DEMO;
    use axum::extract::Path;

    fn wish(first: u32, last: u32) -> Wish {
        Wish { first, last, staves: Staves::Sounding, concert: false, roles: true, width: 1100, staff: 16 }
    }

    async fn asked(wish: Wish) -> Outcome<ExcerptShown> {
        engraved(State(DEMO.clone()), Ok(Path(1)), Ok(Query(wish))).await.map(|Json(shown)| shown)
    }

    #[tokio::test]
    async fn what_cannot_be_shown_is_said_in_a_sentence() {
        for (wrong, says) in [
            (wish(9, 5), "there are no bars 9 to 5"),
            (wish(0, 4000), "there are no bars"),
            (Wish { width: 5, ..wish(0, 1) }, "320 to 4000 pixels"),
        ] {
            let failure = asked(wrong).await.unwrap_err();
            assert!(failure.status == 422 && failure.message.contains(says), "{}", failure.message);
        }
        let many = wish(0, MOST_BARS);
        let failure = many.check_length().unwrap_err();
        assert_eq!(failure.message, "65 bars are more than is engraved at once; choose up to 64, or take them away as MusicXML");
    }

    /// Without the engraver the page hears why, and whose staves it would be.
    #[tokio::test]
    async fn without_the_engraver_musicxml_is_still_there() {
        if IS_BUILT_IN {
            return;
        }
        let shown = asked(wish(35, 36)).await.unwrap();
        assert!(shown.missing == NO_ENGRAVER && shown.pages.is_empty() && shown.staves.len() > 20);
        let answer = file(State(DEMO.clone()), Ok(Path(1)), Ok(Query(wish(35, 36))), Ok(Query(As { form: Form::Pdf }))).await;
        assert_eq!(answer.unwrap_err().status, 422);
    }

    /// Heads lead to spans that play in the bars shown, of parts whose staves are on the page.
    #[tokio::test]
    async fn heads_lead_to_the_spans_of_their_notes() {
        if !IS_BUILT_IN {
            return;
        }
        let shown = asked(wish(35, 38)).await.unwrap();
        assert!(shown.missing.is_empty(), "{}", shown.missing);
        let open = DEMO.opened(1).unwrap();
        let page = &shown.pages[0];
        assert_eq!(page.bars.iter().map(|place| place.bar).collect::<Vec<_>>(), [35, 36, 37, 38]);
        assert!(page.x.len() > 200 && page.x.len() == page.span.len());
        let led: Vec<_> =
            page.span.iter().filter_map(|&span| open.study.roles.roles.spans.get(usize::try_from(span).ok()?)).collect();
        assert!(led.len() * 10 > page.span.len() * 9, "{} of {}", led.len(), page.span.len());
        for span in led {
            assert!(span.bars.start <= 38 && span.bars.end > 35);
            assert!(shown.staves.contains(&printed(&open.study.score.parts[span.part].name)));
        }
        assert!(page.x.iter().zip(&page.y).all(|(&x, &y)| (0.0..page.width).contains(&x) && (0.0..page.height).contains(&y)));
    }

    /// What is told of some bars is what is told of them in the whole: notes held into them, layers and all.
    #[tokio::test]
    async fn bars_by_themselves_have_the_spans_of_the_whole() {
        let open = DEMO.opened(1).unwrap();
        let study = &open.study;
        let last = u32::try_from(study.score.bars.len()).unwrap() - 1;
        let of = |first, last| {
            note_spans(&study.score, &study.sounding, &study.lines, &study.roles.roles, (BarIndex(first), BarIndex(last)))
        };
        let whole = of(0, last);
        let begun: BTreeSet<(u16, u32)> =
            study.sounding.notes.part.iter().copied().zip(study.sounding.notes.written.iter().copied()).collect();
        let (mut held, mut told) = (0, 0);
        for first in 0..=last {
            let some = of(first, (first + 2).min(last));
            for (index, part) in study.score.parts.iter().enumerate() {
                for (note, written) in part.notes.iter().enumerate() {
                    let is_within = (first..=first + 2).contains(&written.bar.0);
                    let expected = if is_within { whole.get(index, note) } else { None };
                    assert_eq!(some.get(index, note), expected, "{} bar {} note {note}", part.name, written.bar.0);
                    told += usize::from(expected.is_some());
                    let begins = begun.contains(&(u16::try_from(index).unwrap(), u32::try_from(note).unwrap()));
                    held += usize::from(expected.is_some() && written.bar.0 == first && !begins);
                }
            }
        }
        assert!(told > 10_000 && held > 20, "{told} told, {held} held over");
    }

    #[tokio::test]
    async fn a_file_says_piece_and_bars() {
        let answer = file(State(DEMO.clone()), Ok(Path(1)), Ok(Query(wish(35, 36))), Ok(Query(As { form: Form::MusicXml })))
            .await
            .unwrap();
        let named = answer.headers()[header::CONTENT_DISPOSITION].to_str().unwrap().to_owned();
        assert!(named.contains("The-Boat-Goes-Out-bars-35-36-score.musicxml"), "{named}");
        let bytes = axum::body::to_bytes(answer.into_body(), 64 << 20).await.unwrap();
        let read = ripieno_formats::read("a.musicxml", &bytes, &ripieno_formats::Limits::default()).unwrap();
        assert_eq!(read.score.bars.iter().map(|bar| &*bar.number).collect::<Vec<_>>(), ["35", "36"]);
    }
}
