//! Sound to study by: a score played by built-in instrument models, or from a SoundFont 2 file, in a room.
//!
//! What is heard is what is claimed: tones are made from the power, spectrum, noise, attack and decay that `ripieno_acoustics` gives
//! for an instrument, a pitch and a dynamic, so that a balance heard here is the balance estimated there. A [`Passage`] turns
//! the sounding view into events in seconds; a [`Renderer`] plays any stretch of it, every group by itself, in chunks that can be
//! played while the next is made; [`render`] gathers them into [`Stems`]. Groups are switched by adding up other stems: each
//! sounds as it would among all the others, at a level fixed for the whole score.
//!
//! The same input gives the same bytes. It is a study aid and no recording: what it leaves out is in `docs/sound.md`. Left to
//! others: judging balance (`ripieno_acoustics`), and how loud a person should listen.

mod files;
pub mod groups;
pub mod loudness;
mod passage;
mod players;
mod random;
mod render;
mod room;
mod seats;
mod signs;
mod soundfont;
mod stroke;
mod tables;
mod ways;

pub use files::{Format, encode};
pub use passage::{HeardBar, Passage};
pub use render::{Chunk, Options, Renderer, SLOWEST, Selection, Stems, Stereo, mix, render};
pub use room::Room;
pub use seats::{Listener, Seat};
pub use soundfont::{Font, FontRenderer};
