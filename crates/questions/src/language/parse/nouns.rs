//! Conditions that begin with what is played: "tremolo in the strings", "a dominant pedal", "the melody is thickened".

use ripieno_texture::Role;

use super::super::question::{Changing, Condition, Doubled, End, Lie, PedalNote};
use super::super::words::{DEGREES, HEARD, QUALITIES, ROLES, SPACINGS, SWELLS, WAYS};
use super::opening::anybody;
use super::players::{each, each_who, plain};
use super::{Parsed, Parser, Quantity, Subjects, Who, note_name};

impl Parser {
    pub(super) fn noun(&mut self) -> Parsed<Option<Condition>> {
        let begin = self.at;
        for kind in [
            Self::about_melody,
            Self::about_bass,
            Self::change,
            Self::gap,
            Self::swell,
            Self::pedal,
            Self::chords,
            Self::role,
            Self::unison,
            Self::way_noun,
        ] {
            if let Some(condition) = kind(self)? {
                return Ok(Some(condition));
            }
            self.at = begin;
        }
        Ok(None)
    }

    /// "in the strings", "of the oboe"; who is left open at the end of a condition means anybody.
    fn in_whom(&mut self) -> Parsed<Option<Subjects>> {
        if self.pass(&["in", "of", "by"]) {
            let subjects = self.subjects()?;
            if subjects.is_some() {
                self.subject.clone_from(&subjects);
            }
            return Ok(subjects);
        }
        Ok(self.ends_here().then(|| Subjects { each: vec![anybody()], either: false }))
    }

    /// "the melody is covered by the trombones", "the melody is in the horns", "the melody passes from flute to oboe".
    fn about_melody(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["the", "a"]);
        if !self.pass(&["melody", "tune"]) {
            return Ok(None);
        }
        let is = std::mem::take(&mut self.copula) || self.pass(&["is", "gets", "lies"]);
        let not = is && self.pass(&["not"]);
        let told = self.of_melody(is)?;
        Ok(Some(if not { Condition::Not(Box::new(told)) } else { told }))
    }

    fn of_melody(&mut self, is: bool) -> Parsed<Condition> {
        let begin = self.at;
        if self.pass_all(&["in", "the", "bass"]) {
            if self.ends_here() {
                return Ok(Condition::Edge(plain(Who::Melody), End::Low));
            }
            self.at = begin;
        }
        let (doubled, above) = self.interval()?;
        if doubled != Doubled::Anyhow {
            let whom = if self.pass(&["with"]) { self.whom()? } else { Who::Everybody };
            return Ok(Condition::Doubles(whom, Some(Who::Melody), doubled, above));
        }
        if self.pass(&["in"]) {
            let Some(subjects) = self.subjects()? else { return Err(self.wrong("who plays")) };
            self.subject = Some(subjects.clone());
            return Ok(each(&subjects, |subject| Condition::Has(subject, vec![Role::Melody])));
        }
        if self.pass(&["thickened"]) {
            return Ok(Condition::Thickened(None, if self.pass(&["by"]) { Some(self.whom()?) } else { None }));
        }
        if self.pass(&["doubled"]) {
            let (whom, doubled, above) = self.doubled_by()?;
            return Ok(Condition::Doubles(whom.unwrap_or(Who::Everybody), Some(Who::Melody), doubled, above));
        }
        if self.pass_all(&["changes", "hands"]) {
            return Ok(Condition::TakesOver(Who::Everybody, None));
        }
        if self.pass(&["passes", "goes", "moves", "jumps"]) {
            let from = if self.pass(&["from"]) { Some(self.whom()?) } else { None };
            self.need(&["to"], "“to” and other players")?;
            if self.pass(&["another", "other"]) {
                self.need(&["instrument", "instruments", "part", "section"], "“instrument”")?;
                return Ok(Condition::TakesOver(Who::Everybody, from));
            }
            return Ok(Condition::TakesOver(self.whom()?, from));
        }
        for (word, lie) in [("above", Lie::Above), ("below", Lie::Below)] {
            if self.is_next(word) {
                self.at += 1;
                let _ = self.pass(&["the"]);
                if let Some(whom) = self.who()? {
                    return Ok(Condition::Lie(Who::Melody, whom, lie));
                }
                self.at = begin;
            }
        }
        if let Some(register) = self.register()? {
            return Ok(Condition::Register(plain(Who::Melody), register));
        }
        // "melody masked by brass" needs no "is".
        if is || HEARD.iter().any(|(words, _)| self.are_next(0, words)) {
            return self.heard();
        }
        if self.ends_here() {
            return Ok(Condition::Has(anybody(), vec![Role::Melody]));
        }
        self.predicates(&Subjects { each: vec![plain(Who::Melody)], either: false })
    }

    /// "covered by the trombones", "hard to hear".
    fn heard(&mut self) -> Parsed<Condition> {
        let mut grades = Vec::new();
        loop {
            let Some((_, of)) = HEARD.iter().find(|(words, _)| self.pass_all(words)) else {
                return Err(self.wrong(
                    "“covered”, “hard to hear”, “heard”, “clear”, “prominent”, “doubled”, “thickened” or “in” and players",
                ));
            };
            grades.extend_from_slice(of);
            if !(self.is_next("or") && HEARD.iter().any(|(words, _)| self.are_next(1, words))) {
                break;
            }
            self.at += 1;
        }
        let by = if self.pass(&["by"]) { Some(self.whom()?) } else { None };
        Ok(Condition::Heard(grades, by))
    }

    /// "the bass drops out", "the bass is silent"; players called bass are left alone.
    fn about_bass(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["the"]);
        if !self.pass(&["bass"]) {
            return Ok(None);
        }
        let _ = self.pass(&["line"]);
        if self.drops_out() {
            return Ok(Some(Condition::Leaves(plain(Who::BassLine))));
        }
        let is = std::mem::take(&mut self.copula) || self.pass(&["is"]);
        if (is && self.pass(&["silent", "missing"])) || self.pass(&["rests"]) {
            let nobody = Condition::Has(super::Subject { quantity: Quantity::No, who: vec![Who::Everybody] }, vec![Role::Bass]);
            let sounds = Condition::Not(Box::new(Condition::Rests(plain(Who::Everybody))));
            return Ok(Some(Condition::All(vec![nobody, sounds], Vec::new())));
        }
        Ok(None)
    }

    /// "the metre changes".
    fn change(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["the"]);
        let what = match self.word(0).as_deref() {
            Some("metre" | "meter") => Changing::Metre,
            Some("tempo") => Changing::Tempo,
            Some("key") => Changing::Key,
            _ => return Ok(None),
        };
        self.at += 1;
        Ok(self.pass(&["changes", "change"]).then_some(Condition::Differs(what)))
    }

    /// "a crescendo", "diminuendo in the horns".
    fn swell(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["a"]);
        let Some((_, swell)) = SWELLS.iter().find(|(words, _)| self.pass_all(words)) else { return Ok(None) };
        if self.pass(&["in", "of"]) {
            let Some(subjects) = self.subjects()? else { return Err(self.wrong("who plays")) };
            self.subject = Some(subjects.clone());
            return Ok(Some(each(&subjects, |subject| Condition::Swells(Some(subject), swell))));
        }
        Ok(Some(Condition::Swells(None, swell)))
    }

    /// "a dominant pedal in the basses", "pedal on G".
    fn pedal(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["a", "the"]);
        let degree = DEGREES.iter().find(|(words, _)| self.pass_all(words)).map(|(_, degree)| *degree);
        if !self.pass(&["pedal", "pedals"]) {
            return Ok(None);
        }
        let _ = self.pass(&["point", "points", "note", "notes"]);
        let mut note = degree.map_or(PedalNote::Any, PedalNote::Degree);
        if degree.is_none() && self.pass(&["on"]) {
            note = self.pedal_note()?;
        }
        let Some(subjects) = self.in_whom()? else { return Ok(None) };
        Ok(Some(match note {
            PedalNote::Any => each(&subjects, |subject| Condition::Has(subject, vec![Role::Pedal])),
            note => each(&subjects, |subject| Condition::Pedal(subject, note)),
        }))
    }

    /// "G", "the dominant".
    pub(super) fn pedal_note(&mut self) -> Parsed<PedalNote> {
        let _ = self.pass(&["the"]);
        if let Some((_, degree)) = DEGREES.iter().find(|(words, _)| self.pass_all(words)) {
            return Ok(PedalNote::Degree(*degree));
        }
        let class = self.word(0).and_then(|word| note_name(&word));
        let Some(class) = class else { return Err(self.wrong("a note, “the tonic” or “the dominant”")) };
        self.at += 1;
        Ok(PedalNote::Class(class))
    }

    /// "diminished seventh chords", "chords in open position".
    fn chords(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["a", "an", "the"]);
        if self.pass(&["chords", "chord"]) {
            let _ = self.pass(&["is", "are"]);
            return Ok(self.spacing().map(|spacing| Condition::Voiced(Who::Everybody, spacing)));
        }
        for (words, spacing) in SPACINGS {
            if self.pass_all(words) && self.pass(&["chords", "chord", "position"]) {
                return Ok(Some(Condition::Voiced(Who::Everybody, spacing)));
            }
        }
        let root = self.word(0).and_then(|word| note_name(&word));
        self.at += usize::from(root.is_some());
        let quality = QUALITIES.iter().find(|name| self.pass_all(&name.split(' ').collect::<Vec<_>>()));
        let named = root.is_some() || quality.is_some();
        if !named || !self.pass(&["chord", "chords"]) {
            return Ok(None);
        }
        Ok(Some(Condition::Chord(root, quality.map(|name| (*name).to_owned()), self.inversion())))
    }

    /// "in open position".
    pub(super) fn spacing(&mut self) -> Option<&'static str> {
        let begin = self.at;
        let _ = self.pass(&["in"]);
        let found = SPACINGS.iter().find(|(words, _)| self.pass_all(words)).map(|(_, spacing)| *spacing);
        if found.is_none() || !self.pass(&["position", "spacing", "voicing"]) {
            self.at = begin;
            return None;
        }
        found
    }

    /// "countermelody in the cellos", "the bass line of the tuba".
    fn role(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["a", "the"]);
        let role = ROLES.iter().rev().find(|(words, _)| *words != ["bass"] && self.pass_all(words));
        let Some((_, role)) = role else { return Ok(None) };
        let Some(subjects) = self.in_whom()? else { return Ok(None) };
        Ok(Some(each(&subjects, |subject| Condition::Has(subject, vec![*role]))))
    }

    /// "unison of the whole orchestra", "octaves in the strings".
    fn unison(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["a", "the"]);
        let octaves = match self.word(0).as_deref() {
            Some("unison") => false,
            Some("octaves") => true,
            _ => return Ok(None),
        };
        self.at += 1;
        let Some(subjects) = self.in_whom()? else { return Ok(None) };
        Ok(Some(self.at_one_pitch(&subjects, if octaves { Doubled::Octaves } else { Doubled::Unison })?))
    }

    /// Players in unison or octaves: of two who doubles whom, of one body whether all of it sounds one pitch.
    pub(super) fn at_one_pitch(&self, subjects: &Subjects, doubled: Doubled) -> Parsed<Condition> {
        let named: Vec<&Who> = subjects.each.iter().flat_map(|subject| &subject.who).collect();
        if named.len() > 1 && !subjects.either {
            let pairs = named.windows(2).map(|pair| Condition::Doubles(pair[0].clone(), Some(pair[1].clone()), doubled, None));
            return Ok(super::players::joined(pairs.collect(), false));
        }
        if matches!(doubled, Doubled::Exactly(_)) {
            return Err(self.wrong("other players"));
        }
        Ok(each(subjects, |subject| Condition::Together(subject, doubled == Doubled::Octaves)))
    }

    /// "tremolo in the strings", "divisi violas", "solo violin".
    fn way_noun(&mut self) -> Parsed<Option<Condition>> {
        let _ = self.pass(&["the"]);
        if self.pass(&["solo", "solos"]) {
            if self.ends_here() {
                return Ok(Some(Condition::Solo(Who::Everybody)));
            }
            let Some(who) = self.who()? else { return Ok(None) };
            let _ = self.pass(&["plays", "play", "sounds"]);
            return Ok(Some(Condition::Solo(who)));
        }
        let Some((_, way)) = WAYS.iter().find(|(words, _)| self.pass_all(words)) else { return Ok(None) };
        // "horns play forte and muted" goes on about the horns.
        if self.ends_here() && self.subject.is_some() {
            return Ok(None);
        }
        if let Some(subjects) = self.in_whom()? {
            return Ok(Some(each(&subjects, |subject| Condition::Way(subject, way))));
        }
        let Some(subjects) = self.subjects()? else { return Ok(None) };
        let way = each(&subjects, |subject| Condition::Way(subject, way));
        self.subject = Some(subjects.clone());
        if self.ends_here() {
            return Ok(Some(way));
        }
        Ok(Some(Condition::All(vec![way, self.predicates(&subjects)?], Vec::new())))
    }

    /// "drop out", "stop", "fall silent".
    pub(super) fn drops_out(&mut self) -> bool {
        self.pass_all(&["drop", "out"])
            || self.pass_all(&["drops", "out"])
            || self.pass_all(&["fall", "silent"])
            || self.pass_all(&["falls", "silent"])
            || self.pass(&["stop", "stops", "leave", "leaves"])
    }

    /// After "doubled": "by the violas in octaves", "an octave below by the violas".
    pub(super) fn doubled_by(&mut self) -> Parsed<(Option<Who>, Doubled, Option<bool>)> {
        let before = self.interval()?;
        let whom = if self.pass(&["by"]) { Some(self.whom()?) } else { None };
        let (doubled, above) = if before.0 == Doubled::Anyhow { self.interval()? } else { before };
        Ok((whom, doubled, above))
    }

    /// Whom "each other" stands for.
    pub(super) fn each_other(&mut self, subjects: &Subjects) -> Option<Condition> {
        if !(self.pass_all(&["each", "other"]) || self.pass_all(&["one", "another"])) {
            return None;
        }
        let interval = self.interval().ok()?;
        let named: Vec<&Who> = subjects.each.iter().flat_map(|subject| &subject.who).collect();
        let pairs =
            named.windows(2).map(|pair| Condition::Doubles(pair[0].clone(), Some(pair[1].clone()), interval.0, interval.1));
        let pairs: Vec<Condition> = pairs.collect();
        (!pairs.is_empty()).then(|| super::players::joined(pairs, false))
    }

    /// After "thicken": "the melody", "the melody of the oboes", "the oboes".
    pub(super) fn thickening(&mut self, subjects: &Subjects) -> Parsed<Condition> {
        let begin = self.at;
        let _ = self.pass(&["the"]);
        let melody = self.pass(&["melody", "tune"]);
        let whom = if melody {
            if self.pass(&["of"]) { Some(self.whom()?) } else { None }
        } else {
            self.at = begin;
            Some(self.whom()?)
        };
        Ok(each_who(subjects, |who| Condition::Thickened(whom.clone(), Some(who))))
    }
}
