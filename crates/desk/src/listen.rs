//! A passage as sound, streamed section by section while it is rendered; and as a sound file.
//!
//! A stream is a row of packets, each an eighth of a second: number of frames, a mask of the sections that sound in it (two words), the
//! place of its first frame, all as 32-bit numbers with the least byte first; then for each sounding section its left and its right
//! samples as 32-bit floats. Nothing is rendered before the one before has been taken, so a page that stops reading stops the work.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::convert::Infallible;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::Json;
use axum::body::{Body, Bytes};
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use ripieno_score::{Sounding, Unroll};
use ripieno_sound::groups::Group;
use ripieno_sound::loudness::{TARGET, gain_for};
use ripieno_sound::{Chunk, FontRenderer, Format, Options, Passage, Renderer, Selection, encode, mix};
use ripieno_texture::techniques;
use serde::{Deserialize, Serialize};
use tokio::sync::{mpsc, oneshot};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{ScorePath, bad, blocking, number};
use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};
use crate::media::OfStudy;
use crate::takeaway::{Named, attachment};

/// Packets made ahead of what has been sent.
const AHEAD: usize = 4;
/// Seconds of a sound file.
const LONGEST_FILE: f64 = 900.0;
/// Sections a mask has room for.
const MOST_SECTIONS: usize = 64;

/// Said wherever sound can be switched on.
const CAUTION: &str = "Start at a low volume. The level is fixed for the whole piece: soft and loud lie as far apart as in a hall, and who turns up \
the soft bars meets the tutti unprepared. Long loud listening harms hearing; follow the rules that hold where you work.";

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new().routes(routes!(sound)).routes(routes!(stream)).routes(routes!(sound_file))
}

/// A score made ready to be heard.
#[derive(Debug)]
pub(crate) struct Prepared {
    passage: Passage,
    bars: Vec<HeardBar>,
    assumed: bool,
}

/// A bar as it is heard.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct HeardBar {
    /// The bar, from 0 in page order.
    pub bar: u32,
    /// Seconds from the start of the piece at the written tempo.
    pub from: f64,
    pub to: f64,
}

/// What can be heard of a score.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Sound {
    /// Samples a second.
    pub rate: u32,
    /// Names of the sections, in the order of the masks of a stream.
    pub sections: Vec<String>,
    /// Bars in the order they are heard, repeats played out.
    pub bars: Vec<HeardBar>,
    /// Whether the score gives no tempo and 120 crotchets a minute were taken.
    pub assumed: bool,
    /// Whether a SoundFont plays instead of the built-in instruments.
    pub soundfont: bool,
    /// What to mind about one's ears.
    pub caution: String,
}

fn prepared<'a>(open: &Open, of: &'a OfStudy) -> &'a Prepared {
    of.sound.get_or_init(|| {
        let score = &open.study.score;
        let sounding = Sounding::new(score, Unroll::AsPlayed);
        let seconds = |at| sounding.tempo.seconds(at);
        let bars = sounding.bars.iter().map(|bar| HeardBar {
            bar: bar.bar.0,
            from: seconds(bar.start),
            to: seconds(bar.start + bar.length),
        });
        Prepared {
            bars: bars.collect(),
            assumed: sounding.tempo.assumed,
            passage: Passage::new(score, &sounding, &techniques(score, &sounding)),
        }
    })
}

fn sections(open: &Open) -> Vec<Group> {
    let all = open.study.groups.sections.iter();
    all.take(MOST_SECTIONS).map(|section| Group { name: section.name.to_owned(), parts: section.parts.clone() }).collect()
}

/// What can be heard of an open score, and where its bars lie in time
#[utoipa::path(get, path = "/api/scores/{score}/sound", params(("score" = i64, Path)), responses((status = 200, body = Sound), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure)))]
async fn sound(State(desk): State<Desk>, score: ScorePath) -> Outcome<Json<Sound>> {
    let score = number(score)?;
    blocking(move || {
        let open = desk.opened(score)?;
        let of = desk.media.of(&open);
        let prepared = prepared(&open, &of);
        Ok(Sound {
            rate: Options::default().rate,
            sections: sections(&open).into_iter().map(|group| group.name).collect(),
            bars: prepared.bars.clone(),
            assumed: prepared.assumed,
            soundfont: desk.media.font().is_some(),
            caution: CAUTION.to_owned(),
        })
    })
    .await
    .map(Json)
}

/// What is to be heard.
#[derive(Debug, Clone, PartialEq, Deserialize, IntoParams)]
struct Heard {
    /// From this moment, in seconds at the written tempo.
    from: f64,
    /// To this one.
    to: f64,
    /// Share of the written tempo, 0.25 to 1; the pitch stays.
    #[serde(default = "written")]
    pace: f64,
}

const fn written() -> f64 {
    1.0
}

impl Heard {
    fn check(&self) -> Outcome<()> {
        if (0.25..=1.0).contains(&self.pace) && self.from >= 0.0 && self.from < self.to && self.to.is_finite() {
            return Ok(());
        }
        Err(Failure::refused("there is nothing to hear there: the end comes after the beginning, and the pace is 0.25 to 1"))
    }

    /// What of a piece that is, as far as the piece goes.
    fn of(&self, prepared: &Prepared, groups: Vec<Group>) -> Result<Selection, String> {
        let to = self.to.min(prepared.passage.seconds());
        if self.from >= to {
            return Err("the piece is over before that".to_owned());
        }
        Ok(Selection { from: self.from, to, groups })
    }

    fn options(&self) -> Options {
        Options { pace: self.pace, ..Options::default() }
    }
}

/// Renders what is wanted by the instruments in use, and does `work` with the chunks and their number of frames.
fn rendered<T>(
    desk: &Desk,
    prepared: &Prepared,
    selection: &Selection,
    options: &Options,
    work: impl FnOnce(&mut dyn Iterator<Item = Chunk>, u64) -> T,
) -> Result<T, String> {
    match desk.media.font() {
        Some(font) => {
            let mut renderer = FontRenderer::new(&prepared.passage, font, selection, options)?;
            let frames = renderer.frames();
            Ok(work(&mut renderer, frames))
        }
        None => {
            let mut renderer = Renderer::new(&prepared.passage, selection, options)?;
            let frames = renderer.frames();
            Ok(work(&mut renderer, frames))
        }
    }
}

/// Sound of an open score as it is rendered, a stem for each section; the form of its packets is told in docs/desk.md
#[utoipa::path(get, path = "/api/scores/{score}/sound/stream", params(("score" = i64, Path), Heard), responses((status = 200, content_type = "application/octet-stream", body = Vec<u8>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 429, body = Failure), (status = 507, body = Failure)))]
async fn stream(State(desk): State<Desk>, score: ScorePath, heard: Result<Query<Heard>, QueryRejection>) -> Outcome<Response> {
    let (score, Query(heard)) = (number(score)?, heard.map_err(bad)?);
    heard.check()?;
    let open = desk.opened(score)?;
    let many = |_| Failure::new(StatusCode::TOO_MANY_REQUESTS, "several passages are being played already; stop one of them");
    let turn = Arc::clone(&desk.media.streams).try_acquire_owned().map_err(many)?;
    let (send, receive) = mpsc::channel::<Result<Bytes, Infallible>>(AHEAD);
    let (tell, told) = oneshot::channel::<()>();
    let work = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        let of = desk.media.of(&open);
        let prepared = prepared(&open, &of);
        let selection = heard.of(prepared, sections(&open))?;
        rendered(&desk, prepared, &selection, &heard.options(), |chunks, _| {
            let _ = tell.send(());
            for chunk in chunks {
                // Whoever listened has gone.
                if send.blocking_send(Ok(packet(&chunk))).is_err() {
                    return;
                }
            }
        })
    });
    if told.await.is_err() {
        // It ended before the first sound: it says why.
        let why = work.await.ok().and_then(Result::err);
        return Err(Failure::refused(why.unwrap_or_else(|| "there is nothing to hear there".to_owned())));
    }
    let packets =
        futures_util::stream::unfold(receive, |mut receive| async { receive.recv().await.map(|packet| (packet, receive)) });
    Ok(([(header::CONTENT_TYPE, "application/octet-stream")], Body::from_stream(packets)).into_response())
}

/// One chunk as bytes.
fn packet(chunk: &Chunk) -> Bytes {
    let frames = chunk.stems.first().map_or(0, |stem| stem.left.len());
    let mut mask = 0u64;
    for (section, stem) in chunk.stems.iter().enumerate().take(MOST_SECTIONS) {
        if stem.peak() > 0.0 {
            mask |= 1 << section;
        }
    }
    let mut bytes = Vec::with_capacity(16 + mask.count_ones() as usize * frames * 8);
    #[allow(clippy::cast_possible_truncation)] // an eighth of a second; places wrap after a day of sound
    let words = [frames as u32, mask as u32, (mask >> 32) as u32, chunk.first as u32];
    words.iter().for_each(|word| bytes.extend_from_slice(&word.to_le_bytes()));
    for (section, stem) in chunk.stems.iter().enumerate().take(MOST_SECTIONS) {
        if mask & (1 << section) != 0 {
            stem.left.iter().chain(&stem.right).for_each(|sample| bytes.extend_from_slice(&sample.to_le_bytes()));
        }
    }
    Bytes::from(bytes)
}

#[derive(Debug, Deserialize, IntoParams)]
struct Who {
    /// First bar, from 0, for the file's name.
    first: u32,
    /// Last bar, from 0, for the file's name.
    last: u32,
    /// Sections to be heard by their places in `sections`, joined by dots: "0.3.4"; all without it.
    #[serde(default)]
    sections: String,
}

/// Stops a recording when nobody waits for it any more.
struct Waits(Arc<AtomicBool>);

impl Drop for Waits {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// A passage as a WAV file, 24 bits, at -23 LUFS by EBU R 128
#[utoipa::path(get, path = "/api/scores/{score}/sound/file", params(("score" = i64, Path), Heard, Who), responses((status = 200, content_type = "audio/wav", body = Vec<u8>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn sound_file(
    State(desk): State<Desk>,
    score: ScorePath,
    heard: Result<Query<Heard>, QueryRejection>,
    who: Result<Query<Who>, QueryRejection>,
) -> Outcome<Response> {
    let (score, Query(heard), Query(who)) = (number(score)?, heard.map_err(bad)?, who.map_err(bad)?);
    heard.check()?;
    if (heard.to - heard.from) / heard.pace > LONGEST_FILE {
        return Err(Failure::refused(
            "more than a quarter of an hour of sound; choose fewer bars, or write it with `ripieno hear`",
        ));
    }
    let open = desk.opened(score)?;
    let mut groups = sections(&open);
    let count = groups.len();
    if !who.sections.is_empty() {
        let chosen: Option<Vec<usize>> =
            who.sections.split('.').map(|text| text.parse().ok().filter(|&place| place < count)).collect();
        let chosen = chosen
            .ok_or_else(|| Failure::refused(format!("the score has {count} sections; name them by their places, from 0")))?;
        groups = groups.into_iter().enumerate().filter(|(place, _)| chosen.contains(place)).map(|(_, group)| group).collect();
    }
    let name = Named { study: &open.study, bars: Some((who.first, who.last)), what: "sound" }.file("wav");
    let closed = |_| Failure::machine("the desk is closing");
    let turn = Arc::clone(&desk.media.recording).acquire_owned().await.map_err(closed)?;
    let gone = Arc::new(AtomicBool::new(false));
    let waits = Waits(Arc::clone(&gone));
    let bytes = blocking(move || {
        let _turn = turn;
        let of = desk.media.of(&open);
        let prepared = prepared(&open, &of);
        let selection = heard.of(prepared, groups).map_err(Failure::refused)?;
        let options = heard.options();
        let progress = |_| if gone.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
        let mixed = rendered(&desk, prepared, &selection, &options, |chunks, frames| mix(chunks, frames, progress));
        let mut whole = mixed.and_then(|mixed| mixed).map_err(Failure::refused)?;
        let level = gain_for(&whole, options.rate, TARGET).map_err(Failure::refused)?;
        let Some((gain, _)) = level else { return Err(Failure::refused("none of the players chosen has a note in these bars")) };
        whole.scale(gain);
        encode(&whole, options.rate, Format::Wav).map_err(Failure::refused)
    })
    .await;
    drop(waits);
    Ok(attachment("audio/wav", &name, bytes?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;
    use crate::media::{STREAMS, trial::DEMO};
    use axum::extract::Path;
    use futures_util::StreamExt;
    use ripieno_sound::Stereo;

    #[test]
    fn a_packet_leaves_silent_sections_out() {
        let stem = |sample: f32| Stereo { left: vec![sample; 2], right: vec![-sample; 2] };
        let bytes = packet(&Chunk { first: 7, stems: vec![stem(0.0), stem(0.5), stem(0.0)] });
        let word = |at: usize| u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]);
        assert_eq!([word(0), word(4), word(8), word(12)], [2, 0b10, 0, 7]);
        assert_eq!(bytes.len(), 16 + 4 * 4);
        assert_eq!([word(16), word(24)], [0.5f32.to_bits(), (-0.5f32).to_bits()]);
    }

    #[test]
    fn every_section_has_a_place_in_the_mask() {
        assert!(ripieno_instruments::Section::ALL.len() <= MOST_SECTIONS);
    }

    /// What is streamed section by section is, added up, what `ripieno hear` would mix; and who stops listening stops the rendering.
    #[tokio::test]
    async fn the_stems_of_a_stream_are_the_sound() {
        let heard = Heard { from: 60.0, to: 60.5, pace: 1.0 };
        let answer = stream(State(DEMO.clone()), Ok(Path(1)), Ok(Query(heard.clone()))).await.unwrap();
        let mut bytes = answer.into_body().into_data_stream();
        let first = bytes.next().await.unwrap().unwrap();
        drop(bytes);
        let word = |at: usize| u32::from_le_bytes([first[at], first[at + 1], first[at + 2], first[at + 3]]);
        let (frames, count) = (word(0) as usize, (word(4).count_ones() + word(8).count_ones()) as usize);
        let samples: Vec<f32> =
            first[16..].chunks_exact(4).map(|four| f32::from_le_bytes([four[0], four[1], four[2], four[3]])).collect();
        assert_eq!((samples.len(), word(12)), (count * frames * 2, 0));
        let left: Vec<f32> = (0..frames).map(|at| (0..count).map(|section| samples[section * frames * 2 + at]).sum()).collect();
        let open = DEMO.opened(1).unwrap();
        let of = DEMO.media.of(&open);
        let selection = Selection { from: heard.from, to: heard.to, groups: sections(&open) };
        let mut renderer = Renderer::new(&prepared(&open, &of).passage, &selection, &heard.options()).unwrap();
        let chunk = renderer.next().unwrap();
        let expected: Vec<f32> = (0..frames).map(|at| chunk.stems.iter().map(|stem| stem.left[at]).sum()).collect();
        assert!(left.iter().zip(&expected).all(|(a, b)| (a - b).abs() < 1e-6) && left.iter().any(|sample| sample.abs() > 1e-4));
        for _ in 0..200 {
            if DEMO.media.streams.available_permits() == STREAMS {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        assert!(DEMO.media.streams.available_permits() == STREAMS, "the rendering goes on");
    }

    #[tokio::test]
    async fn nothing_to_hear_is_said() {
        for (from, to, pace) in
            [(5.0, 5.0, 1.0), (f64::NAN, 2.0, 1.0), (0.0, f64::INFINITY, 1.0), (0.0, 2.0, 9.0), (1e8, 1e9, 1.0)]
        {
            let answer = stream(State(DEMO.clone()), Ok(Path(1)), Ok(Query(Heard { from, to, pace }))).await;
            assert_eq!(answer.unwrap_err().status, 422, "{from} {to} {pace}");
        }
    }

    /// Bars lie one after the other, and the last ends where the piece ends.
    #[tokio::test]
    async fn bars_lie_in_time() {
        let Json(told) = sound(State(DEMO.clone()), Ok(Path(1))).await.unwrap();
        assert!(told.bars.windows(2).all(|pair| (pair[0].to - pair[1].from).abs() < 1e-9));
        assert!(told.bars.len() >= 109);
        assert!(told.caution.contains("low volume") && told.sections.contains(&"horns".to_owned()));
    }
}
