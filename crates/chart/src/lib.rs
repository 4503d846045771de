//! Charts: who does what in a score that exists only on paper, written down by hand.
//!
//! A [`Chart`] is a small open text file (TOML, `docs/charts.md`): the line-up, the bars, and rows that say who does what
//! from which bar to which. [`Chart::read`] reads it with located findings, [`Chart::write`] writes it back without loss,
//! and [`Chart::settle`] makes of it what an analysed score is made of - bars, parts, what sounds when, roles, layers,
//! doublings, melody - without a single note: a chart tells no pitches and no attacks, and none are invented.
//!
//! What may be counted of such a thing is for `practice` to say; how a studied score is charted, for `study`.

mod bars;
mod called;
mod edit;
mod layers;
mod melody;
mod model;
mod paint;
mod place;
mod read;
mod settle;
mod words;
mod write;

pub use model::{Chart, ChartPart, Doubles, Row, Run};
pub use place::{Edge, Places, Span};
pub use settle::{Fault, Settled};
pub use words::{dynamic_text, interval_named, interval_text, manner_names, role_named};
