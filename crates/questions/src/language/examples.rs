//! What to ask instead of a question that was not understood.

/// Questions that are understood (a test asks them all): the first of those that share most with one that was not is told with the refusal.
pub const EXAMPLES: &[&str] = &[
    "all brass play",
    "all brass play and strings rest",
    "only strings play for at least 8 bars",
    "horns have melody, forte or louder",
    "trombones rest",
    "oboe solo",
    "tutti, fortissimo",
    "the melody is covered by the brass",
    "the chord is uneven",
    "the melody is doubled in octaves",
    "the melody passes from flute to oboe",
    "horns double cellos in octaves",
    "tuba stays below C3",
    "flutes stay above C6",
    "horns overlap trombones",
    "woodwind is apart from brass by at least 12 semitones",
    "violins play pizzicato",
    "trumpets are muted",
    "at least 5 sections, piano or softer",
    "at least 40 players",
    "chord dominant seventh",
    "key G minor",
    "theme 1 in horns",
    "tempo at least 120",
    "who has the melody in bars 20 to 30",
    "which brass section plays least",
    "what do the trombones do in bars 35 to 45",
    "horns enter after at least 8 bars",
];

/// Words that are not asked for so, and what comes nearest to them: an example, or where else it is told.
const OTHERWISE: &[(&[&str], &str)] = &[
    (&["low", "lower", "lowest", "deep", "bottom"], "“tuba stays below C3”"),
    (&["high", "higher", "top"], "“flutes stay above C6”"),
    (&["loud", "strong", "soft"], "“brass forte or louder”"),
    (&["fast", "slow", "quick"], "“tempo at least 120”"),
];

/// What is told with the balance of a passage and cannot be asked for by bars.
const WITH_BALANCE: &[&str] = &["roughness", "rough", "blend", "blends", "loudness", "phon", "exposure"];

/// "try, for example, “all brass play”".
pub(super) fn instead(words: impl Iterator<Item = String>) -> String {
    let words: Vec<String> = words.collect();
    if words.iter().any(|word| WITH_BALANCE.contains(&word.as_str())) {
        return "bars cannot be asked for by this; the balance of a passage tells it".to_owned();
    }
    if let Some((_, example)) = OTHERWISE.iter().find(|(of, _)| words.iter().any(|word| of.contains(&word.as_str()))) {
        return format!("try, for example, {example}");
    }
    // Words that say little weigh nothing.
    let shared = |example: &str| {
        let telling = |word: &&str| !["the", "in", "of", "to", "at", "by", "is", "a", "or", "and", "has", "have"].contains(word);
        let known: Vec<&str> = example.split([' ', ',']).filter(telling).collect();
        words.iter().filter(|word| known.iter().any(|known| stem(known) == stem(word))).count()
    };
    let nearest = EXAMPLES.iter().copied().enumerate().max_by_key(|&(at, example)| (shared(example), std::cmp::Reverse(at)));
    format!("try, for example, “{}”", nearest.map_or(EXAMPLES[0], |(_, example)| example))
}

/// A word without the ending of a plural or of the third person.
fn stem(word: &str) -> &str {
    word.strip_suffix('s').filter(|stem| stem.len() > 2).unwrap_or(word)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::language::parse;

    #[test]
    fn every_example_is_understood() {
        let otherwise = OTHERWISE.iter().map(|(_, example)| example.trim_matches(['“', '”']));
        for example in EXAMPLES.iter().copied().chain(otherwise) {
            assert!(parse(example).is_ok(), "{example}: {}", parse(example).unwrap_err());
        }
    }

    #[test]
    fn what_is_offered_has_to_do_with_what_was_asked() {
        let instead = |text: &str| instead(text.split_whitespace().map(str::to_owned));
        assert!(instead("tuba plays low").contains("below C3"));
        assert!(instead("melody maskd by brass").contains("covered by the brass"));
        assert!(instead("trombones have a rset").contains("trombones rest"));
        assert!(instead("roughness high").contains("balance"));
        assert!(instead("xyz").contains("all brass play"));
        assert!(instead("").contains("all brass play"));
    }
}
