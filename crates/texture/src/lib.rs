//! Who does what.
//!
//! From the sounding view of a score this crate tells, for every part in every bar, which [`Role`] it plays and why.
//! It counts nothing (that is practice).
//!
//! Two readings stand side by side until they become one: [`first_cut`], by position and manner - highest line, its
//! doublings, lowest line, held notes, repeated notes - with a reason for each role; and [`predict`], learned from annotated

mod bar_lines;
mod first_cut;
mod harmony;
mod learned;
mod role;
mod roles;
mod techniques;
mod themes;

pub use bar_lines::{BarLine, bar_lines};
pub use first_cut::{Reason, RoleGrid, RoleInBar, first_cut};
pub use harmony::{
    ChordSpan, ChordTone, Harmony, HarmonyFeatures, HarmonyModel, KeySpan, Mode, NoteName, Quality, harmony, harmony_by,
    harmony_features,
};
pub use learned::{Groups, RoleProbabilities, feature_table, predict, role_features, role_logits};
pub use role::Role;
pub use roles::{Carried, Evidence, Held, RoleLine, RoleReading, RoleSpan, read_roles};
pub use techniques::{Techniques, techniques};
pub use themes::{Statement, Supporter, Theme, ThemeLine, ThemeNote, themes, top_lines};
