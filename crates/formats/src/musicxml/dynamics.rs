//! `<dynamics>`: printed loudness.

use ripieno_score::{DynamicLevel, DynamicMark};

use super::context::Context;
use super::text::clean;

/// The marks inside a `<dynamics>` element: signs in a row are one mark ("s" + "fz"), other texts stand alone.
pub(super) fn read(context: &mut Context<'_, '_>) -> Vec<DynamicMark> {
    let mut marks = Vec::new();
    let mut sign = String::new();
    while let Some(tag) = context.cursor.child() {
        if tag.name() == "other-dynamics" {
            let text = clean(&context.cursor.text());
            if !text.is_empty() {
                marks.extend(mark_of(&std::mem::take(&mut sign)));
                marks.extend(mark_of(&text));
            }
        } else {
            context.cursor.skip();
            // Names are short; a damaged file may have any number of elements here.
            if sign.len() < 16 {
                sign.push_str(tag.name());
            }
        }
    }
    marks.extend(mark_of(&sign));
    marks
}

/// What a printed dynamic means; `None` for an empty one.
pub(super) fn mark_of(text: &str) -> Option<DynamicMark> {
    if text.is_empty() {
        return None;
    }
    if let Some(level) = DynamicLevel::from_mark(text) {
        return Some(DynamicMark::Level(level));
    }
    let then = |level: &str| DynamicLevel::from_mark(level).map(|level| DynamicMark::AttackThen(text.into(), level));
    match text {
        "sf" | "sfz" | "fz" | "rf" | "rfz" | "sffz" | "sff" | "sfffz" => Some(DynamicMark::Attack(text.into())),
        "fp" | "sfp" | "sfzp" | "rfp" | "ffp" | "mfp" => then("p"),
        "sfpp" | "fpp" | "sfzpp" | "ffpp" => then("pp"),
        "pf" => then("f"),
        _ => Some(DynamicMark::Other(text.into())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tells_levels_from_attacks() {
        assert_eq!(mark_of("mf"), Some(DynamicMark::Level(DynamicLevel(5.0))));
        assert_eq!(mark_of("sfz"), Some(DynamicMark::Attack("sfz".into())));
        assert_eq!(mark_of("fp"), Some(DynamicMark::AttackThen("fp".into(), DynamicLevel(3.0))));
        assert_eq!(mark_of("mezza voce"), Some(DynamicMark::Other("mezza voce".into())));
        assert_eq!(mark_of(""), None);
    }
}
