//! Tokens of `**dynam` spines.
//!
//! Source: Humdrum User Guide, chapter 28, table 28.1: `<` opens a crescendo, `(` goes on with it, `[` ends it; `>`, `)` and `]` do
//! so for a diminuendo; `s` before a soft mark is subito; `X` and `x` mark interpretations; `v` is an accent, `r` a rest.

use ripieno_score::{DynamicLevel, DynamicMark, Swell};

use super::text::text;

/// One sign of a token.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Sign {
    /// A printed dynamic.
    Mark(DynamicMark),
    /// A hairpin opens.
    Open(Swell),
    /// It closes.
    Close(Swell),
    /// Words.
    Words(String),
}

/// Reads a token that is not null; signs are added in the order written.
pub(super) fn parse(token: &[u8], out: &mut Vec<Sign>) {
    for part in token.split(|&byte| byte == b' ') {
        // "yy" hides a mark made for playback; the level it stands for is still meant.
        let part = part.strip_suffix(b"yy").unwrap_or(part);
        let mut i = 0;
        while let Some(&byte) = part.get(i) {
            let letters = part.get(i..).unwrap_or_default().iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
            match byte {
                b'<' => out.push(Sign::Open(Swell::Crescendo)),
                b'>' => out.push(Sign::Open(Swell::Diminuendo)),
                b'[' => out.push(Sign::Close(Swell::Crescendo)),
                b']' => out.push(Sign::Close(Swell::Diminuendo)),
                _ if letters > 0 => out.extend(word(part.get(i..i + letters).unwrap_or_default())),
                _ => {}
            }
            i += letters.max(1);
        }
    }
}

fn word(letters: &[u8]) -> Option<Sign> {
    let trimmed: String = text(letters).chars().filter(|c| !matches!(c, 'X' | 'x' | 'Y' | 'y')).collect();
    match trimmed.as_str() {
        "" | "v" | "r" => None,
        "z" => Some(Sign::Mark(DynamicMark::Attack("sfz".into()))),
        mark if mark.chars().all(|c| "pmfszrn".contains(c)) => Some(Sign::Mark(of_mark(mark))),
        words => Some(Sign::Words(words.to_owned())),
    }
}

/// The mark of letters such as "mf", "sfz", "fp".
fn of_mark(mark: &str) -> DynamicMark {
    if let Some(level) = DynamicLevel::from_mark(mark) {
        return DynamicMark::Level(level);
    }
    if let Some(level) = mark.strip_prefix('s').filter(|rest| rest.starts_with('p')).and_then(DynamicLevel::from_mark) {
        return DynamicMark::Level(level);
    }
    // A stress and the level after it: "fp", "sfpp", "mfp", "pf".
    let last = mark.chars().next_back().unwrap_or('f');
    let tail = mark.len() - mark.chars().rev().take_while(|&c| c == last && matches!(c, 'p' | 'f')).count();
    let after = mark.get(tail..).and_then(DynamicLevel::from_mark);
    let head = mark.get(..tail).unwrap_or_default();
    match after {
        Some(level) if last == 'p' && head.contains('f') => DynamicMark::AttackThen(mark.into(), level),
        Some(level) if last == 'f' && head.chars().all(|c| c == 'p') && !head.is_empty() => {
            DynamicMark::AttackThen(mark.into(), level)
        }
        _ if mark.contains('f') && mark.chars().all(|c| "sfzr".contains(c)) => DynamicMark::Attack(mark.into()),
        _ => DynamicMark::Other(mark.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(token: &str) -> String {
        let mut signs = Vec::new();
        parse(token.as_bytes(), &mut signs);
        let show = |sign: &Sign| match sign {
            Sign::Mark(DynamicMark::Level(level)) => format!("level {}", level.mark()),
            Sign::Mark(DynamicMark::Attack(text)) => format!("attack {text}"),
            Sign::Mark(DynamicMark::AttackThen(text, level)) => format!("attack {text} then {}", level.mark()),
            Sign::Mark(DynamicMark::Other(text)) => format!("other {text}"),
            Sign::Open(swell) => format!("open {swell:?}"),
            Sign::Close(swell) => format!("close {swell:?}"),
            Sign::Words(words) => format!("words {words}"),
        };
        signs.iter().map(show).collect::<Vec<_>>().join(", ")
    }

    #[test]
    fn levels() {
        // Humdrum User Guide, table 28.1.
        assert_eq!(shown("ppp"), "level ppp");
        assert_eq!(shown("mf"), "level mf");
        assert_eq!(shown("spp"), "level pp");
        assert_eq!(shown("Xppp"), "level ppp");
        assert_eq!(shown("z"), "attack sfz");
    }

    #[test]
    fn stresses() {
        assert_eq!(shown("sf"), "attack sf");
        assert_eq!(shown("rfz"), "attack rfz");
        assert_eq!(shown("fp"), "attack fp then p");
        assert_eq!(shown("sfpp"), "attack sfpp then pp");
        assert_eq!(shown("mfp"), "attack mfp then p");
        assert_eq!(shown("pf"), "attack pf then f");
        assert_eq!(shown("n"), "other n");
    }

    #[test]
    fn hairpins() {
        assert_eq!(shown("<"), "open Crescendo");
        assert_eq!(shown("("), "");
        assert_eq!(shown("[ >"), "close Crescendo, open Diminuendo");
        assert_eq!(shown("]pp"), "close Diminuendo, level pp");
        assert_eq!(shown("p<"), "level p, open Crescendo");
        assert_eq!(shown("cresc."), "words cresc");
    }
}
