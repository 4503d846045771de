//! Pictures of a studied score, as SVG text.
//!
//! Each picture is a pure function from plain rows and columns to SVG, so that report, handout and page show the same one.
//! Pictures are as wide as the page that holds them: time and pitch are drawn in percentages, letters and textures keep their size.
//! Colours and textures of roles live in [`palette`] alone. Nothing here knows scores or counts anything; captions and what
//! a cell stands for come from the caller.

mod band_chart;
mod bar_map;
mod marks;
pub mod palette;
mod register_chart;
mod sheet;
mod svg;

pub use band_chart::{Band, BandChart, BandStep, band_chart};
pub use bar_map::{BarMap, MapCell, MapLane, MapRow, bar_map};
pub use register_chart::{RegisterBar, RegisterChart, register_chart};
pub use sheet::{Key, Sheet, sheet};
pub use svg::definitions;
