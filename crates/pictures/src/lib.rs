//! Pictures of a studied score, as SVG text.
//!
//! Each picture is a pure function from plain rows and columns to SVG, so that report, handout and page show the same one.
//! Colours and textures of roles live in [`palette`] alone. Nothing here knows scores or counts anything; captions and tips
//! come from the caller.

pub mod palette;
mod register_chart;
mod role_map;
mod svg;

pub use register_chart::{RegisterBar, RegisterChart, register_chart};
pub use role_map::{MapCell, MapRow, RoleMap, role_map};
