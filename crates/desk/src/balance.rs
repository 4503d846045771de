//! Whether the melody is heard, span by span and chord by chord, in a situation that the page names.
#![allow(unused_qualifications)] // what the description of a path expands to

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use ripieno_study::acoustics::exposure::{CAUTION, schemes};
use ripieno_study::acoustics::verdicts::{Ruled, Stands};
use ripieno_study::acoustics::{Audible, Day, Plan, Room, Situation};
use ripieno_study::{BalanceTopic, FullChord, Judged, SpanHeard, Study, Weighing};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{ScorePath, bad, number};
use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};
use crate::view::{Cited, Noted};

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new().routes(routes!(balance)).routes(routes!(heard))
}

/// Where it is heard.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Where {
    #[default]
    /// A seat in a concert hall, 15 m behind the conductor.
    Hall,
    /// On the stage of that hall.
    Stage,
    /// Sections recorded apart and mixed.
    Mix,
}

/// A situation as the page asks for it; the seat in the hall without one.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize, IntoParams)]
pub(crate) struct Heard {
    #[param(inline)]
    #[serde(default)]
    place: Where,
    /// On the stage: at the desk of this part; at the conductor's place without it.
    part: Option<usize>,
    /// In a mix: what it adds to each part, in whole dB with commas between them.
    #[serde(default)]
    levels: String,
}

/// The score as it is when it is asked about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, IntoParams)]
struct Now {
    /// The revision of the score.
    revision: u64,
}

/// Most that a mix adds or takes away.
const LEVELS: std::ops::RangeInclusive<i32> = -60..=20;

impl Heard {
    pub(crate) fn situation(&self) -> Outcome<Situation> {
        Ok(match self.place {
            Where::Hall => Situation::hall(),
            Where::Stage => Situation::Stage { room: Room::hall(), plan: Plan::ViolinsTogether, part: self.part },
            Where::Mix if self.levels.is_empty() => Situation::Mix { gains_db: None },
            Where::Mix => {
                let level = |text: &str| text.trim().parse().ok().filter(|db| LEVELS.contains(db)).map(f64::from);
                let levels: Option<Vec<f64>> = self.levels.split(',').map(level).collect();
                let wrong = || Failure::refused("a level of a mix is a whole number of decibels from -60 to 20");
                Situation::Mix { gains_db: Some(levels.ok_or_else(wrong)?) }
            }
        })
    }
}

impl Now {
    fn opened(self, desk: &Desk, score: i64) -> Outcome<std::sync::Arc<Open>> {
        let open = desk.opened(score)?;
        if open.revision != self.revision {
            return Err(Failure::new(StatusCode::CONFLICT, "the score has changed meanwhile; look again"));
        }
        Ok(open)
    }
}

/// What masks a line.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Masker {
    /// Parts of a section that sound beside the line.
    parts: Vec<usize>,
    /// What they are called together.
    called: String,
    /// What would be gained if they were silent, in dB.
    gain: f64,
}

/// The melody in a bar.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct MelodyHeard {
    bar: u32,
    /// The part that leads it.
    part: usize,
    /// By how many dB it could be weaker until it is just no longer heard.
    margin: f64,
    /// One standard deviation of that.
    spread: f64,
    /// "covered", "hard to hear", "heard among others", "clear", "prominent"; with the next
    /// where it may as well be that: "covered or hard to hear".
    grade: String,
    maskers: Vec<Masker>,
}

/// A tone of a chord.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Tone {
    /// The key, 60 is C4.
    key: u8,
    /// Loudness against the mean of the chord, in phon.
    above: f64,
    /// Part and written note of each of its notes.
    notes: Vec<[usize; 2]>,
}

/// A section in a chord.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Share {
    section: String,
    /// Mean loudness of its tones against the mean of the chord, in phon.
    above: f64,
    tones: usize,
}

/// The full chord of a bar, without the melody.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Chord {
    bar: u32,
    /// "even", "fairly even", "uneven".
    grade: String,
    /// Standard deviation of its tones, in phon.
    spread: f64,
    /// From the lowest up.
    tones: Vec<Tone>,
    /// In score order.
    sections: Vec<Share>,
}

/// What a treatise rules and what the model estimates, side by side.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct TwoVerdicts {
    /// "weaker", "about equal", "stronger", with the author's counts; nothing where the rules do not apply.
    rule: Option<String>,
    /// The author of the rules.
    author: Option<String>,
    estimate: String,
    /// Why they agree or differ, in a sentence.
    told: String,
}

/// Both verdicts on a stretch of melody against what masks it most.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct JudgedStretch {
    bars: Cited,
    /// The bar in which it is heard worst.
    bar: u32,
    part: usize,
    /// What they are called together.
    against: String,
    verdicts: TwoVerdicts,
}

/// Exposure at a desk.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct DeskExposure {
    part: usize,
    /// Equivalent level while the piece plays, dB(A).
    playing: f64,
    /// Over eight hours of the day, dB(A).
    daily: f64,
    /// One standard deviation, dB.
    spread: f64,
    /// Dose of the day in percent, by each scheme.
    doses: Vec<f64>,
    /// Each of them one standard deviation of the level less and more, in percent.
    between: Vec<[f64; 2]>,
}

/// Exposure at every desk, with what it rests on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Exposure {
    caution: String,
    /// The day it is counted for.
    day: String,
    /// "NIOSH 85".
    schemes: Vec<String>,
    desks: Vec<DeskExposure>,
}

/// The score in one situation.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Weighed {
    /// Where it is heard, in words.
    situation: String,
    /// Notes before their part's first dynamic mark, taken as mezzo-forte.
    unmarked: usize,
    melody: Vec<MelodyHeard>,
    /// What is worth saying, with its bars; the kind is "melody", "spot", "chords" or "verdicts".
    sentences: Vec<Noted>,
    judged: Vec<JudgedStretch>,
    chords: Vec<Chord>,
    /// Margin of each span in each of its bars in whole dB, with whoever plays it in unison or octaves; nothing where it is silent.
    spans: Vec<Vec<Option<i32>>>,
    /// Nothing for a mix, in which nobody sits.
    exposure: Option<Exposure>,
}

/// A span where it is heard worst.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct HeardSpan {
    span: usize,
    bar: u32,
    margin: f64,
    spread: f64,
    grade: String,
    /// Others that play it in unison or octaves.
    with: Vec<usize>,
    /// What masks it there, most first.
    maskers: Vec<Masker>,
    /// What would uncover it, each worked out, what is to be tried first first (what suffices, then what changes
    /// the colour of the line least, then what gains most; a foreign colour last): "trombones one dynamic softer (mf instead of f)" and what it gains in dB.
    help: Vec<Helping>,
    /// Against the first masker.
    verdicts: Option<TwoVerdicts>,
}

/// What would help.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub(crate) struct Helping {
    what: String,
    /// The bars it is meant for.
    bars: Cited,
    gain: f64,
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[allow(clippy::cast_possible_truncation)] // margins lie between -30 and 40
fn whole(audible: &Audible) -> i32 {
    audible.margin_db.round() as i32
}

fn two(verdicts: &ripieno_study::acoustics::Verdicts) -> TwoVerdicts {
    let by_rule = |ruled: &Ruled| format!("{} ({} to {})", ruled.stands, tenth(ruled.first), tenth(ruled.second));
    let estimated = &verdicts.estimated;
    TwoVerdicts {
        rule: verdicts.ruled.as_ref().map(by_rule),
        author: verdicts.ruled.as_ref().map(|ruled| ruled.author.to_owned()),
        estimate: match estimated.stands {
            Stands::Equal => format!("about equal ({:+.0} phon)", estimated.loudness_phon),
            stands => format!("{stands} by {:.0} phon", estimated.loudness_phon.abs()),
        },
        told: verdicts.told.clone(),
    }
}

fn chord(study: &Study, written: &[u32], chord: &FullChord) -> Chord {
    let notes = &study.sounding.notes;
    let note = |row: &usize| Some([usize::from(notes.part[*row]), *written.get(*row)? as usize]);
    let evenness = &chord.evenness;
    Chord {
        bar: chord.bar,
        grade: evenness.grade().to_string(),
        spread: tenth(evenness.spread),
        tones: (evenness.tones.iter())
            .map(|tone| Tone { key: tone.key, above: tenth(tone.above_mean), notes: tone.rows.iter().filter_map(note).collect() })
            .collect(),
        sections: (evenness.sections.iter())
            .map(|share| Share { section: share.section.to_owned(), above: tenth(share.above_mean), tones: share.tones })
            .collect(),
    }
}

fn exposure(study: &Study, situation: &Situation) -> Option<Exposure> {
    let day = Day::default();
    let desks = study.exposure(situation, day).ok()?;
    Some(Exposure {
        caution: CAUTION.to_owned(),
        day: format!(
            "{} h of rehearsal with this piece, {:.0} % of it playing, and {} h of performance",
            day.rehearsal,
            day.playing * 100.0,
            day.performance
        ),
        schemes: schemes().iter().map(|scheme| format!("{} {:.0}", scheme.name, scheme.criterion)).collect(),
        desks: (desks.iter())
            .map(|desk| DeskExposure {
                part: desk.part,
                playing: tenth(desk.playing),
                daily: tenth(desk.daily),
                spread: tenth(desk.spread),
                doses: desk.doses.iter().map(|dose| dose.rounded().percent).collect(),
                between: desk.doses.iter().map(|dose| dose.rounded()).map(|dose| [dose.least, dose.most]).collect(),
            })
            .collect(),
    })
}

fn masker(study: &Study, masking: &ripieno_study::Masking) -> Masker {
    Masker { parts: masking.parts.clone(), called: study.called(&masking.parts), gain: tenth(masking.gain_db) }
}

/// All of it, from one weighing.
pub(crate) fn weighed(study: &Study, weighing: &Weighing<'_>) -> Weighed {
    let balance = weighing.balance();
    let melody = balance.melody.iter().map(|told| MelodyHeard {
        bar: told.bar,
        part: told.part,
        margin: tenth(told.audible.margin_db),
        spread: tenth(told.audible.spread_db),
        grade: told.audible.told(),
        maskers: told.maskers.iter().take(3).map(|masking| masker(study, masking)).collect(),
    });
    let sentences = balance.sentences(study).into_iter().map(|finding| Noted {
        kind: match finding.topic {
            BalanceTopic::Melody => "melody",
            BalanceTopic::Spot => "spot",
            BalanceTopic::Chords => "chords",
            BalanceTopic::Verdicts => "verdicts",
        }
        .to_owned(),
        bars: Cited::of(&study.cite(&finding.bars)),
        text: finding.text,
    });
    let judged = balance.judged.iter().map(|judged: &Judged| JudgedStretch {
        bars: Cited::of(&study.cite(&judged.bars.clone().collect::<Vec<u32>>())),
        bar: judged.worst,
        part: judged.part,
        against: study.called(&judged.against),
        verdicts: two(&judged.verdicts),
    });
    let written = &study.sounding.notes.written;
    let spans = weighing.spans();
    Weighed {
        situation: study.place(&balance.situation),
        unmarked: balance.unmarked,
        melody: melody.collect(),
        sentences: sentences.collect(),
        judged: judged.collect(),
        chords: balance.chords.iter().map(|of| chord(study, written, of)).collect(),
        spans: spans.iter().map(|bars| bars.iter().map(|heard| heard.as_ref().map(whole)).collect()).collect(),
        exposure: exposure(study, &balance.situation),
    }
}

/// A span, from one weighing.
pub(crate) fn told(study: &Study, span: usize, heard: &SpanHeard) -> HeardSpan {
    HeardSpan {
        span,
        bar: heard.bar,
        margin: tenth(heard.audible.margin_db),
        spread: tenth(heard.audible.spread_db),
        grade: heard.audible.told(),
        with: heard.with.clone(),
        maskers: heard.maskers.iter().map(|masking| masker(study, masking)).collect(),
        help: (heard.help.iter())
            .map(|help| Helping {
                what: help.what.clone(),
                bars: Cited::of(&study.cite(&help.bars.clone().collect::<Vec<u32>>())),
                gain: tenth(help.gain_db),
            })
            .collect(),
        verdicts: heard.verdicts.as_ref().map(two),
    }
}

/// How the score balances in a situation, and how each span is heard there
#[utoipa::path(get, path = "/api/scores/{score}/balance", params(("score" = i64, Path), Now, Heard), responses((status = 200, body = Weighed), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn balance(
    State(desk): State<Desk>,
    score: ScorePath,
    now: Result<Query<Now>, QueryRejection>,
    heard: Result<Query<Heard>, QueryRejection>,
) -> Outcome<Response> {
    let (score, Query(now), Query(heard)) = (number(score)?, now.map_err(bad)?, heard.map_err(bad)?);
    let open = now.opened(&desk, score)?;
    let json = desk.weighers.all(&open, heard.situation()?).await?;
    Ok(([(header::CONTENT_TYPE, "application/json")], json).into_response())
}

#[derive(Debug, Deserialize, IntoParams)]
struct Span {
    /// Number of the span.
    span: usize,
}

/// How a span is heard in a situation where it is heard worst; nothing where it is silent
#[utoipa::path(get, path = "/api/scores/{score}/heard", params(("score" = i64, Path), Now, Heard, Span), responses((status = 200, body = Option<HeardSpan>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn heard(
    State(desk): State<Desk>,
    score: ScorePath,
    now: Result<Query<Now>, QueryRejection>,
    asked: Result<Query<Heard>, QueryRejection>,
    span: Result<Query<Span>, QueryRejection>,
) -> Outcome<Json<Option<HeardSpan>>> {
    let (score, Query(now), Query(asked), Query(Span { span })) =
        (number(score)?, now.map_err(bad)?, asked.map_err(bad)?, span.map_err(bad)?);
    let open = now.opened(&desk, score)?;
    if span >= open.study.roles.roles.spans.len() {
        return Err(Failure::not_there("there is no such span"));
    }
    desk.weighers.span(&open, asked.situation()?, span).await.map(Json)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;
    use crate::media::trial::DEMO;
    use axum::extract::Path;
    use ripieno_study::acoustics::Grade;
    use serde_json::Value;

    fn at(place: Where, levels: &str) -> Heard {
        Heard { place, part: None, levels: levels.to_owned() }
    }

    fn now() -> Query<Now> {
        Query(Now { revision: DEMO.opened(1).unwrap().revision })
    }

    async fn asked(asked: Heard) -> Outcome<Value> {
        let answer = balance(State(DEMO.clone()), Ok(Path(1)), Ok(now()), Ok(Query(asked))).await?;
        let bytes = axum::body::to_bytes(answer.into_body(), 64 << 20).await.unwrap();
        Ok(serde_json::from_slice(&bytes).unwrap())
    }

    #[tokio::test]
    async fn what_cannot_be_weighed_is_said_in_a_sentence() {
        let refused = asked(at(Where::Mix, "")).await.unwrap_err();
        assert!(refused.status == 422 && refused.message.contains("give the level of every part"), "{}", refused.message);
        let few = asked(at(Where::Mix, "0,-4")).await.unwrap_err();
        assert!(few.message.contains("levels for 2 parts"), "{}", few.message);
        for levels in ["0,x", "0,900", "0.5"] {
            let wrong = asked(at(Where::Mix, levels)).await.unwrap_err();
            assert!(wrong.message.contains("whole number of decibels"), "{}", wrong.message);
        }
        let before = Query(Now { revision: 0 });
        let older = balance(State(DEMO.clone()), Ok(Path(1)), Ok(before), Ok(Query(Heard::default()))).await.unwrap_err();
        assert_eq!(older.status, 409);
        let nobody = asked(Heard { part: Some(900), ..at(Where::Stage, "") }).await.unwrap_err();
        assert!(nobody.message.contains("no part 901"), "{}", nobody.message);
    }

    #[tokio::test]
    async fn the_page_hears_of_every_span_and_chord_what_the_study_says() {
        let told = asked(at(Where::Hall, "")).await.unwrap();
        let open = DEMO.opened(1).unwrap();
        let balance = open.study.balance(Situation::hall()).unwrap();
        assert_eq!(told["melody"].as_array().unwrap().len(), balance.melody.len());
        for bar in told["melody"].as_array().unwrap() {
            let grade = Grade::of(bar["margin"].as_f64().unwrap()).to_string();
            assert!(bar["grade"].as_str().unwrap().starts_with(&grade), "number and word agree: {bar}");
        }
        // Where the next grade may as well be meant, both are told, as the sentences and the report have them.
        let grades: Vec<&str> = told["melody"].as_array().unwrap().iter().map(|bar| bar["grade"].as_str().unwrap()).collect();
        assert_eq!(grades, balance.melody.iter().map(|told| told.audible.told()).collect::<Vec<_>>());
        assert!(grades.iter().any(|grade| grade.contains(" or ")) && grades.iter().any(|grade| !grade.contains(" or ")));
        let spans = told["spans"].as_array().unwrap();
        let of = &open.study.roles.roles.spans;
        assert!(
            spans.len() == of.len() && spans.iter().zip(of).all(|(told, span)| told.as_array().unwrap().len() == span.bars.len())
        );
        let chords = told["chords"].as_array().unwrap();
        assert_eq!(chords.len(), balance.chords.len());
        for chord in chords {
            for tone in chord["tones"].as_array().unwrap() {
                for note in tone["notes"].as_array().unwrap() {
                    let (part, note) = (note[0].as_u64().unwrap(), note[1].as_u64().unwrap());
                    assert!(
                        open.study.score.parts[usize::try_from(part).unwrap()]
                            .notes
                            .get(usize::try_from(note).unwrap())
                            .is_some()
                    );
                }
            }
        }
        assert!(told["exposure"]["caution"].as_str().unwrap().contains("not a measurement"));
        // One span, from what has been weighed already: its worst bar is the least of its row.
        let span = spans.iter().position(|bars| bars.as_array().unwrap().iter().any(Value::is_i64)).unwrap();
        let one = heard(State(DEMO.clone()), Ok(Path(1)), Ok(now()), Ok(Query(Heard::default())), Ok(Query(Span { span }))).await;
        let Json(one) = one.unwrap();
        let one = one.unwrap();
        let least = spans[span].as_array().unwrap().iter().filter_map(Value::as_f64).fold(f64::MAX, f64::min);
        assert!((one.margin - least).abs() <= 1.0, "{} and {least}", one.margin);
        let none =
            heard(State(DEMO.clone()), Ok(Path(1)), Ok(now()), Ok(Query(Heard::default())), Ok(Query(Span { span: 1 << 40 })))
                .await;
        assert_eq!(none.unwrap_err().status, 404);
    }
}
