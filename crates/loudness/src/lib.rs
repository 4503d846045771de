//! How loud a sound is to a listener, by published standards and models.
//!
//! Four questions, each with its own module: how loud is this spectrum or signal ([`zwicker`], ISO 532-1); which levels sound equally
//! loud ([`contours`], ISO 226); how loud is one sound while another sounds ([`ear`], Moore, Glasberg and Baer 1997); how loud is a
//! recording as programme material ([`programme`], EBU R 128). A hint beside them: which sounds grate ([`roughness`], Vassilakis).
//!
//! Levels are decibels of sound pressure (reference 20 µPa) unless a name says otherwise; signals are in pascals where the answer
//! depends on level, and full scale ±1 where it is about a recording. The crate knows no score and no instrument, does no input or
//! output, and answers the same for the same input.

pub mod contours;
pub mod ear;
pub mod erb;
pub mod programme;
pub mod roughness;
mod units;
pub mod zwicker;

pub use units::{Field, Phons, Sones};
