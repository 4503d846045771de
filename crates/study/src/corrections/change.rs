//! What a person may say about a score.

use std::fmt;

use ripieno_score::Crotchets;
use ripieno_texture::Role;

/// Who is meant: a part, or one line of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Who {
    /// Place of the part from the top of the page, from 0.
    pub part: usize,
    /// Only the line at this place on its staff from above, from 1 ([`ripieno_texture::Line::place`]); `None` for all.
    pub voice: Option<u16>,
    /// Only this staff of the part; `None` for all.
    pub staff: Option<u8>,
}

impl Who {
    /// Everything a part plays.
    #[must_use]
    pub const fn part(part: usize) -> Self {
        Self { part, voice: None, staff: None }
    }
}

/// A moment on the page: a bar and a position in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// Bar, index into [`ripieno_score::Score::bars`].
    pub bar: u32,
    /// Position from the barline; `None` for the edge of the bar: its start where a span begins, its end where one ends.
    pub at: Option<Crotchets>,
}

impl Moment {
    /// The edge of a bar.
    #[must_use]
    pub const fn edge(bar: u32) -> Self {
        Self { bar, at: None }
    }
}

/// What is changed. Roles belong to lines, layers to the lines that act together.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Change {
    /// The lines have these roles over the span, the first being the chief one; at least one.
    SetRole(Vec<Role>),
    /// What the lines do over the span stands apart from what they do before and after, in the same role or another.
    SplitRole,
    /// What the lines do over the span is one thing: one role, that which holds longest in it.
    MergeRoles,
    /// What the lines do over the span has this name: "answering figure".
    NameRole(String),
    /// The lines, and no others, form one layer over the span, named or not.
    SetLayer(Option<String>),
    /// The lines leave their layers and form a layer of their own.
    SplitLayer,
    /// The layers to which the lines belong become one.
    MergeLayers,
    /// The layers to which the lines belong have this name.
    NameLayer(String),
    /// A remark that changes nothing.
    Remark(String),
}

impl Change {
    /// The word for it in the file.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::SetRole(_) => "set-role",
            Self::SplitRole => "split-role",
            Self::MergeRoles => "merge-roles",
            Self::NameRole(_) => "name-role",
            Self::SetLayer(_) => "set-layer",
            Self::SplitLayer => "split-layer",
            Self::MergeLayers => "merge-layers",
            Self::NameLayer(_) => "name-layer",
            Self::Remark(_) => "remark",
        }
    }
}

impl fmt::Display for Change {
    /// As it reads in a list: `role: melody, bass`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SetRole(roles) => {
                let names: Vec<&str> = roles.iter().map(|role| role.name()).collect();
                write!(f, "role: {}", names.join(", "))
            }
            Self::SplitRole => f.write_str("role stands apart"),
            Self::MergeRoles => f.write_str("one role"),
            Self::NameRole(name) => write!(f, "role named {name:?}"),
            Self::SetLayer(Some(name)) => write!(f, "layer {name:?}"),
            Self::SetLayer(None) => f.write_str("one layer, no others in it"),
            Self::SplitLayer => f.write_str("layer of its own"),
            Self::MergeLayers => f.write_str("layers joined"),
            Self::NameLayer(name) => write!(f, "layer named {name:?}"),
            Self::Remark(text) => write!(f, "remark: {text}"),
        }
    }
}

/// A correction as a person makes it, about the score as it is now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// What is changed.
    pub change: Change,
    /// Whose; at least one.
    pub who: Vec<Who>,
    /// From this moment on.
    pub from: Moment,
    /// Until this one, itself not included; with `at: None` the whole of its bar belongs to the span.
    pub to: Moment,
    /// Why, in the person's words; may be empty.
    pub comment: String,
}

/// A correction settled on the score being analysed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Instruction {
    /// Identifier of the correction it comes from.
    pub correction: String,
    /// What is changed.
    pub change: Change,
    /// Whose, in page order.
    pub who: Vec<Who>,
    /// Beginning, in crotchets from the start of the score, each bar once.
    pub from: Crotchets,
    /// End, not included; later than `from`.
    pub to: Crotchets,
}
