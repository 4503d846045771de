//! One sound in the presence of another: excitation along the cochlea, loudness, partial loudness and how far a sound lies above what
//! covers it.
//!
//! The model is that of Moore, B. C. J., Glasberg, B. R. and Baer, T. (1997), A model for the prediction of thresholds, loudness, and
//! partial loudness, J. Audio Eng. Soc. 45, 224-240, with the constants of ANSI S3.4-2007. The formulas and the threshold of 0.003
//! sone are entered from memory; the tables agree with published transcriptions; `tables.rs` says which is which.
//!
//! Ours, and not the paper's: each sound spreads by its own level, not by that of both together, so that a masker can never raise
//! what it covers; above 100 dB in one filter the formulas of medium levels go on. Both ears hear the same.

mod excitation;
mod partial;
mod tables;

pub use excitation::{CHANNELS, Excitation, Tone, excitation, third_octaves};
pub use partial::{THRESHOLD, audibility_margin, loudness, partial_loudness, specific_partial_loudness};
