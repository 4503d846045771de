//! The file beside the score: JSON as `docs/corrections.md` describes it, read leniently and written back whole.
//!
//! What this version does not know stays: fields of any object, kinds of correction, fingerprints it cannot read. A
//! correction that cannot be understood is kept as it stands and told; only a file that is no corrections file at all is
//! an error.

use std::borrow::Cow;
use std::collections::BTreeSet;

use ripieno_formats::{Finding, Place, Severity};
use ripieno_score::Crotchets;
use ripieno_texture::Role;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::value::RawValue;
use serde_json::{Map, Value};

use super::change::Change;
use super::fingerprint::{
    Fingerprint, MOST_CELLS, PartPrint, cells_from_text, cells_to_text, lengths_from_text, lengths_to_text,
};

/// What the file says it is.
pub(super) const FORMAT: &str = "ripieno-corrections";
/// The version of the format written; raised only when an older reader would take a file amiss.
pub(super) const VERSION: u64 = 1;

/// A file as it is read.
#[derive(Deserialize)]
struct Incoming<'a> {
    format: String,
    version: u64,
    #[serde(borrow, default)]
    corrections: Vec<&'a RawValue>,
    #[serde(borrow, default)]
    scores: Vec<&'a RawValue>,
    #[serde(borrow, default)]
    groups: Vec<&'a RawValue>,
    #[serde(flatten)]
    extra: Map<String, Value>,
}

/// A file as it is written.
#[derive(Serialize)]
struct Outgoing<'a> {
    format: &'static str,
    version: u64,
    corrections: Vec<OurOrTheir<'a, Fields>>,
    scores: Vec<OurOrTheir<'a, ScoreFields>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    groups: Vec<OurOrTheir<'a, GroupFields>>,
    #[serde(flatten)]
    extra: &'a Map<String, Value>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum OurOrTheir<'a, T> {
    Our(Box<T>),
    Their(&'a RawValue),
}

/// Everything in a corrections file, understood or not.
#[derive(Debug, Clone, Default)]
pub(super) struct Contents {
    pub entries: Vec<Entry>,
    pub scores: Vec<ScoreEntry>,
    pub groups: Vec<GroupEntry>,
    pub extra: Map<String, Value>,
}

/// A group of players a person has named.
#[derive(Debug, Clone)]
pub(super) enum GroupEntry {
    Known(GroupFields),
    /// Not understood: kept as it was read.
    Foreign(Box<RawValue>),
}

/// A named group's fields.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct GroupFields {
    pub name: String,
    /// Sections, families or parts by name.
    pub members: Vec<String>,
    #[serde(flatten)]
    pub extra: Map<String, Value>,
}

/// One correction.
#[derive(Debug, Clone)]
pub(super) enum Entry {
    Known(Box<Record>),
    /// Not understood: kept as it was read.
    Foreign(Box<RawValue>),
}

impl Entry {
    /// Its identifier, where it has one that can be read.
    pub fn id(&self) -> Option<Cow<'_, str>> {
        #[derive(Deserialize)]
        struct Id {
            id: String,
        }
        match self {
            Self::Known(record) => Some(Cow::Borrowed(&record.id)),
            Self::Foreign(raw) => serde_json::from_str::<Id>(raw.get()).ok().map(|found| Cow::Owned(found.id)),
        }
    }
}

/// One fingerprint.
#[derive(Debug, Clone)]
pub(super) enum ScoreEntry {
    Known { id: String, print: Box<Fingerprint>, extra: Map<String, Value> },
    Foreign(Box<RawValue>),
}

/// A correction as the file has it, understood.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Record {
    pub id: String,
    /// The fingerprint its places refer to; `None` in a correction written by hand, which means the score as it is.
    pub score: Option<String>,
    pub change: Change,
    pub parts: Vec<PartName>,
    pub from: Edge,
    pub to: Edge,
    pub comment: String,
    pub extra: Map<String, Value>,
}

/// How the file names a part: by place, identifier or name, as many as are given.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct PartName {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<usize>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voice: Option<u16>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub staff: Option<u8>,
    #[serde(flatten)]
    pub extra: Map<String, Value>,
}

/// How the file names a moment: by bar, counted from 0, or by its printed number, and a position in it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Edge {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bar: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub printed: Option<String>,
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        serialize_with = "time_to_text",
        deserialize_with = "time_from_text"
    )]
    pub at: Option<Crotchets>,
    #[serde(flatten)]
    pub extra: Map<String, Value>,
}

#[allow(clippy::ref_option)] // serde asks for this shape
fn time_to_text<S: Serializer>(at: &Option<Crotchets>, out: S) -> Result<S::Ok, S::Error> {
    match at {
        Some(at) => out.collect_str(at),
        None => out.serialize_none(),
    }
}

fn time_from_text<'de, D: Deserializer<'de>>(input: D) -> Result<Option<Crotchets>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged, expecting = "a number of crotchets such as 2 or \"7/2\"")]
    enum Time {
        Whole(i64),
        Text(String),
    }
    Ok(match Option::<Time>::deserialize(input)? {
        None => None,
        Some(Time::Whole(count)) => Some(Crotchets::whole(count)),
        Some(Time::Text(text)) => Some(text.parse().map_err(serde::de::Error::custom)?),
    })
}

/// A correction's fields before they are weighed against its kind.
#[derive(Serialize, Deserialize)]
struct Fields {
    id: String,
    kind: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    roles: Option<Vec<String>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    text: Option<String>,
    #[serde(default)]
    parts: Vec<PartName>,
    #[serde(default)]
    from: Edge,
    #[serde(default)]
    to: Edge,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    comment: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    score: Option<String>,
    #[serde(flatten)]
    extra: Map<String, Value>,
}

impl Fields {
    fn settle(self) -> Result<Record, String> {
        let Self { id, kind, roles, name, text, parts, from, to, comment, score, mut extra } = self;
        let mut roles = roles;
        let (mut name, mut text) = (name, text);
        let needs = |what: &str| format!("a correction of the kind {kind} needs {what}");
        let change = match kind.as_str() {
            "set-role" => {
                let names = roles.take().filter(|roles| !roles.is_empty()).ok_or_else(|| needs("\"roles\""))?;
                Change::SetRole(names.iter().map(|name| role(name)).collect::<Result<_, _>>()?)
            }
            "split-role" => Change::SplitRole,
            "merge-roles" => Change::MergeRoles,
            "name-role" => Change::NameRole(name.take().ok_or_else(|| needs("\"name\""))?),
            "set-layer" => Change::SetLayer(name.take()),
            "split-layer" => Change::SplitLayer,
            "merge-layers" => Change::MergeLayers,
            "name-layer" => Change::NameLayer(name.take().ok_or_else(|| needs("\"name\""))?),
            "remark" => Change::Remark(text.take().ok_or_else(|| needs("\"text\""))?),
            other => return Err(format!("{other:?} is no kind of correction this version knows")),
        };
        if parts.is_empty() {
            return Err(needs("at least one of the \"parts\""));
        }
        if parts.iter().any(|part| part.name.is_none() && part.id.is_none() && part.place.is_none()) {
            return Err("a part needs its \"name\", \"id\" or \"place\"".to_owned());
        }
        if [&from, &to].iter().any(|edge| edge.bar.is_none() && edge.printed.is_none()) {
            return Err("\"from\" and \"to\" need a \"bar\" or the \"printed\" number of one".to_owned());
        }
        if score.is_some() && [&from, &to].iter().any(|edge| edge.bar.is_none()) {
            return Err("\"from\" and \"to\" need a \"bar\" where the correction names a \"score\"".to_owned());
        }
        if [&from, &to].iter().any(|edge| edge.at.is_some_and(|at| at < Crotchets::ZERO)) {
            return Err("\"at\" lies before the barline".to_owned());
        }
        // Fields another kind would use are none of ours to drop.
        let left = [("roles", roles.map(Value::from)), ("name", name.map(Value::from)), ("text", text.map(Value::from))];
        extra.extend(left.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value?))));
        Ok(Record { id, score, change, parts, from, to, comment: comment.unwrap_or_default(), extra })
    }

    fn of(record: &Record) -> Self {
        let Record { id, score, change, parts, from, to, comment, extra } = record.clone();
        let kind = change.kind().to_owned();
        let (mut roles, mut name, mut text) = (None, None, None);
        match change {
            Change::SetRole(set) => roles = Some(set.iter().map(|role| role.name().to_owned()).collect()),
            Change::NameRole(given) | Change::NameLayer(given) => name = Some(given),
            Change::SetLayer(given) => name = given,
            Change::Remark(given) => text = Some(given),
            Change::SplitRole | Change::MergeRoles | Change::SplitLayer | Change::MergeLayers => {}
        }
        let comment = Some(comment).filter(|comment| !comment.is_empty());
        Self { id, kind, roles, name, text, parts, from, to, comment, score, extra }
    }
}

/// A role by its word.
pub(super) fn role(name: &str) -> Result<Role, String> {
    let wanted = name.trim().to_lowercase();
    Role::ALL.into_iter().find(|role| role.name() == wanted).ok_or_else(|| {
        let all: Vec<&str> = Role::ALL.iter().map(|role| role.name()).collect();
        format!("{name:?} is no role; the roles are {}", all.join(", "))
    })
}

/// A fingerprint's fields.
#[derive(Serialize, Deserialize)]
struct ScoreFields {
    id: String,
    lengths: String,
    parts: Vec<PartFields>,
    #[serde(flatten)]
    extra: Map<String, Value>,
}

#[derive(Serialize, Deserialize)]
struct PartFields {
    name: String,
    id: String,
    bars: String,
}

impl ScoreFields {
    fn of(id: &str, print: &Fingerprint, extra: &Map<String, Value>) -> Self {
        let part = |part: &PartPrint| {
            let PartPrint { id, name, cells } = part;
            PartFields { name: name.clone(), id: id.clone(), bars: cells_to_text(cells) }
        };
        let parts = print.parts.iter().map(part).collect();
        Self { id: id.to_owned(), lengths: lengths_to_text(&print.lengths), parts, extra: extra.clone() }
    }

    /// `room` is how many bars of parts may still be held in memory.
    fn settle(self, room: &mut usize) -> Result<ScoreEntry, String> {
        let lengths = lengths_from_text(&self.lengths)?;
        let needed = lengths.len().saturating_mul(self.parts.len());
        *room = room.checked_sub(needed).ok_or_else(|| format!("the fingerprints have more than {MOST_CELLS} bars of parts"))?;
        let part = |part: PartFields| -> Result<PartPrint, String> {
            let cells = cells_from_text(&part.bars, lengths.len())?;
            if cells.len() != lengths.len() {
                return Err(format!("part {:?} has {} bars where the score has {}", part.name, cells.len(), lengths.len()));
            }
            Ok(PartPrint { id: part.id, name: part.name, cells })
        };
        let parts = self.parts.into_iter().map(part).collect::<Result<_, _>>()?;
        Ok(ScoreEntry::Known { id: self.id, print: Box::new(Fingerprint { lengths, parts }), extra: self.extra })
    }
}

/// Reads a file's text; `file` is the name used in findings.
pub(super) fn read(file: &str, text: &str) -> Result<(Contents, Vec<Finding>), Box<Finding>> {
    let place = |line: Option<u64>| Place { file: file.to_owned(), line, ..Place::default() };
    let refuse = |line: Option<u64>, code, what: String, hint: &str| {
        Box::new(Finding { severity: Severity::Error, code, place: place(line), what, hint: hint.to_owned() })
    };
    let incoming: Incoming<'_> = serde_json::from_str(text).map_err(|error| {
        let (line, what) = located(&error);
        refuse(
            Some(line),
            "corrections-not-readable",
            what,
            "Mend that place, or move the file away to start anew; see docs/corrections.md",
        )
    })?;
    if incoming.format != FORMAT {
        let what = format!("the file says it is {:?}, not {FORMAT:?}", incoming.format);
        return Err(refuse(None, "corrections-not-readable", what, "Move it away, since its name is that of a corrections file"));
    }
    if incoming.version != VERSION {
        let what = format!("the file is of version {}, and this Ripieno knows version {VERSION}", incoming.version);
        return Err(refuse(None, "corrections-other-version", what, "Use the Ripieno that wrote it; the file is left as it is"));
    }
    let mut findings = Vec::new();
    let mut tell = |raw: &RawValue, what: String| {
        let what = format!("this entry is not understood and not used: {what}");
        let hint = "It is kept as it is; mend or remove it".to_owned();
        let place = place(Some(line_of(text, raw.get())));
        findings.push(Finding { severity: Severity::Warning, code: "correction-not-understood", place, what, hint });
    };
    let mut contents = Contents { extra: incoming.extra, ..Contents::default() };
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for raw in incoming.corrections {
        let fields = serde_json::from_str::<Fields>(raw.get()).map_err(|error| plain(&error));
        let known = fields.and_then(Fields::settle).and_then(|record| {
            let is_new = seen.insert(record.id.clone());
            if is_new { Ok(record) } else { Err(format!("another correction has the id {:?}", record.id)) }
        });
        contents.entries.push(match known {
            Ok(record) => Entry::Known(Box::new(record)),
            Err(what) => {
                tell(raw, what);
                Entry::Foreign(raw.to_owned())
            }
        });
    }
    let mut room = MOST_CELLS;
    for raw in incoming.scores {
        let fields = serde_json::from_str::<ScoreFields>(raw.get()).map_err(|error| plain(&error));
        contents.scores.push(fields.and_then(|fields| fields.settle(&mut room)).unwrap_or_else(|what| {
            tell(raw, what);
            ScoreEntry::Foreign(raw.to_owned())
        }));
    }
    for raw in incoming.groups {
        let fields = serde_json::from_str::<GroupFields>(raw.get()).map_err(|error| plain(&error));
        contents.groups.push(fields.map_or_else(
            |what| {
                tell(raw, what);
                GroupEntry::Foreign(raw.to_owned())
            },
            GroupEntry::Known,
        ));
    }
    Ok((contents, findings))
}

/// The line on which a piece of the text begins, from 1.
fn line_of(text: &str, piece: &str) -> u64 {
    let offset = (piece.as_ptr() as usize).saturating_sub(text.as_ptr() as usize).min(text.len());
    let lines = text.as_bytes()[..offset].iter().filter(|&&byte| byte == b'\n').count();
    lines as u64 + 1
}

/// An error's line and its sentence with the column.
fn located(error: &serde_json::Error) -> (u64, String) {
    (error.line() as u64, format!("column {}, {}", error.column(), plain(error)))
}

/// An error's sentence without its place.
fn plain(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let place = format!(" at line {} column {}", error.line(), error.column());
    text.strip_suffix(&place).map_or_else(|| text.clone(), str::to_owned)
}

/// Writes a file's text; the same contents give the same bytes.
pub(super) fn write(contents: &Contents) -> Result<String, String> {
    let corrections = contents.entries.iter().map(|entry| match entry {
        Entry::Known(record) => OurOrTheir::Our(Box::new(Fields::of(record))),
        Entry::Foreign(raw) => OurOrTheir::Their(raw),
    });
    let scores = contents.scores.iter().map(|score| match score {
        ScoreEntry::Known { id, print, extra } => OurOrTheir::Our(Box::new(ScoreFields::of(id, print, extra))),
        ScoreEntry::Foreign(raw) => OurOrTheir::Their(raw),
    });
    let groups = contents.groups.iter().map(|group| match group {
        GroupEntry::Known(fields) => OurOrTheir::Our(Box::new(fields.clone())),
        GroupEntry::Foreign(raw) => OurOrTheir::Their(raw),
    });
    let out = Outgoing {
        format: FORMAT,
        version: VERSION,
        corrections: corrections.collect(),
        scores: scores.collect(),
        groups: groups.collect(),
        extra: &contents.extra,
    };
    serde_json::to_string_pretty(&out).map(|text| text + "\n").map_err(|error| plain(&error))
}
