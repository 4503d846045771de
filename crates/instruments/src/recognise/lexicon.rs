//! The words a part name is made of: names of instruments from the catalogue, and the words around them
//! (`data/words.csv`).

use std::collections::{BTreeMap, HashMap};
use std::sync::LazyLock;

use super::token::{Gap, Sign, Token, tokenise};
use crate::catalogue::{Catalogue, Language, catalogue};
use crate::data::each_row;

const WORDS: &str = include_str!("../../data/words.csv");

/// A set of languages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Languages(u8);

impl Languages {
    pub fn of(language: Language) -> Self {
        Self(1 << (language as u8))
    }

    pub fn has(self, language: Language) -> bool {
        self.0 & Self::of(language).0 != 0
    }

    pub fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// The languages, if there is a choice to be made at all: few words belong to one language only.
    pub fn iter(self) -> impl Iterator<Item = Language> {
        Language::ALL.into_iter().filter(move |language| self.has(*language))
    }

    pub fn len(self) -> u32 {
        self.0.count_ones()
    }
}

/// What a word that is not an instrument does in a part name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Class {
    /// "in", "en" before a key.
    KeyIn,
    Flat,
    Sharp,
    Natural,
    /// The lower of two octaves, after a key.
    Basso,
    /// The higher.
    Alto,
    /// "Primo", "second", "erste".
    Ordinal,
    /// "Due", "zwei".
    Count,
    Solo,
    Tutti,
    Others,
    Divisi,
    /// Before or after the number of a division: "fach", "parts".
    DivisiParts,
    Unison,
    Desk,
    /// "a" and "zu" before a number of players.
    ACount,
    RightHand,
    LeftHand,
    UpperStaff,
    LowerStaff,
    Pedal,
    Manual,
    /// "4 hands", "12-string": the number before it counts no players.
    Hands,
    /// "3 players": the number before it does.
    Players,
    /// "Doubling", "auch", "muta in".
    Doubling,
    And,
    Chorus,
    /// "Part", "Staff", "Track": stands where a name should.
    Placeholder,
    Noise,
}

impl Class {
    fn from_name(name: &str) -> Option<Self> {
        Some(match name {
            "key-in" => Self::KeyIn,
            "flat" => Self::Flat,
            "sharp" => Self::Sharp,
            "natural" => Self::Natural,
            "basso" => Self::Basso,
            "alto" => Self::Alto,
            "ordinal" => Self::Ordinal,
            "count" => Self::Count,
            "solo" => Self::Solo,
            "tutti" => Self::Tutti,
            "others" => Self::Others,
            "divisi" => Self::Divisi,
            "divisi-parts" => Self::DivisiParts,
            "unison" => Self::Unison,
            "desk" => Self::Desk,
            "a-count" => Self::ACount,
            "right-hand" => Self::RightHand,
            "left-hand" => Self::LeftHand,
            "upper-staff" => Self::UpperStaff,
            "lower-staff" => Self::LowerStaff,
            "pedal" => Self::Pedal,
            "manual" => Self::Manual,
            "hands" => Self::Hands,
            "players" => Self::Players,
            "doubling" => Self::Doubling,
            "and" => Self::And,
            "chorus" => Self::Chorus,
            "placeholder" => Self::Placeholder,
            "noise" => Self::Noise,
            _ => return None,
        })
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Qualifier {
    pub class: Class,
    pub value: u16,
    pub languages: Languages,
}

/// One way of naming one instrument.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    /// Position in the catalogue.
    pub instrument: u16,
    pub languages: Languages,
    /// Only ever a plural.
    pub plural: bool,
    pub abbreviation: bool,
    /// Its words, folded, and whether each is a single letter that wants a full stop.
    pub words: Vec<(String, bool)>,
    /// Whether a bracket opens before the word, as in "batterie (jazz)".
    pub opens: Vec<bool>,
}

impl Entry {
    /// An abbreviation spelt like a word in full adds nothing to it: "cors" stays a plural beside "cors.".
    fn merge(&mut self, plural: bool, abbreviation: bool) {
        if self.abbreviation == abbreviation {
            self.plural &= plural;
        } else if self.abbreviation {
            (self.plural, self.abbreviation) = (plural, false);
        }
    }

    /// Whether it has single letters among its words, as "trb. a." and "e. b." have, so that run together it may be
    /// another word or a key.
    pub fn has_letters(&self) -> bool {
        self.words.len() > 1 && self.words.iter().any(|(word, _)| word.len() == 1)
    }

    /// Whether the words are cut as in the tokens.
    pub fn cut_as(&self, tokens: &[Token]) -> bool {
        self.words.len() == tokens.len()
            && self.words.iter().zip(tokens).all(|((word, _), token)| *word == token.text && token.sign.is_none())
    }
}

pub(crate) struct Lexicon {
    pub entries: Vec<Entry>,
    /// Letters of a whole name, spaces out: "bassklarinette" finds "Bass-Klarinette" too.
    by_letters: HashMap<String, Vec<u32>>,
    /// Words of a name in alphabetical order: "Trombone, bass" finds "bass trombone".
    by_bag: HashMap<String, Vec<u32>>,
    /// First word of a name, in alphabetical order, for abbreviations and slips.
    first_words: Vec<(String, Vec<u32>)>,
    /// All keys of `by_letters`, in alphabetical order.
    letters: Vec<String>,
    qualifiers: HashMap<String, Vec<Qualifier>>,
}

/// The longest run of tokens looked up as one name.
pub(crate) const LONGEST_NAME: usize = 6;
/// The longest run looked up as one qualifier.
pub(crate) const LONGEST_QUALIFIER: usize = 3;

static LEXICON: LazyLock<Lexicon> = LazyLock::new(|| {
    // Embedded data read by tests, as in the catalogue.
    #[allow(clippy::panic)]
    Lexicon::build(catalogue()).unwrap_or_else(|fault| panic!("the word list is damaged: {fault}"))
});

pub(crate) fn lexicon() -> &'static Lexicon {
    &LEXICON
}

fn bag(words: &mut [&str]) -> String {
    words.sort_unstable();
    words.join(" ")
}

/// German names may be spelt without umlauts: "Floete", "Hoerner".
fn spelt_out(name: &str) -> Option<String> {
    if !name.contains(['ä', 'ö', 'ü', 'Ä', 'Ö', 'Ü']) {
        return None;
    }
    let mut text = String::with_capacity(name.len() + 2);
    for c in name.chars() {
        match c {
            'ä' => text.push_str("ae"),
            'ö' => text.push_str("oe"),
            'ü' => text.push_str("ue"),
            'Ä' => text.push_str("Ae"),
            'Ö' => text.push_str("Oe"),
            'Ü' => text.push_str("Ue"),
            _ => text.push(c),
        }
    }
    Some(text)
}

impl Lexicon {
    fn build(catalogue: &Catalogue) -> Result<Self, String> {
        let mut lexicon = Self {
            entries: Vec::new(),
            by_letters: HashMap::new(),
            by_bag: HashMap::new(),
            first_words: Vec::new(),
            letters: Vec::new(),
            qualifiers: HashMap::new(),
        };
        for (at, instrument) in catalogue.all().iter().enumerate() {
            let at = u16::try_from(at).map_err(|_| "too many instruments".to_owned())?;
            for language in Language::ALL {
                let names = instrument.names(language);
                let mut add = |name: &str, plural, abbreviation| lexicon.add(at, language, name, plural, abbreviation);
                add(&names.singular, false, false);
                add(&names.plural, names.plural != names.singular, false);
                names.variants.iter().for_each(|name| add(name, false, false));
                names.plural_variants.iter().for_each(|name| add(name, true, false));
                names.abbreviations.iter().for_each(|name| add(name, false, true));
            }
        }
        let mut first_words: BTreeMap<String, Vec<u32>> = BTreeMap::new();
        let mut letters: BTreeMap<String, ()> = BTreeMap::new();
        for (id, entry) in (0_u32..).zip(&lexicon.entries) {
            if let Some((word, _)) = entry.words.first() {
                first_words.entry(word.clone()).or_default().push(id);
            }
            letters.insert(entry.words.iter().map(|(word, _)| word.as_str()).collect(), ());
        }
        lexicon.first_words = first_words.into_iter().collect();
        lexicon.letters = letters.into_keys().collect();
        each_row("words.csv", WORDS, |row| {
            let class = Class::from_name(row.get("class")).ok_or_else(|| row.fault("unknown class"))?;
            let mut languages = Languages::default();
            for code in row.get("language").split_whitespace() {
                let language = Language::from_code(code).ok_or_else(|| row.fault("unknown language"))?;
                languages = languages.union(Languages::of(language));
            }
            let value = match row.get("value") {
                "" => 0,
                text => text.parse().map_err(|_| row.fault("column value"))?,
            };
            let letters = tokenise(row.get("word")).iter().map(|token| token.text.as_str()).collect();
            lexicon.qualifiers.entry(letters).or_default().push(Qualifier { class, value, languages });
            Ok(())
        })?;
        Ok(lexicon)
    }

    fn add(&mut self, instrument: u16, language: Language, name: &str, plural: bool, abbreviation: bool) {
        if let Some(spelt) = spelt_out(name).filter(|_| language == Language::German) {
            self.add_one(instrument, language, &spelt, plural, abbreviation);
        }
        if name.contains("-flat") {
            self.add_one(instrument, language, &name.replace("-flat", "b"), plural, abbreviation);
        }
        self.add_one(instrument, language, name, plural, abbreviation);
    }

    fn add_one(&mut self, instrument: u16, language: Language, name: &str, plural: bool, abbreviation: bool) {
        let tokens = tokenise(name);
        let words: Vec<_> = tokens.iter().map(|token| (token.text.clone(), token.is_letter() && token.dotted)).collect();
        let letters: String = words.iter().map(|(word, _)| word.as_str()).collect();
        if letters.is_empty() {
            return;
        }
        let opens: Vec<bool> = tokens.iter().map(|token| token.gap.open).collect();
        let same = self.by_letters.entry(letters).or_default();
        for id in same.iter() {
            let entry = &mut self.entries[*id as usize];
            if entry.instrument == instrument && entry.words == words && entry.opens == opens {
                entry.languages = entry.languages.union(Languages::of(language));
                entry.merge(plural, abbreviation);
                return;
            }
        }
        let id = u32::try_from(self.entries.len()).unwrap_or(u32::MAX);
        same.push(id);
        if words.len() > 1 {
            let mut parts: Vec<&str> = words.iter().map(|(word, _)| word.as_str()).collect();
            self.by_bag.entry(bag(&mut parts)).or_default().push(id);
        }
        let languages = Languages::of(language);
        self.entries.push(Entry { instrument, languages, plural, abbreviation, words, opens });
    }

    /// Names with exactly these letters.
    pub fn exact(&self, letters: &str) -> &[u32] {
        self.by_letters.get(letters).map_or(&[], Vec::as_slice)
    }

    /// Names with exactly these words in any order.
    pub fn any_order(&self, words: &mut [&str]) -> &[u32] {
        self.by_bag.get(&bag(words)).map_or(&[], Vec::as_slice)
    }

    /// Names whose letters begin with these.
    pub fn beginning(&self, letters: &str) -> impl Iterator<Item = u32> {
        let from = self.letters.partition_point(|key| key.as_str() < letters);
        let letters = letters.to_owned();
        self.letters[from..]
            .iter()
            .take_while(move |key| key.starts_with(&letters))
            .flat_map(|key| self.exact(key).iter().copied())
    }

    /// Names whose first word begins with these letters, or differs from them by a slip.
    pub fn first_word_like(&self, token: &Token) -> impl Iterator<Item = (f32, u32)> {
        let word = token.text.as_str();
        let from = self.first_words.partition_point(|(key, _)| key.as_str() < word);
        let begins = self.first_words[from..].iter().take_while(move |(key, _)| key.starts_with(word));
        // A slip seldom falls on the first letter; looking there alone keeps this cheap.
        let letter = &word[..word.chars().next().map_or(0, char::len_utf8)];
        let first = self.first_words.partition_point(|(key, _)| key.as_str() < letter);
        let slips = self.first_words[first..].iter().take_while(move |(key, _)| key.starts_with(letter));
        begins
            .chain(slips)
            .filter_map(move |(key, ids)| likeness(token, key).map(|quality| (quality, ids)))
            .flat_map(|(quality, ids)| ids.iter().map(move |id| (quality, *id)))
    }

    /// Takes apart the compounds German makes of a name and "solo" or "chor": "Altsolo", "Soloviolinen", "Chorsopran".
    pub fn split_compounds(&self, tokens: Vec<Token>) -> Vec<Token> {
        const PARTS: [&str; 3] = ["solo", "soli", "chor"];
        let mut split = Vec::with_capacity(tokens.len());
        for token in tokens {
            let known = |word: &str| word.len() > 2 && !self.exact(word).is_empty();
            let text = token.text.as_str();
            let cut = if !token.is_word() || known(text) {
                None
            } else {
                PARTS.iter().find_map(|part| {
                    let at = match (text.strip_suffix(part), text.strip_prefix(part)) {
                        (Some(name), _) if known(name) => name.len(),
                        (_, Some(name)) if known(name) => part.len(),
                        _ => return None,
                    };
                    text.is_char_boundary(at).then_some(at)
                })
            };
            let Some(at) = cut else {
                split.push(token);
                continue;
            };
            // Folding changes lengths, so both halves point at the whole word.
            let (first, second) = token.text.split_at(at);
            split.push(Token { text: first.to_owned(), dotted: false, ..token.clone() });
            split.push(Token { text: second.to_owned(), gap: Gap { dash: true, ..Gap::default() }, ..token });
        }
        split
    }

    /// The names that a suspended compound stands for: "Alt-" before "Tenorposaune" is "Altposaune".
    pub fn completed(&self, start: &str, next: &str) -> &[u32] {
        next.char_indices()
            .skip(2)
            .map(|(at, _)| self.exact(&format!("{start}{}", &next[at..])))
            .find(|ids| !ids.is_empty())
            .unwrap_or(&[])
    }

    /// What else these letters may mean.
    pub fn qualifiers(&self, letters: &str) -> &[Qualifier] {
        self.qualifiers.get(letters).map_or(&[], Vec::as_slice)
    }

    /// Whether a single word means something that is no instrument.
    pub fn is_class(&self, token: &Token, class: Class) -> bool {
        self.qualifiers(&token.text).iter().any(|q| q.class == class)
    }
}

/// How well a token stands for a word of the lexicon: 1 when equal, less when it abbreviates it or has a slip, `None`
/// when it does not.
pub(crate) fn likeness(token: &Token, word: &str) -> Option<f32> {
    let text = token.text.as_str();
    if text == word {
        return Some(1.0);
    }
    if word.starts_with(text) {
        if token.dotted && text.len() >= 2 {
            return Some(0.85);
        }
        // Without its full stop an abbreviation must show most of the word.
        if text.len() >= 4 && text.len() * 2 >= word.len() {
            return Some(0.75);
        }
        return None;
    }
    let allowed = match text.len() {
        0..=4 => 0,
        5..=8 => 1,
        _ => 2,
    };
    // A slip in a short word may be another word altogether.
    let quality = if text.len() < 7 { 0.55 } else { 0.7 };
    (allowed > 0 && distance_within(text.as_bytes(), word.as_bytes(), allowed)).then_some(quality)
}

/// Whether two words differ by at most so many letters left out, put in, changed or swapped with a neighbour.
fn distance_within(a: &[u8], b: &[u8], allowed: usize) -> bool {
    if a.len().abs_diff(b.len()) > allowed {
        return false;
    }
    let mut before: Vec<usize> = Vec::new();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut next = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let mut cost = (row[j] + usize::from(x != y)).min(row[j + 1] + 1).min(next[j] + 1);
            if i > 0 && j > 0 && *x == b[j - 1] && a[i - 1] == *y {
                cost = cost.min(before[j - 1] + 1);
            }
            next.push(cost);
        }
        if next.iter().min().is_some_and(|least| *least > allowed) {
            return false;
        }
        before = std::mem::replace(&mut row, next);
    }
    row[b.len()] <= allowed
}

/// The folded letters of a text, for looking it up; a flat sign counts as the b that often stands for it.
pub(crate) fn letters_of(tokens: &[Token]) -> String {
    let mut letters = String::new();
    for token in tokens {
        letters.push_str(&token.text);
        if token.sign == Some(Sign::Flat) {
            letters.push('b');
        }
    }
    letters
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_one_edit() {
        assert!(distance_within(b"viloin", b"violin", 1));
        assert!(distance_within(b"clarinete", b"clarinetto", 2));
        assert!(!distance_within(b"alfio", b"alto", 1));
    }

    #[test]
    fn names_are_found_however_cut() {
        let lexicon = lexicon();
        for text in ["bassklarinette", "tamtam", "englischhorn", "fagotti", "floten", "floeten"] {
            assert!(!lexicon.exact(text).is_empty(), "{text}");
        }
        assert!(!lexicon.any_order(&mut ["trombone", "bass"]).is_empty());
    }
}
