//! Score and parts, lists, pages and sound as one file to take away: what `ripieno deliver` writes into a folder.

use std::io::{Cursor, Write};
use std::ops::ControlFlow;
use std::sync::Arc;

use ripieno_deliver::{BookOptions, Ended, Order, Pages, Paper, Receiver, Unresolved, deliver, file_name, prove};
use ripieno_engraving::IS_BUILT_IN;
use ripieno_players::{Level, Options as CheckOptions, check};
use ripieno_score::{Score, Sounding, Unroll};
use ripieno_sound::groups::{Gather, Group as SoundGroup, gather};
use ripieno_sound::loudness::{TARGET, gain_for};
use ripieno_sound::{Format, Options as SoundOptions, Passage, Renderer, Selection, Stereo, encode, mix, render};
use ripieno_texture::techniques;
use serde::Deserialize;
use utoipa::ToSchema;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::drafts::{entitled, place_of_score};
use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};
use crate::jobs::{Job, Stage};

/// Most seconds that are played for a delivery.
const LONGEST_SOUND: f64 = 900.0;
/// Most frames of all stems together that are held at one time: 1.3 gigabytes, an hour.
const MOST_HELD: u64 = 3600 * 44_100;
/// Rests of this many bars get a cue before the entry.
const CUE_AFTER: u32 = 8;

/// What goes into a delivery.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, ToSchema)]
pub(crate) struct DeliveryWanted {
    /// Paper of the parts: orchestra, a4 or b4.
    #[serde(default)]
    pub paper: String,
    /// Also played, whole and section by section.
    #[serde(default)]
    pub sound: bool,
    /// Who will play: professional, amateur or student.
    #[serde(default)]
    pub level: String,
}

/// A delivery under way.
struct Delivery<'a> {
    job: &'a Job,
    zip: ZipWriter<Cursor<Vec<u8>>>,
    folder: String,
}

fn failed(error: &dyn std::fmt::Display) -> Failure {
    Failure::refused(format!("the delivery cannot be made ({error})"))
}

/// Said within when a person has broken it off; nobody reads it.
fn broken_off() -> Failure {
    Failure::refused("broken off")
}

impl Delivery<'_> {
    fn go(&self, message: impl Into<String>) -> Outcome<()> {
        if self.job.go(Stage::Studying, message, None) { Ok(()) } else { Err(broken_off()) }
    }

    fn add(&mut self, name: &str, bytes: &[u8]) -> Outcome<()> {
        self.file(name, bytes).map_err(|error| failed(&error))
    }
}

impl Receiver for Delivery<'_> {
    fn file(&mut self, path: &str, bytes: &[u8]) -> Result<(), String> {
        // No time of day: the same draft gives the same bytes.
        let options = SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
        self.zip.start_file(format!("{}/{path}", self.folder), options).map_err(|error| error.to_string())?;
        self.zip.write_all(bytes).map_err(|error| error.to_string())
    }

    fn goes_on(&mut self, doing: &str) -> ControlFlow<()> {
        if self.job.go(Stage::Studying, doing, None) { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
    }
}

/// Begins a delivery of an open score.
pub(crate) fn begin(desk: &Desk, open: Arc<Open>, wanted: DeliveryWanted) -> Outcome<Arc<Job>> {
    let level = super::objections::level(&wanted.level)?;
    let paper = match wanted.paper.as_str() {
        "" | "orchestra" => Paper::ORCHESTRA,
        "a4" => Paper::A4,
        "b4" => Paper::B4,
        other => return Err(Failure::refused(format!("“{other}” is no paper; there are orchestra, a4 and b4"))),
    };
    if open.study.is_chart() {
        return Err(Failure::refused(
            "this is a chart, which tells who does what and holds no notes; make the parts of the score itself",
        ));
    }
    let job = desk.drafts.deliver(desk, open.score)?;
    // From here on a change of the notes ends the job; one just before it is seen by looking again.
    let open = desk.open(open.score).unwrap_or(open);
    let (desk, working) = (desk.clone(), Arc::clone(&job));
    tokio::spawn(async move {
        let Ok(_turn) = Arc::clone(&desk.turns).acquire_owned().await else { return };
        let job = Arc::clone(&working);
        let done = tokio::task::spawn_blocking(move || {
            let bytes = made(&desk, &open, &wanted, level, paper, &working)?;
            desk.drafts.delivered(open.score, &working, &bytes)
        })
        .await;
        let failed = match done {
            Ok(Ok(())) => return,
            Ok(Err(Failure { message, .. })) => message,
            Err(_) => "the delivery broke down. Please report the score".to_owned(),
        };
        job.go(Stage::Failed, failed, None);
    });
    Ok(job)
}

fn made(desk: &Desk, open: &Open, wanted: &DeliveryWanted, level: Level, paper: Paper, job: &Job) -> Outcome<Vec<u8>> {
    let study = &open.study;
    let (title, mut more) = of_draft(desk, open.score).unwrap_or_else(|| (study.title(), Vec::new()));
    // Renamed since it was studied, perhaps.
    let score = &if title == study.title() { study.score.clone() } else { entitled(study.score.clone(), &title) };
    let mut out = Delivery { job, zip: ZipWriter::new(Cursor::new(Vec::new())), folder: file_name(&title) };
    let played = Sounding::new(score, Unroll::AsPlayed);
    let engraver = if IS_BUILT_IN { Some(desk.media.engraver().map_err(|error| failed(&error))?) } else { None };
    let order = Order {
        score,
        played: &played,
        tempo: &study.sounding.tempo,
        options: BookOptions { cue_after: CUE_AFTER, leaders: study.leaders(), ..BookOptions::default() },
        pages: engraver.as_deref().map(|engraver| Pages { engraver, parts: paper, score: Paper::SCORE_A3 }),
    };
    let ended = |error: Ended| match error {
        Ended::BrokenOff => broken_off(),
        Ended::Failed(why) => failed(&why),
    };
    let delivered = deliver(&order, &mut out).map_err(ended)?;
    if !IS_BUILT_IN {
        let what = "no pages: this program was built without the engraver";
        more.push(Unresolved::of_all("", what, "build it with --features engraving"));
    }
    if wanted.sound {
        sound(&mut out, score, &played, &mut more, MOST_HELD)?;
    }
    more.extend(super::casting::estimated(desk, open.score));
    let objections = check(score, &played, &CheckOptions { level, only: Vec::new() });
    prove(&order, &delivered, objections, more, &mut out).map_err(ended)?;
    let bytes = out.zip.finish().map_err(|error| failed(&error))?;
    Ok(bytes.into_inner())
}

/// What a proposal goes out as, and what was planned otherwise since it was cast, which it does not have; none for any other score.
fn of_draft(desk: &Desk, score: i64) -> Option<(String, Vec<Unresolved>)> {
    let (draft, number) = place_of_score(score)?;
    let found = desk.drafts.with(draft, |draft| {
        let kept = &draft.kept.proposals[draft.place_of(number)?];
        let shown = draft.proposal_shown(&desk.drafts, kept);
        let remedy = "cast these phrases again and deliver anew, or leave them as they were";
        let otherwise = "the plan says something else since this was cast";
        let mut open = Vec::new();
        if shown.is_old {
            open.push(Unresolved::of_all(
                "",
                "line-up, sketch or phrases have changed since this was cast",
                "propose anew, or leave it",
            ));
        }
        for &phrase in &shown.changed {
            let Some(row) = draft.kept.now().plan.get(phrase).cloned() else { continue };
            let (first, last) = (row.first as usize, row.last as usize);
            let (from, to) = (draft.sketch.bar_name(first), draft.sketch.bar_name(last));
            let bars = if from == to { from } else { format!("{from}\u{2013}{to}") };
            open.push(Unresolved::of_all(bars, otherwise, remedy).at(first));
        }
        Ok((draft.kept.called(kept), open))
    });
    found.ok()
}

/// The whole in the hall, and each section by itself. When all sections are more than `most` frames together, the whole is played first, then a few
/// sections at a time.
fn sound(out: &mut Delivery<'_>, score: &Score, played: &Sounding, open: &mut Vec<Unresolved>, most: u64) -> Outcome<()> {
    let passage = Passage::new(score, played, &techniques(score, played));
    if passage.seconds() > LONGEST_SOUND {
        open.push(Unresolved::of_all("", "no sound: more than a quarter of an hour", "write it with `ripieno deliver --sound`"));
        return Ok(());
    }
    let groups = gather(score, &(0..score.parts.len()).collect(), Gather::Sections);
    let options = SoundOptions::default();
    let of = |groups: &[SoundGroup]| Selection { from: 0.0, to: passage.seconds(), groups: groups.to_vec() };
    let prepared = |selection: &Selection| Renderer::new(&passage, selection, &options).map_err(|error| failed(&error));
    let job = out.job;
    let telling = |what: String| {
        let mut told = 101;
        move |share: f64| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a share
            let percent = (share * 100.0) as u32;
            let went_on = if percent == told {
                !job.state().is_over()
            } else {
                job.go(Stage::Studying, format!("{what}, {percent} %"), None)
            };
            told = percent;
            if went_on { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        }
    };
    let all = of(&groups);
    let renderer = prepared(&all)?;
    let frames = renderer.frames();
    let at_once = usize::try_from(most / frames.max(1)).unwrap_or(usize::MAX).max(1);
    let (mut whole, mut held) = if groups.len() <= at_once {
        let stems = render(renderer, frames, &all, &options, telling("sound".to_owned())).map_err(|error| failed(&error))?;
        (stems.mix(), Some(stems))
    } else {
        (mix(renderer, frames, telling("sound".to_owned())).map_err(|error| failed(&error))?, None)
    };
    let Some((gain, _)) = gain_for(&whole, options.rate, TARGET).map_err(|error| failed(&error))? else { return Ok(()) };
    whole.scale(gain);
    let coded = |stereo: &Stereo| encode(stereo, options.rate, Format::Flac).map_err(|error| failed(&error));
    out.add("sound/mock-up.flac", &coded(&whole)?)?;
    let length = whole.left.len();
    drop(whole);
    for some in groups.chunks(at_once) {
        let mut stems = match held.take() {
            Some(stems) => stems,
            None => {
                let selection = of(some);
                let names: Vec<&str> = some.iter().map(|group| group.name.as_str()).collect();
                let told = telling(format!("sound of the {}", names.join(", ")));
                render(prepared(&selection)?, frames, &selection, &options, told).map_err(|error| failed(&error))?
            }
        };
        stems.scale(gain);
        for (name, stem) in stems.names.iter().zip(&mut stems.stems) {
            out.go(format!("sound of the {name}"))?;
            // By itself a section is over sooner than in the whole; stems lie beside each other from first to last.
            stem.left.resize(length, 0.0);
            stem.right.resize(length, 0.0);
            out.add(&format!("sound/stems/{}.flac", file_name(name)), &coded(stem)?)?;
        }
    }
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test fails by panicking
mod tests {
    use std::io::Read;

    use ripieno_formats::{Limits, read};

    use super::*;
    use crate::jobs::Jobs;

    fn played(most: u64) -> Vec<(String, Vec<u8>)> {
        let part = |id: &str, octave: u8, length: u8| {
            format!(
                "<part id=\"{id}\"><measure number=\"1\"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>\
                 <note><pitch><step>G</step><octave>{octave}</octave></pitch><duration>{length}</duration></note></measure></part>"
            )
        };
        let text = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part>\
             <score-part id=\"P2\"><part-name>Bassoon</part-name></score-part></part-list>{}{}</score-partwise>",
            part("P1", 5, 1),
            part("P2", 3, 4)
        );
        let score = read("two.musicxml", text.as_bytes(), &Limits::default()).unwrap().score;
        let job = Jobs::default().begin("", None);
        let mut out = Delivery { job: &job, zip: ZipWriter::new(Cursor::new(Vec::new())), folder: "two".to_owned() };
        sound(&mut out, &score, &Sounding::new(&score, Unroll::AsPlayed), &mut Vec::new(), most).unwrap();
        let mut zip = zip::ZipArchive::new(out.zip.finish().unwrap()).unwrap();
        let mut files = Vec::new();
        for at in 0..zip.len() {
            let mut file = zip.by_index(at).unwrap();
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes).unwrap();
            files.push((file.name().unwrap().into_owned(), bytes));
        }
        files
    }

    #[test]
    fn sections_played_by_themselves_sound_as_in_the_whole() {
        let (together, alone) = (played(MOST_HELD), played(1));
        let names = |of: &[(String, Vec<u8>)]| of.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
        assert_eq!(names(&together), ["two/sound/mock-up.flac", "two/sound/stems/flutes.flac", "two/sound/stems/bassoons.flac"]);
        assert_eq!(names(&alone), names(&together));
        assert!(together[0].1 == alone[0].1, "the same whole");
        // STREAMINFO of FLAC (RFC 9639, 8.2): the low 32 of 36 bits that number the samples lie at bytes 22 to 25.
        let samples = |bytes: &[u8]| u32::from_be_bytes([bytes[22], bytes[23], bytes[24], bytes[25]]);
        for (one, other) in together.iter().zip(&alone) {
            assert_eq!((samples(&one.1), samples(&other.1)), (samples(&together[0].1), samples(&together[0].1)), "{}", one.0);
        }
        // The longest section sounds to the end of the whole: not a sample differs.
        assert!(together[2].1 == alone[2].1);
    }
}
