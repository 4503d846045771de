//! The desk: a server on this machine alone, and the page it serves, on which scores are studied.
//!
//! [`Desk`] holds a library, the studies opened last and what is being done; [`router`] is its HTTP interface, described by
//! [`openapi`]; [`serve`] binds it to the loopback address and lets in whoever has its [`Key`]. Everything musical comes from `study`, `questions` and `library`: this
//! crate names, numbers and hands on. A request that a foreign page could have sent is refused (`guard`).
#![forbid(unsafe_code)]

mod anchors;
mod api;
mod asking;
mod assets;
mod balance;
mod chart;
mod compare;
mod corrections;
mod desk;
mod evidence;
mod excerpt;
mod failure;
mod guard;
mod jobs;
mod key;
mod listen;
mod media;
mod notes;
mod profiles;
mod saved;
mod serve;
mod shelf;
mod studied;
mod takeaway;
mod upload;
mod versions;
mod view;
mod weigher;
mod write;

pub use api::{openapi, router};
pub use desk::Desk;
pub use key::Key;
pub use serve::{Addresses, Options, serve};
