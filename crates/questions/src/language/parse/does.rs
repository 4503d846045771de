//! What players do.

use ripieno_texture::Role;

use super::super::question::{Condition, Doubled, End, Lie, PedalNote, Register, Stacked};
use super::super::words::{DEGREES, HIDDEN, ROLES, SWELLS, WAYS};
use super::pitch::pitch;
use super::players::{alone, each_who, plain};
use super::{Parsed, Parser, Subjects, Who, each};

/// What is neither melody, countermelody, bass nor effect.
const ACCOMPANIMENT: [Role; 5] = [Role::Harmony, Role::Pedal, Role::Rhythm, Role::Figuration, Role::Punctuation];

impl Parser {
    pub(super) fn begins_verb(&self) -> bool {
        const VERBS: &[&str] = &[
            "play",
            "plays",
            "playing",
            "sound",
            "sounds",
            "rest",
            "rests",
            "have",
            "has",
            "carry",
            "carries",
            "double",
            "doubles",
            "overlap",
            "overlaps",
            "touch",
            "touches",
            "lead",
            "leads",
            "take",
            "takes",
            "share",
            "shares",
            "stay",
            "stays",
            "alone",
            "accompany",
            "accompanies",
            "are",
            "is",
            "lie",
            "lies",
            "enter",
            "enters",
            "cover",
            "covers",
            "mask",
            "masks",
            "solo",
            "sing",
            "sings",
            "go",
            "goes",
            "reach",
            "reaches",
            "cross",
            "crosses",
            "drop",
            "drops",
            "stop",
            "stops",
            "leave",
            "leaves",
            "come",
            "comes",
            "change",
            "changes",
            "hold",
            "holds",
            "thicken",
            "thickens",
            "hand",
            "hands",
            "pass",
            "passes",
            "crescendo",
            "diminuendo",
            "split",
            "splits",
            "support",
            "supports",
            "use",
            "uses",
        ];
        if self.is_next("first") {
            return self.word(1).is_some_and(|word| VERBS.contains(&word.as_str()));
        }
        self.word(0).is_some_and(|word| VERBS.contains(&word.as_str()))
    }

    pub(super) fn begins_predicate(&self) -> bool {
        self.begins_verb()
            || self.word(0).is_some_and(|word| ["above", "below", "between"].contains(&word.as_str()))
            || WAYS.iter().any(|(words, _)| self.are_next(0, words))
    }

    /// "pizzicato", "con sordino", "a 2".
    fn way(&mut self) -> Option<&'static str> {
        WAYS.iter().find(|(words, _)| self.pass_all(words)).map(|(_, way)| *way)
    }

    /// What the players do; further particulars follow without "and": "horns play above F4 forte or louder".
    pub(super) fn predicates(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        let first = if std::mem::take(&mut self.copula) { self.are(subjects)? } else { self.predicate(subjects)? };
        let mut all = vec![first];
        loop {
            if let Some((side, level)) = self.level()? {
                all.push(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
            } else if let Some(way) = self.way() {
                all.push(each(subjects, |subject| Condition::Way(subject, way)));
            } else if self.above_whom() {
                all.push(self.lies(subjects)?);
            } else if let Some(register) = self.register()? {
                all.push(each(subjects, |subject| Condition::Register(subject, register)));
            } else if self.pass_all(&["in", "bars"]) || self.pass_all(&["in", "bar"]) {
                all.push(self.bars()?);
            } else {
                return Ok(if all.len() == 1 { all.remove(0) } else { Condition::All(all, Vec::new()) });
            }
        }
    }

    pub(super) fn predicate(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if let Some((side, level)) = self.level()? {
            let level = each(subjects, |subject| Condition::Level(Some(subject), side, level));
            // "horns softly play": as "horns play softly".
            return Ok(if self.begins_verb() {
                Condition::All(vec![self.predicate(subjects)?, level], Vec::new())
            } else {
                level
            });
        }
        if self.above_whom() {
            return self.lies(subjects);
        }
        if let Some(register) = self.register()? {
            return Ok(each(subjects, |subject| Condition::Register(subject, register)));
        }
        if let Some(way) = self.way() {
            return Ok(each(subjects, |subject| Condition::Way(subject, way)));
        }
        let (doubled, above) = self.interval()?;
        if doubled != Doubled::Anyhow {
            return self.at_interval(subjects, doubled, above);
        }
        if let Some(spacing) = self.spacing() {
            return Ok(self.voiced(subjects, spacing));
        }
        if self.drops_out() {
            return Ok(each(subjects, Condition::Leaves));
        }
        if let Some((_, swell)) = SWELLS.iter().find(|(words, _)| self.pass_all(words)) {
            return Ok(each(subjects, |subject| Condition::Swells(Some(subject), swell)));
        }
        if self.pass(&["change", "changes"]) {
            return self.changing(subjects);
        }
        if self.pass(&["thicken", "thickens"]) {
            return self.thickening(subjects);
        }
        if self.pass(&["hand", "hands", "pass", "passes"]) {
            let _ = self.pass_all(&["over"]) || self.pass_all(&["on"]);
            let _ = self.pass(&["the"]);
            self.need(&["melody", "tune"], "“the melody to”")?;
            self.need(&["to"], "“to” and other players")?;
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::TakesOver(whom.clone(), Some(who))));
        }
        if self.pass(&["go", "goes", "cross", "crosses", "reach", "reaches"]) {
            if let Some(key) = self.word(0).and_then(|word| pitch(&word)) {
                self.at += 1;
                return Ok(each(subjects, |subject| Condition::Register(subject, Register::Above(key - 1))));
            }
            return self.lies(subjects);
        }
        if self.pass(&["first"]) {
            self.need(&["enter", "enters", "play", "plays", "sound", "sounds"], "“enter”")?;
            return Ok(each(subjects, Condition::FirstEnters));
        }
        if self.pass(&["enter", "enters"]) || self.pass_all(&["come", "in"]) || self.pass_all(&["comes", "in"]) {
            let rest = self.rest_before()?;
            return Ok(each(subjects, |subject| Condition::Enters(subject, rest)));
        }
        if self.pass(&["solo"]) {
            return Ok(each_who(subjects, Condition::Solo));
        }
        if self.pass(&["cover", "covers", "mask", "masks"]) {
            let _ = self.pass(&["the"]);
            self.need(&["melody", "tune"], "“the melody”")?;
            return Ok(each_who(subjects, |who| Condition::Heard(HIDDEN.to_vec(), Some(who))));
        }
        if self.pass(&["do", "does"]) {
            self.need(&["not"], "“not”")?;
            return Ok(Condition::Not(Box::new(self.predicate(subjects)?)));
        }
        if self.pass(&["play", "plays", "sound", "sounds", "playing", "sing", "sings"]) {
            if self.pass_all(&["for", "the", "first", "time"]) {
                return Ok(each(subjects, Condition::FirstEnters));
            }
            let (doubled, above) = self.interval()?;
            if doubled != Doubled::Anyhow {
                return self.at_interval(subjects, doubled, above);
            }
            if self.above_whom() {
                return self.lies(subjects);
            }
            if let Some(spacing) = self.spacing() {
                return Ok(self.voiced(subjects, spacing));
            }
            if let Some(stacked) = self.stacked(subjects) {
                return Ok(stacked);
            }
            let begin = self.at;
            let _ = self.pass(&["a"]);
            if let Some((_, swell)) = SWELLS.iter().find(|(words, _)| self.pass_all(words)) {
                return Ok(each(subjects, |subject| Condition::Swells(Some(subject), swell)));
            }
            self.at = begin;
            if let Some(way) = self.way() {
                return Ok(each(subjects, |subject| Condition::Way(subject, way)));
            }
            // "play the melody", "play chords"
            let article = usize::from(self.word(0).is_some_and(|word| word == "the" || word == "a"));
            if ROLES.iter().any(|(words, _)| self.are_next(article, words)) {
                self.at += article;
                let roles = self.roles()?;
                return Ok(each(subjects, |subject| Condition::Has(subject, roles.clone())));
            }
            if self.pass(&["alone"]) {
                return Ok(alone(subjects));
            }
            return Ok(each(subjects, Condition::Plays));
        }
        if self.pass(&["alone"]) {
            return Ok(alone(subjects));
        }
        if self.pass(&["accompany", "accompanies"]) {
            let accompany = each(subjects, |subject| Condition::Has(subject, ACCOMPANIMENT.to_vec()));
            let begin = self.at;
            let _ = self.pass(&["the"]);
            return Ok(match self.who()? {
                Some(whom) => Condition::All(vec![accompany, Condition::Has(plain(whom), vec![Role::Melody])], Vec::new()),
                None => {
                    self.at = begin;
                    let _ = self.pass_all(&["the", "melody"]) || self.pass(&["melody"]);
                    accompany
                }
            });
        }
        if self.pass(&["rest", "rests"]) {
            return Ok(each(subjects, Condition::Rests));
        }
        if self.pass(&["have", "has", "carry", "carries", "hold", "holds", "use", "uses"]) {
            if let Some(way) = self.way() {
                return Ok(each(subjects, |subject| Condition::Way(subject, way)));
            }
            let _ = self.pass(&["the", "a"]);
            if self.pass(&["solo", "solos"]) {
                return Ok(each_who(subjects, Condition::Solo));
            }
            if let Some((_, swell)) = SWELLS.iter().find(|(words, _)| self.pass_all(words)) {
                return Ok(each(subjects, |subject| Condition::Swells(Some(subject), swell)));
            }
            if let Some(note) = self.pedal_note_held()? {
                return Ok(each(subjects, |subject| Condition::Pedal(subject, note)));
            }
            let roles = self.roles()?;
            return Ok(each(subjects, |subject| Condition::Has(subject, roles.clone())));
        }
        if self.pass(&["double", "doubles"]) {
            if let Some(condition) = self.each_other(subjects) {
                return Ok(condition);
            }
            let whom = self.whom()?;
            let (doubled, above) = self.interval()?;
            return Ok(each_who(subjects, |who| Condition::Doubles(who, Some(whom.clone()), doubled, above)));
        }
        if self.pass(&["split", "splits"]) {
            return Ok(each_who(subjects, Condition::Splits));
        }
        if self.pass(&["support", "supports"]) {
            let _ = self.pass(&["the"]);
            self.need(&["melody", "tune"], "“the melody”")?;
            // Chord tones that follow the tune for a while are no support.
            let doubles = each_who(subjects, |who| Condition::Doubles(who, Some(Who::Melody), Doubled::Anyhow, None));
            let sings = each(subjects, |subject| Condition::Has(subject, vec![Role::Melody, Role::Countermelody]));
            return Ok(Condition::All(vec![doubles, sings], Vec::new()));
        }
        if self.pass(&["overlap", "overlaps"]) {
            if self.ends_here() || self.pass_all(&["each", "other"]) {
                return self.overlapping(subjects);
            }
            let _ = self.pass(&["with"]);
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), Lie::Overlapping)));
        }
        if self.pass(&["touch", "touches"]) {
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), Lie::Touching)));
        }
        if self.pass(&["lead", "leads"]) {
            return Ok(each_who(subjects, Condition::Leads));
        }
        if self.pass(&["take", "takes"]) {
            self.need(&["over"], "“over the melody”")?;
            let _ = self.pass_all(&["the", "melody"]) || self.pass(&["melody"]);
            let from = if self.pass(&["from"]) { Some(self.whom()?) } else { None };
            return Ok(each_who(subjects, |who| Condition::TakesOver(who, from.clone())));
        }
        if self.pass(&["share", "shares"]) {
            if self.pass_all(&["the", "melody"]) || self.pass_all(&["the", "tune"]) {
                return Ok(each(subjects, |subject| Condition::Has(subject, vec![Role::Melody])));
            }
            let _ = self.pass(&["a", "one"]);
            self.need(&["layer"], "“a layer with” or “the melody”")?;
            self.need(&["with"], "“with”")?;
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::OneLayer(who, whom.clone())));
        }
        if self.pass(&["are", "is", "lie", "lies"]) {
            return self.are(subjects);
        }
        Err(self.wrong("what they do: have a role, play, rest, double, overlap, lead, a dynamic or a register"))
    }

    /// After "are", "is", "lie".
    pub(super) fn are(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if self.pass(&["not"]) {
            return Ok(Condition::Not(Box::new(self.are(subjects)?)));
        }
        if self.pass(&["playing", "sounding", "used", "singing"]) {
            return Ok(each(subjects, Condition::Plays));
        }
        if self.pass(&["alone"]) {
            return Ok(alone(subjects));
        }
        let (doubled, above) = self.interval()?;
        if doubled != Doubled::Anyhow {
            return self.at_interval(subjects, doubled, above);
        }
        if let Some(spacing) = self.spacing() {
            return Ok(self.voiced(subjects, spacing));
        }
        if let Some(stacked) = self.stacked(subjects) {
            return Ok(stacked);
        }
        if self.pass(&["split"]) {
            return Ok(each_who(subjects, Condition::Splits));
        }
        if self.pass(&["thickened"]) {
            let by = if self.pass(&["by"]) { Some(self.whom()?) } else { None };
            return Ok(each_who(subjects, |who| Condition::Thickened(Some(who), by.clone())));
        }
        if self.pass(&["accompanied"]) {
            self.need(&["by"], "“by” and other players")?;
            return self.accompanied(subjects);
        }
        let _ = self.is_next("the")
            && ["highest", "lowest"].contains(&self.word(1).unwrap_or_default().as_str())
            && self.pass(&["the"]);
        for (word, end) in [("highest", End::High), ("lowest", End::Low)] {
            if self.pass(&[word]) {
                return Ok(each(subjects, |subject| Condition::Edge(subject, end)));
            }
        }
        if let Some(way) = self.way() {
            return Ok(each(subjects, |subject| Condition::Way(subject, way)));
        }
        if self.pass(&["silent", "tacet", "resting"]) {
            return Ok(each(subjects, Condition::Rests));
        }
        if self.pass(&["doubled"]) {
            let (whom, doubled, above) = self.doubled_by()?;
            // Of the one who doubles it is said whether he does so above or below.
            let above = above.map(|above| !above);
            return Ok(each_who(subjects, |who| Condition::Doubles(who, whom.clone(), doubled, above)));
        }
        if self.pass(&["apart"]) {
            self.need(&["from"], "“from”")?;
            let whom = self.whom()?;
            let mut semitones = 3;
            if self.pass(&["by"]) {
                semitones = self.semitones()?;
            }
            return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), Lie::Apart(semitones))));
        }
        if self.above_whom() {
            return self.lies(subjects);
        }
        self.predicate_after_are(subjects)
    }

    pub(super) fn predicate_after_are(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if let Some((side, level)) = self.level()? {
            return Ok(each(subjects, |subject| Condition::Level(Some(subject), side, level)));
        }
        if let Some(register) = self.register()? {
            return Ok(each(subjects, |subject| Condition::Register(subject, register)));
        }
        Err(self.wrong("“silent”, “doubled”, “apart from”, “above”, “below” or a dynamic"))
    }

    /// Whether "above" or "below" and players stand here.
    fn above_whom(&mut self) -> bool {
        let begin = self.at;
        let _ = self.pass(&["above", "below"]) && self.pass(&["the"]);
        let whom = self.at > begin && matches!(self.who(), Ok(Some(_)));
        self.at = begin;
        whom
    }

    /// "above the oboes", "below F4".
    fn lies(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        if self.above_whom() {
            let lie = if self.pass(&["above"]) { Lie::Above } else { Lie::Below };
            let _ = self.pass(&["below"]);
            let whom = self.whom()?;
            return Ok(each_who(subjects, |who| Condition::Lie(who, whom.clone(), lie)));
        }
        match self.register()? {
            Some(register) => Ok(each(subjects, |subject| Condition::Register(subject, register))),
            None => Err(self.wrong("“above” or “below” and a pitch or players")),
        }
    }

    /// After "in unison", "an octave above": with whom, where that is said.
    fn at_interval(&mut self, subjects: &Subjects, doubled: Doubled, above: Option<bool>) -> Parsed<Condition> {
        let begin = self.at;
        let _ = self.pass(&["with", "the"]) && self.pass(&["the"]);
        if let Some(whom) = self.who()? {
            return Ok(each_who(subjects, |who| Condition::Doubles(who, Some(whom.clone()), doubled, above)));
        }
        self.at = begin;
        if self.pass_all(&["with", "the", "melody"]) {
            return Ok(each_who(subjects, |who| Condition::Doubles(who, Some(Who::Melody), doubled, above)));
        }
        self.at_one_pitch(subjects, doubled)
    }

    /// "horns and trombones overlap": each with the next.
    fn overlapping(&self, subjects: &Subjects) -> Parsed<Condition> {
        let named: Vec<&Who> = subjects.each.iter().flat_map(|subject| &subject.who).collect();
        if named.len() < 2 {
            return Err(self.wrong("other players"));
        }
        let pairs = named.windows(2).map(|pair| Condition::Lie(pair[0].clone(), pair[1].clone(), Lie::Overlapping));
        Ok(super::players::joined(pairs.collect(), subjects.either))
    }

    /// "one stack", "as one stack", "several things at once".
    fn stacked(&mut self, subjects: &Subjects) -> Option<Condition> {
        let begin = self.at;
        let _ = self.pass(&["as", "in"]);
        let kind = if self.pass_all(&["one", "stack"]) || self.pass_all(&["a", "single", "stack"]) {
            Stacked::OneStack
        } else if self.pass_all(&["several", "things"]) || self.pass_all(&["different", "things"]) {
            let _ = self.pass_all(&["at", "once"]);
            Stacked::Split
        } else {
            self.at = begin;
            return None;
        };
        Some(each_who(subjects, |who| Condition::Stacked(who, kind)))
    }

    /// Their chords are spaced so.
    fn voiced(&self, subjects: &Subjects, spacing: &'static str) -> Condition {
        each_who(subjects, |who| Condition::Voiced(who, spacing))
    }

    /// After "change": "from chords to melody", "to melody".
    fn changing(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        let from = if self.pass(&["from"]) {
            let _ = self.pass(&["the"]);
            self.roles()?
        } else {
            Role::ALL.iter().copied().filter(|role| *role != Role::Tacet).collect()
        };
        self.need(&["to"], "“from” or “to” and a role")?;
        let _ = self.pass(&["the"]);
        let to = self.roles()?;
        Ok(each(subjects, |subject| Condition::Changes(subject, from.clone(), to.clone())))
    }

    /// After "accompanied by": they have the melody, and these accompany; "only" where nobody else plays.
    fn accompanied(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        let only = self.pass(&["only"]);
        let Some(others) = self.subjects()? else { return Err(self.wrong("other players")) };
        let only = self.pass(&["only", "alone"]) || only;
        let melody = each(subjects, |subject| Condition::Has(subject, vec![Role::Melody]));
        let mut all = vec![melody, each(&others, |subject| Condition::Has(subject, ACCOMPANIMENT.to_vec()))];
        if only {
            let each = subjects.each.iter().chain(&others.each).cloned().collect();
            all.push(alone(&Subjects { each, either: false }));
        }
        Ok(Condition::All(all, Vec::new()))
    }

    /// "a dominant pedal", "a pedal on G"; a pedal on no note in particular is a role.
    fn pedal_note_held(&mut self) -> Parsed<Option<PedalNote>> {
        let begin = self.at;
        let degree = DEGREES.iter().find(|(words, _)| self.pass_all(words)).map(|(_, degree)| *degree);
        if self.pass(&["pedal"]) {
            let _ = self.pass(&["point", "note"]);
            if let Some(degree) = degree {
                return Ok(Some(PedalNote::Degree(degree)));
            }
            if self.pass(&["on"]) {
                return self.pedal_note().map(Some);
            }
        }
        self.at = begin;
        Ok(None)
    }

    /// "after at least 8 bars", "after 8 bars of rest": fewest whole bars of rest before; one where nothing is said.
    fn rest_before(&mut self) -> Parsed<i64> {
        if !self.pass(&["after"]) {
            return Ok(1);
        }
        let _ = self.pass_all(&["at", "least"]);
        let more = i64::from(self.pass_all(&["more", "than"]));
        let bars = self.number().ok_or_else(|| self.wrong("a number of bars"))?;
        self.need(&["bars", "bar"], "“bars”")?;
        let _ = self.pass_all(&["of", "rest"]);
        Ok((bars + more).max(1))
    }

    pub(super) fn roles(&mut self) -> Parsed<Vec<Role>> {
        let mut roles = Vec::new();
        loop {
            // The longer words first, so that "bass line" is passed whole.
            let found = ROLES.iter().rev().find(|(words, _)| self.pass_all(words));
            let Some((_, role)) = found else { return Err(self.wrong("a role such as “melody”")) };
            roles.push(*role);
            let more = self.is_next("or") && ROLES.iter().any(|(words, _)| self.word(1).as_deref() == Some(words[0]));
            // "bass clarinet" after "or" is somebody else.
            let after = self.at;
            let other = more && {
                self.at += 1;
                let length = |parser: &Self| parser.at - after - 1;
                let named = self.who()?.is_some() && length(self) > 1;
                self.at = after;
                named
            };
            if !more || other {
                return Ok(roles);
            }
            self.at += 1;
            let _ = self.pass(&["the", "a"]);
        }
    }

    /// "in unison", "in octaves", "an octave above", "two octaves below", or nothing.
    pub(super) fn interval(&mut self) -> Parsed<(Doubled, Option<bool>)> {
        let begin = self.at;
        let _ = self.pass(&["in", "at"]) && self.pass(&["the"]);
        let doubled = if self.pass(&["unison"]) {
            return Ok((Doubled::Unison, None));
        } else if self.pass(&["octaves"]) {
            Doubled::Octaves
        } else if self.pass(&["octave"]) || self.pass_all(&["an", "octave"]) || self.pass_all(&["one", "octave"]) {
            Doubled::Exactly(1)
        } else {
            let number = self.number();
            match number.filter(|_| self.pass(&["octaves"])) {
                Some(number) => Doubled::Exactly(number),
                None => {
                    self.at = begin;
                    return Ok((Doubled::Anyhow, None));
                }
            }
        };
        let above = match self.word(0).as_deref() {
            Some("above" | "higher") => Some(true),
            Some("below" | "lower") => Some(false),
            _ => None,
        };
        self.at += usize::from(above.is_some());
        Ok((doubled, above))
    }

    /// "above F4", "stay below C3", "between F3 and C5".
    pub(super) fn register(&mut self) -> Parsed<Option<Register>> {
        let stays = self.pass(&["stay", "stays"]);
        let register = if self.pass(&["above"]) {
            let key = self.key()?;
            if stays { Register::StayAbove(key) } else { Register::Above(key) }
        } else if self.pass(&["below"]) {
            let key = self.key()?;
            if stays { Register::StayBelow(key) } else { Register::Below(key) }
        } else if self.pass(&["between"]) {
            let low = self.key()?;
            self.need(&["and"], "“and”")?;
            let high = self.key()?;
            Register::Between(low.min(high), low.max(high))
        } else if stays {
            return Err(self.wrong("“above”, “below” or “between”"));
        } else {
            return Ok(None);
        };
        Ok(Some(register))
    }

    pub(super) fn key(&mut self) -> Parsed<i64> {
        let key = self.word(0).and_then(|word| pitch(&word));
        let Some(key) = key else { return Err(self.wrong("a pitch such as F4 or Bb3 (C4 is middle C)")) };
        self.at += 1;
        Ok(key)
    }
}
