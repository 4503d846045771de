//! The parts that a question names, in the bars in which they are those players.

/// A part, in all bars or in some: those in which it takes an instrument, carries the melody or has the bass.
#[derive(Debug, Clone)]
pub(super) struct Member {
    pub part: usize,
    bars: Option<Vec<bool>>,
}

impl Member {
    pub fn is_in(&self, bar: usize) -> bool {
        self.bars.as_ref().is_none_or(|bars| bars.get(bar).copied().unwrap_or(false))
    }
}

/// Members in page order, each part once.
#[derive(Debug, Clone, Default)]
pub(super) struct Cast(Vec<Member>);

impl Cast {
    /// These parts, always; ascending, each once.
    pub fn of_parts(parts: impl IntoIterator<Item = usize>) -> Self {
        Self(parts.into_iter().map(|part| Member { part, bars: None }).collect())
    }

    /// Of each part the bars in which it belongs to them; parts without such a bar are left out.
    pub fn in_bars(bars: impl IntoIterator<Item = (usize, Vec<bool>)>) -> Self {
        let some = bars.into_iter().filter(|(_, bars)| bars.contains(&true));
        Self(some.map(|(part, bars)| Member { part, bars: Some(bars) }).collect())
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn members(&self) -> impl Iterator<Item = &Member> {
        self.0.iter()
    }

    pub fn parts(&self) -> Vec<usize> {
        self.0.iter().map(|member| member.part).collect()
    }

    fn of(&self, part: usize) -> Option<&Member> {
        self.0.binary_search_by_key(&part, |member| member.part).ok().map(|at| &self.0[at])
    }

    /// Whether the part belongs to them in this bar.
    pub fn has(&self, part: usize, bar: usize) -> bool {
        self.of(part).is_some_and(|member| member.is_in(bar))
    }

    /// As [`Self::has`], of numbers as records keep them.
    pub fn has_row(&self, part: i64, bar: i64) -> bool {
        usize::try_from(part).ok().zip(usize::try_from(bar).ok()).is_some_and(|(part, bar)| self.has(part, bar))
    }

    /// Those of them among these parts.
    pub fn only(mut self, parts: &[usize]) -> Self {
        self.0.retain(|member| parts.contains(&member.part));
        self
    }

    /// Each member by itself.
    pub fn singly(&self) -> Vec<Self> {
        self.0.iter().map(|member| Self(vec![member.clone()])).collect()
    }

    /// Everybody else, of so many parts and bars.
    pub fn others(&self, parts: usize, bars: usize) -> Self {
        let member = |part: usize| match self.of(part) {
            None => Some(Member { part, bars: None }),
            Some(Member { bars: None, .. }) => None,
            Some(member) => Some(Member { part, bars: Some((0..bars).map(|bar| !member.is_in(bar)).collect()) }),
        };
        Self((0..parts).filter_map(member).collect())
    }

    /// All of both.
    pub fn with(mut self, other: Self) -> Self {
        for theirs in other.0 {
            match self.0.binary_search_by_key(&theirs.part, |member| member.part) {
                Err(at) => self.0.insert(at, theirs),
                Ok(at) => {
                    let own = &mut self.0[at];
                    own.bars = match (own.bars.take(), theirs.bars) {
                        (Some(own), Some(theirs)) => {
                            Some(own.into_iter().zip(theirs).map(|(own, theirs)| own || theirs).collect())
                        }
                        _ => None,
                    };
                }
            }
        }
        self
    }
}
