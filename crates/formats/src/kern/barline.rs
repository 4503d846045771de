//! A barline token.
//!
//! Source: Humdrum Representation Reference, "common system" for barlines: equals signs, an optional number with an
//! optional letter for the bar that follows, then how the line looks: `|` thin, `!` heavy, `:` repeat dots, `-` invisible.

/// What a barline says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Barline {
    /// Number and letter of the bar that follows, as written.
    pub number: Box<str>,
    /// Two or more equals signs: a double barline, usually the end.
    pub double: bool,
    /// The bars before it are repeated.
    pub repeat_end: bool,
    /// The bars after it are repeated.
    pub repeat_start: bool,
    /// A fermata stands over it.
    pub fermata: bool,
    /// How it looks, by its MusicXML name; `None` when nothing is said.
    pub style: Option<&'static str>,
}

/// Digits of a bar number kept.
const MOST_DIGITS: usize = 9;

/// Reads a token that begins with an equals sign.
pub(super) fn parse(token: &[u8]) -> Barline {
    let equals = token.iter().take_while(|&&byte| byte == b'=').count();
    let rest = token.get(equals..).unwrap_or_default();
    let digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let letters = rest.get(digits..).unwrap_or_default().iter().take_while(|byte| byte.is_ascii_lowercase()).count().min(2);
    let letters = if digits > 0 { letters } else { 0 };
    let number = rest.get(..digits + letters).unwrap_or_default();
    let look = rest.get(digits + letters..).unwrap_or_default();
    let line = |byte: &u8| matches!(byte, b'|' | b'!');
    let lines: Vec<u8> = look.iter().filter(|byte| line(byte)).copied().take(4).collect();
    let first = look.iter().position(line);
    let last = look.iter().rposition(line);
    let dots = |at: Option<usize>| at.and_then(|at| look.get(at)) == Some(&b':');
    let before = dots(first.and_then(|first| first.checked_sub(1)));
    let after = dots(last.map(|last| last + 1));
    Barline {
        number: if digits <= MOST_DIGITS { String::from_utf8_lossy(number).into() } else { "".into() },
        double: equals > 1,
        // Dots without any line can only close a section.
        repeat_end: before || (first.is_none() && look.contains(&b':')),
        repeat_start: after,
        fermata: look.contains(&b';'),
        style: style(look, &lines),
    }
}

fn style(look: &[u8], lines: &[u8]) -> Option<&'static str> {
    match lines {
        _ if look.contains(&b'-') => Some("none"),
        b"|!" => Some("light-heavy"),
        b"!|" => Some("heavy-light"),
        b"||" | b"||!" => Some("light-light"),
        b"!!" => Some("heavy-heavy"),
        b"!" => Some("heavy"),
        b"|!|" => Some("light-heavy"),
        _ if look.contains(&b'\'') => Some("short"),
        _ if look.contains(&b'`') => Some("tick"),
        _ if look.contains(&b'"') || look.contains(&b'.') => Some("dotted"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::parse;

    /// Number, then what is special.
    fn shown(token: &str) -> String {
        let barline = parse(token.as_bytes());
        let mut words = vec![format!("{:?}", barline.number)];
        words.extend(barline.double.then(|| "double".to_owned()));
        words.extend(barline.repeat_end.then(|| "end".to_owned()));
        words.extend(barline.repeat_start.then(|| "start".to_owned()));
        words.extend(barline.fermata.then(|| "fermata".to_owned()));
        words.extend(barline.style.map(str::to_owned));
        words.join(" ")
    }

    #[test]
    fn the_examples_of_the_reference() {
        // Humdrum Representation Reference, barlines, table of examples.
        assert_eq!(shown("="), "\"\"");
        assert_eq!(shown("=29"), "\"29\"");
        assert_eq!(shown("=29a"), "\"29a\"");
        assert_eq!(shown("=29c;"), "\"29c\" fermata");
        assert_eq!(shown("====;"), "\"\" double fermata");
        assert_eq!(shown("==|!"), "\"\" double light-heavy");
        assert_eq!(shown("=:|:"), "\"\" end start");
        assert_eq!(shown("=:||:"), "\"\" end start light-light");
        assert_eq!(shown("=29`"), "\"29\" tick");
        assert_eq!(shown("=29-"), "\"29\" none");
        assert_eq!(shown("==:|!"), "\"\" double end light-heavy");
    }

    #[test]
    fn repeats_as_files_write_them() {
        assert_eq!(shown("=12:|!"), "\"12\" end light-heavy");
        assert_eq!(shown("=!|:"), "\"\" start heavy-light");
        assert_eq!(shown("=5:|!|:"), "\"5\" end start light-heavy");
        assert_eq!(shown("=:!!:"), "\"\" end start heavy-heavy");
        assert_eq!(shown("=7||"), "\"7\" light-light");
        assert_eq!(shown("=:"), "\"\" end");
    }

    #[test]
    fn absurd_numbers() {
        assert_eq!(shown("=99999999999"), "\"\"");
        assert_eq!(shown("=-"), "\"\" none");
    }
}
