//! Da capo, dal segno, coda and fine: from signs, from playback instructions, and from words.

use ripieno_score::Jump;

/// What a printed text asks for: "D.C. al Fine", "Dal Segno", "To Coda", "Fine"; `None` for other texts.
pub(crate) fn in_words(text: &str) -> Option<Jump> {
    const LONGEST: usize = 40;
    if text.len() > LONGEST {
        return None;
    }
    let bare: String = text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
    let none = || Box::from("");
    match bare.as_str() {
        "fine" | "ilfine" => return Some(Jump::Fine),
        "tocoda" | "alcoda" | "allacoda" => return Some(Jump::ToCoda(none())),
        "coda" => return Some(Jump::Coda(none())),
        "segno" => return Some(Jump::Segno(none())),
        _ => {}
    }
    let follows = |short: &str, long: &str| {
        if bare.starts_with(long) {
            return true;
        }
        let rest = bare.strip_prefix(short);
        rest.is_some_and(|rest| {
            rest.is_empty() || ["al", "senza", "con", "e", "un", "bis"].iter().any(|word| rest.starts_with(word))
        })
    };
    if follows("dc", "dacapo") {
        return Some(Jump::DaCapo);
    }
    follows("ds", "dalsegno").then(|| Jump::DalSegno(none()))
}

/// Whether the two are of one kind, whatever their labels.
pub(super) fn same_kind(a: &Jump, b: &Jump) -> bool {
    std::mem::discriminant(a) == std::mem::discriminant(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_the_usual_words() {
        for (text, jump) in [
            ("D.C. al Fine", Some(Jump::DaCapo)),
            ("Da Capo", Some(Jump::DaCapo)),
            ("D. S. al Coda", Some(Jump::DalSegno("".into()))),
            ("Dal Segno", Some(Jump::DalSegno("".into()))),
            ("To Coda", Some(Jump::ToCoda("".into()))),
            ("Fine", Some(Jump::Fine)),
            ("Coda", Some(Jump::Coda("".into()))),
            ("dolce", None),
            ("finely", None),
            ("dc motor", None),
        ] {
            assert_eq!(in_words(text), jump, "{text}");
        }
    }
}
