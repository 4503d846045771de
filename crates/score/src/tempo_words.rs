//! Words about the tempo, told from others.

/// Beginnings of words that speak of tempo, in the languages scores use (common practice, from memory), without diacritics.
const STEMS: &[&str] = &[
    "accel",
    "adagi",
    "allarg",
    "alleg",
    "andant",
    "anim",
    "belebt",
    "beschleun",
    "bewegt",
    "breit",
    "broad",
    "calando",
    "eil",
    "fast",
    "feierlich",
    "grave",
    "langsam",
    "larg",
    "lebhaft",
    "lent",
    "lively",
    "maestoso",
    "marcia",
    "mass",
    "mesure",
    "moder",
    "mosso",
    "mouvement",
    "presse",
    "prest",
    "pretis",
    "quick",
    "rall",
    "rapid",
    "rasch",
    "recit",
    "retenu",
    "riten",
    "ritar",
    "ruhig",
    "schnell",
    "slow",
    "stringend",
    "tempo",
    "tranquillo",
    "vif",
    "viv",
    "zeitmass",
    "zuruck",
];
/// Words that do so only when they stand whole.
const WHOLE: &[&str] = &["rit", "string", "riten", "stretto", "steady"];

/// Whether words speak of tempo: "Allegro", "a tempo", "rit.".
#[must_use]
pub fn tells_tempo(text: &str) -> bool {
    let plain: String = text
        .to_lowercase()
        .chars()
        .map(|letter| match letter {
            'ä' | 'à' => 'a',
            'é' | 'è' | 'ê' => 'e',
            'ü' => 'u',
            'ß' => 's',
            letter => letter,
        })
        .collect();
    let mut words = plain.split(|letter: char| !letter.is_alphabetic()).filter(|word| !word.is_empty());
    words.any(|word| WHOLE.contains(&word) || STEMS.iter().any(|stem| word.starts_with(stem)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Headings of scores in four languages; common practice.
    #[test]
    fn words_of_tempo_are_told_from_others() {
        for text in [
            "Allegro non troppo, ma con brio",
            "a tempo [Adagio]",
            "Langsam und schmachtend",
            "Très lent",
            "string. molto",
            "rit.",
        ] {
            assert!(tells_tempo(text), "{text}");
        }
        for text in ["pizz.", "dolce", "cresc.", "a 2", "con sord.", "strings", "marcato", "sul G"] {
            assert!(!tells_tempo(text), "{text}");
        }
    }
}
