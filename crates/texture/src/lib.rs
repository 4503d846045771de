//! Who does what.
//!
//! From the sounding view of a score this crate tells, for every part in every bar, which [`Role`] it plays and why.
//! It counts nothing (that is practice) and knows nothing of instruments: a role is heard, whoever plays it.
//!
//! The present reading is a first cut by position and manner - highest line, its doublings, lowest line, held notes,
//! repeated notes - and says so in every reason. It needs no training and is right where the texture is plain.

mod bar_lines;
mod first_cut;
mod learned;
mod role;

pub use bar_lines::{BarLine, bar_lines};
pub use first_cut::{Reason, RoleGrid, RoleInBar, first_cut};
pub use learned::{Groups, RoleProbabilities, feature_table, predict, role_features, role_logits};
pub use role::Role;
