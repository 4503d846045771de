//! Who does what.
//!
//! From the sounding view of a score this crate tells, for every part in every bar, which [`Role`] it plays and why.
//! It counts nothing (that is practice).
//!
//! [`predict`] tells melody, rhythm and harmony apart by a network learned from annotated scores; [`read_roles`] weighs its answers
//! against what stands on the page and decides ten roles, line by line, with the facts behind each. [`harmony`] tells chords and
//! local keys, [`themes`] what comes back.

pub mod dense;
mod doublings;
mod harmony;
mod layers;
mod learned;
mod lines;
mod model;
mod role;
mod roles;
mod techniques;
mod themes;
mod wide;

pub use doublings::{Doubling, Doublings, FEWER_SHARE};
pub use harmony::{
    ChordSpan, ChordTone, Harmony, HarmonyFeatures, HarmonyModel, KeySpan, Mode, NoteName, Quality, harmony, harmony_by,
    harmony_features,
};
pub use layers::{Layer, Layers, Member, Relation, company, relate};
pub use learned::{
    FigureProbabilities, Groups, RoleProbabilities, TrainingTable, feature_table, predict, role_features, role_logits,
    shape_table, training_table,
};
pub use lines::{Attack, Line, Lines, Told};
pub use role::Role;
pub use roles::{Carried, Evidence, Figured, Held, RoleReading, RoleSpan, Support, read_roles};
pub use techniques::{Techniques, techniques, tells_technique};
pub use themes::{Statement, Supporter, Theme, ThemeLine, ThemeNote, themes, themes_sung, top_lines};
