//! Questions in words: what they may say, and how text is understood. The grammar stands in `docs/questions.md`.

mod examples;
mod parse;
mod question;
mod token;
mod words;

pub use examples::EXAMPLES;
pub(crate) use parse::note_name;
pub use parse::{Misunderstood, parse};
pub use question::{
    Among, Changing, Condition, Counted, Doubled, End, Lie, PedalNote, Quantity, Question, Register, Side, Stacked, Subject,
    Wanted, Who,
};
