//! Pictures and tables to take away, and how files are called.
#![allow(unused_qualifications)] // what the description of a path expands to

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use ripieno_engraving::{Page, pdf, png};
use ripieno_pictures::{Key, band_chart, bar_map, register_chart, sheet};
use ripieno_report::{Register, balance_keys, band_keys, melody_map, register_bands, role_map, tables};
use ripieno_study::Study;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{ScorePath, bad, blocking, number};
use crate::balance::Heard;
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::weigher::Mapped;

/// Most letters of a title in a file's name.
const MOST_LETTERS: usize = 60;

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new().routes(routes!(picture)).routes(routes!(list_tables)).routes(routes!(table))
}

/// What a file is called after.
pub(crate) struct Named<'a> {
    pub study: &'a Study,
    /// First and last bar, from 0.
    pub bars: Option<(u32, u32)>,
    pub what: &'a str,
}

impl Named<'_> {
    /// "The-Boat-Goes-Out-bars-35-45-roles.svg".
    pub(crate) fn file(&self, ending: &str) -> String {
        let bars = self.bars.map(|(first, last)| {
            let (first, last) = (self.study.bar_label(first), self.study.bar_label(last));
            if first == last { format!(" bar {first}") } else { format!(" bars {first}-{last}") }
        });
        format!("{}.{ending}", slug(&format!("{}{} {}", shortened(&self.study.title()), bars.unwrap_or_default(), self.what)))
    }
}

fn shortened(title: &str) -> String {
    title.chars().take(MOST_LETTERS).collect()
}

/// Letters and figures, everything else as single hyphens.
fn slug(text: &str) -> String {
    let words: Vec<&str> = text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    words.join("-")
}

/// Bytes as a file to be kept under a name (RFC 6266, RFC 8187).
pub(crate) fn attachment(kind: &'static str, name: &str, bytes: Vec<u8>) -> Response {
    let plain: String = name.chars().map(|c| if c.is_ascii_alphanumeric() || "-.".contains(c) { c } else { '_' }).collect();
    let coded: String = name
        .bytes()
        .map(|byte| {
            if byte.is_ascii_alphanumeric() || b"-.".contains(&byte) {
                char::from(byte).to_string()
            } else {
                format!("%{byte:02X}")
            }
        })
        .collect();
    let how = HeaderValue::from_str(&format!("attachment; filename=\"{plain}\"; filename*=UTF-8''{coded}"));
    let how = how.unwrap_or(HeaderValue::from_static("attachment"));
    ([(header::CONTENT_TYPE, HeaderValue::from_static(kind)), (header::CONTENT_DISPOSITION, how)], bytes).into_response()
}

/// A picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
enum Picture {
    /// Who does what, part by part.
    Roles,
    /// Who carries the melody.
    Melody,
    /// From the lowest to the highest note of each instrument.
    Register,
    /// How high and low each family sounds over the bars.
    Bands,
    /// How high and low each section sounds over the bars.
    Sections,
    /// Every note over the bars, in the ink of its role.
    Notes,
    /// How well the melody is heard and how evenly full chords ring, at a seat in the hall or where `place` says.
    Balance,
}

impl Picture {
    const fn name(self) -> &'static str {
        match self {
            Self::Roles => "roles",
            Self::Melody => "melody",
            Self::Register => "compass",
            Self::Bands => "register",
            Self::Sections => "register-sections",
            Self::Notes => "register-notes",
            Self::Balance => "balance",
        }
    }
}

/// What a picture is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
enum Form {
    Svg,
    Png,
    Pdf,
}

#[derive(Debug, Deserialize, IntoParams)]
struct Wanted {
    #[param(inline)]
    what: Picture,
    #[param(inline)]
    form: Form,
    /// First bar, from 0; the first of the piece without it.
    first: Option<u32>,
    /// Last bar, from 0; the last of the piece without it.
    last: Option<u32>,
}

/// Width of a sheet in pixels.
const WIDTH: f64 = 1240.0;

/// A picture; `balance` is what the weigher answers.
fn drawn(study: &Study, wanted: &Wanted, balance: Option<&Mapped>) -> Outcome<Page> {
    let end = u32::try_from(study.sounding.bars.len()).unwrap_or(u32::MAX).saturating_sub(1);
    let (first, last) = (wanted.first.unwrap_or(0), wanted.last.unwrap_or(end));
    if first > last || last > end {
        return Err(Failure::refused(format!("there are no bars {first} to {last}; the score's are 0 to {end}")));
    }
    let columns = first as usize..last as usize + 1;
    let bars = if (first, last) == (0, end) {
        String::new()
    } else {
        format!(", bars {} to {}", study.bar_label(first), study.bar_label(last))
    };
    let title = study.title();
    let (picture, heading, keys) = match wanted.what {
        Picture::Roles => (bar_map(&role_map(study), columns, true), format!("{title}{bars}: who does what"), Key::roles()),
        Picture::Melody => (
            bar_map(&melody_map(study), columns, true),
            format!("{title}{bars}: who carries the melody; pale: who goes along"),
            Vec::new(),
        ),
        Picture::Bands | Picture::Sections | Picture::Notes => {
            let (of, says) = match wanted.what {
                Picture::Sections => (Register::Sections, "how high and low each section sounds"),
                Picture::Notes => (Register::Notes, "every note, coloured by its role"),
                _ => (Register::Families, "how high and low each family sounds"),
            };
            let chart = register_bands(study, columns, of);
            (band_chart(&chart), format!("{title}{bars}: {says}"), band_keys(&chart))
        }
        Picture::Balance => {
            let balance = balance.ok_or_else(|| Failure::machine("the balance was not asked for; please report it"))?;
            let heading = format!("{title}{bars}: is the melody heard? An estimate; heard: {}", balance.place);
            (bar_map(&balance.map, columns, false), heading, balance_keys())
        }
        Picture::Register => (
            register_chart(&ripieno_report::register_chart(study)),
            format!("{title}: from the lowest to the highest note, thick where half of the playing lies"),
            Vec::new(),
        ),
    };
    let made = sheet(&picture, &heading, &keys, WIDTH)
        .ok_or_else(|| Failure::machine("the picture cannot be set on a sheet; please report it"))?;
    Ok(Page { svg: made.svg, width: made.width, height: made.height })
}

/// A picture of an open score
#[utoipa::path(get, path = "/api/scores/{score}/picture", params(("score" = i64, Path), Wanted, Heard), responses((status = 200, content_type = "application/octet-stream", body = Vec<u8>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn picture(
    State(desk): State<Desk>,
    score: ScorePath,
    wanted: Result<Query<Wanted>, QueryRejection>,
    heard: Result<Query<Heard>, QueryRejection>,
) -> Outcome<Response> {
    let (score, Query(wanted), Query(heard)) = (number(score)?, wanted.map_err(bad)?, heard.map_err(bad)?);
    let situation = heard.situation()?;
    let open = desk.opened(score)?;
    // The weigher weighs once for all who ask, one situation at a time.
    let balance = match wanted.what {
        Picture::Balance => Some(desk.weighers.map(&open, situation).await?),
        _ => None,
    };
    blocking(move || {
        let page = drawn(&open.study, &wanted, balance.as_deref())?;
        let what = wanted.what.name();
        let bars = match (wanted.what, wanted.first, wanted.last) {
            (Picture::Register, ..) | (_, None, None) => None,
            (_, first, last) => {
                let end = u32::try_from(open.study.sounding.bars.len()).unwrap_or(u32::MAX).saturating_sub(1);
                Some((first.unwrap_or(0), last.unwrap_or(end)))
            }
        };
        let named = Named { study: &open.study, bars, what };
        let failed = |error: ripieno_engraving::ExportError| Failure::refused(error.to_string());
        Ok(match wanted.form {
            Form::Svg => attachment("image/svg+xml", &named.file("svg"), page.svg.into_bytes()),
            Form::Png => attachment("image/png", &named.file("png"), png(&page, page.width_in_pixels() * 2).map_err(failed)?),
            Form::Pdf => attachment("application/pdf", &named.file("pdf"), pdf(&[page]).map_err(failed)?),
        })
    })
    .await
}

/// A table of a study.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
struct TableEntry {
    /// By which it is asked for.
    name: String,
    /// What it is called on the page and in the file's name: "findings", "ways of playing".
    title: String,
    rows: usize,
}

/// The tables of an open score
#[utoipa::path(get, path = "/api/scores/{score}/tables", params(("score" = i64, Path)), responses((status = 200, body = Vec<TableEntry>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure)))]
async fn list_tables(State(desk): State<Desk>, score: ScorePath) -> Outcome<Json<Vec<TableEntry>>> {
    let score = number(score)?;
    blocking(move || {
        let open = desk.opened(score)?;
        Ok(tables(&open.study)
            .into_iter()
            .map(|table| TableEntry { name: table.name.to_owned(), title: table.title().to_owned(), rows: table.rows.len() })
            .collect())
    })
    .await
    .map(Json)
}

#[derive(Debug, Deserialize, IntoParams)]
struct Which {
    /// The table's name.
    name: String,
}

/// A table of an open score as CSV; docs/tables.md has its columns
#[utoipa::path(get, path = "/api/scores/{score}/table", params(("score" = i64, Path), Which), responses((status = 200, content_type = "text/csv", body = String), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure)))]
async fn table(State(desk): State<Desk>, score: ScorePath, which: Result<Query<Which>, QueryRejection>) -> Outcome<Response> {
    let (score, Query(which)) = (number(score)?, which.map_err(bad)?);
    blocking(move || {
        let open = desk.opened(score)?;
        let Some(table) = tables(&open.study).into_iter().find(|table| table.name == which.name) else {
            return Err(Failure::not_there("there is no such table"));
        };
        let bytes = table.csv().map_err(|error| Failure::machine(error.to_string()))?;
        let name = Named { study: &open.study, bars: None, what: table.title() }.file("csv");
        Ok(attachment("text/csv; charset=utf-8", &name, bytes))
    })
    .await
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;
    use std::sync::Arc;

    use axum::extract::Path;
    use ripieno_study::acoustics::{Plan, Room, Situation};

    use crate::media::trial::DEMO;
    use crate::weigher::Weighers;

    #[test]
    fn files_are_called_after_piece_and_bars() {
        assert_eq!(slug("The Boat Goes Out bars 35-45 roles"), "The-Boat-Goes-Out-bars-35-45-roles");
        assert_eq!(slug("../../Größe: 1/2\u{0} \"x\""), "Größe-1-2-x");
        let answer = attachment("text/csv", "Größe.csv", Vec::new());
        assert_eq!(
            answer.headers()[header::CONTENT_DISPOSITION],
            "attachment; filename=\"Gr__e.csv\"; filename*=UTF-8''Gr%C3%B6%C3%9Fe.csv"
        );
    }

    async fn bytes(answer: Outcome<Response>) -> Vec<u8> {
        axum::body::to_bytes(answer.unwrap().into_body(), 64 << 20).await.unwrap().to_vec()
    }

    #[tokio::test]
    async fn pictures_are_what_their_names_say() {
        let all = [
            Picture::Roles,
            Picture::Melody,
            Picture::Register,
            Picture::Bands,
            Picture::Sections,
            Picture::Notes,
            Picture::Balance,
        ];
        for what in all {
            for (form, begins) in [(Form::Svg, &b"<svg"[..]), (Form::Png, b"\x89PNG"), (Form::Pdf, b"%PDF-")] {
                let wanted = Wanted { what, form, first: Some(35), last: Some(45) };
                let bytes =
                    bytes(picture(State(DEMO.clone()), Ok(Path(1)), Ok(Query(wanted)), Ok(Query(Heard::default()))).await).await;
                assert!(bytes.starts_with(begins), "{what:?} {form:?}");
            }
        }
        // demo/planted/who_does_what.csv: the tuba has the bass from 35 on, the glockenspiel rests until 89.
        let wanted = Wanted { what: Picture::Roles, form: Form::Svg, first: Some(35), last: Some(45) };
        let text = String::from_utf8(
            bytes(picture(State(DEMO.clone()), Ok(Path(1)), Ok(Query(wanted)), Ok(Query(Heard::default()))).await).await,
        )
        .unwrap();
        assert!(text.contains(">Tuba<") && !text.contains(">Glockenspiel<") && text.contains(", bars 35 to 45"));
    }

    #[tokio::test]
    async fn a_situation_is_weighed_once_for_all_who_ask_for_its_picture() {
        let open = DEMO.opened(1).unwrap();
        let weighers = Weighers::default();
        let stage = || Situation::Stage { room: Room::hall(), plan: Plan::ViolinsTogether, part: Some(0) };
        let one = weighers.map(&open, stage()).await.unwrap();
        assert!(Arc::ptr_eq(&one, &weighers.map(&open, stage()).await.unwrap()));
        assert!(one.place.ends_with(", at the desk of Flute 1"), "{}", one.place);
        let balance = open.study.balance(stage()).unwrap();
        assert_eq!(one.map, ripieno_report::balance_map(&open.study, &balance));
    }

    #[tokio::test]
    async fn tables_are_those_of_the_report() {
        let Json(list) = list_tables(State(DEMO.clone()), Ok(Path(1))).await.unwrap();
        assert!(list.iter().any(|one| one.name == "melody" && one.rows > 5));
        // What the page calls findings is called so here, and what was noticed in reading the file is not; every name has its words.
        let title = |name: &str| list.iter().find(|one| one.name == name).unwrap().title.as_str();
        assert_eq!([title("noteworthy"), title("findings")], ["findings", "remarks on the file"]);
        let mut titles: Vec<&str> = list.iter().map(|one| one.title.as_str()).collect();
        titles.sort_unstable();
        titles.dedup();
        assert_eq!(titles.len(), list.len(), "{titles:?}");
        let csv = bytes(table(State(DEMO.clone()), Ok(Path(1)), Ok(Query(Which { name: "melody".to_owned() }))).await).await;
        assert_eq!(csv, ripieno_report::melody(&DEMO.opened(1).unwrap().study).csv().unwrap());
        let none = table(State(DEMO.clone()), Ok(Path(1)), Ok(Query(Which { name: "../x".to_owned() }))).await;
        assert_eq!(none.unwrap_err().status, 404);
    }
}
