//! The instrument catalogue.
