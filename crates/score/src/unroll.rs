//! The order in which bars are played: repeats, endings, da capo, dal segno, coda, fine.
//!
//! Rules, as players read them: a repeated section is played as often as its closing barline says (twice unless told
//! otherwise); an ending is taken on the passes it names; after a jump back, repeats are not taken again and of several
//! endings the last is played; "fine" and "to coda" act only after a jump back. "Da capo" leads to the beginning of its own
//! movement: a file may hold several, each closed by a final barline. "Fine" closes the movement, and what stands after the
//! jump, which nothing else would ever reach, is played next. Every jump is taken once, and the whole is bounded, so that signs
//! that contradict each other cannot make the piece endless.

use std::collections::BTreeMap;

use crate::score::{Bar, BarIndex, Jump, Score};

/// Longest playing order, in bars; a score whose signs ask for more is cut there.
const MOST_PLAYED_BARS: usize = 1_000_000;

/// Once so many notes have been played, nothing is repeated any more: far more than any work has, and within the memory of a
/// machine, whatever a file with many repeats asks for.
const MOST_REPEATED_NOTES: usize = 5_000_000;

/// Bars in playing order.
pub(crate) fn playing_order(score: &Score) -> Vec<BarIndex> {
    Player {
        bars: &score.bars,
        endings: endings(&score.bars),
        aims: Aims::new(&score.bars),
        notes: notes_in_bars(score),
        order: Vec::new(),
    }
    .run()
}

/// How many notes each bar has, all parts together.
fn notes_in_bars(score: &Score) -> Vec<usize> {
    let mut notes = vec![0; score.bars.len()];
    for note in score.parts.iter().flat_map(|part| &part.notes) {
        if let Some(count) = notes.get_mut(note.bar.at()) {
            *count += 1;
        }
    }
    notes
}

/// The ending a bar belongs to.
#[derive(Debug, Clone, Copy)]
struct Ending {
    /// First bar of this ending.
    first: usize,
    /// Bar after its last.
    end: usize,
    /// Highest number named by the endings that follow one another here.
    group_most: u8,
    /// Whether this is the last of them.
    last_of_group: bool,
    /// Whether it is the only one.
    alone: bool,
}

/// For each bar the ending it is in.
fn endings(bars: &[Bar]) -> Vec<Option<Ending>> {
    let mut spans: Vec<(usize, usize)> = Vec::new();
    let mut open: Option<usize> = None;
    for (i, bar) in bars.iter().enumerate() {
        if !bar.ending_start.is_empty()
            && let Some(first) = open.replace(i)
        {
            spans.push((first, i));
        }
        if bar.ending_stop
            && let Some(first) = open.take()
        {
            spans.push((first, i + 1));
        }
    }
    // An ending nobody closed is one bar long: more would swallow the rest of the piece.
    spans.extend(open.map(|first| (first, first + 1)));
    let mut of_bar = vec![None; bars.len()];
    let mut i = 0;
    while i < spans.len() {
        let mut j = i + 1;
        while j < spans.len() && spans[j].0 == spans[j - 1].1 {
            j += 1;
        }
        let group_most = spans[i..j].iter().flat_map(|s| &bars[s.0].ending_start).copied().max().unwrap_or(1);
        for (k, &(first, end)) in spans[i..j].iter().enumerate() {
            let ending = Ending { first, end, group_most, last_of_group: i + k + 1 == j, alone: j == i + 1 };
            of_bar[first..end].fill(Some(ending));
        }
        i = j;
    }
    of_bar
}

/// Where jumps may lead.
struct Aims<'a> {
    /// Bars with a segno of this label, in order.
    segni: BTreeMap<&'a str, Vec<usize>>,
    /// Bars with a coda sign of this label, in order.
    codas: BTreeMap<&'a str, Vec<usize>>,
    /// For each bar the first bar of its movement.
    movement: Vec<usize>,
}

impl<'a> Aims<'a> {
    fn new(bars: &'a [Bar]) -> Self {
        let mut aims = Self { segni: BTreeMap::new(), codas: BTreeMap::new(), movement: Vec::with_capacity(bars.len()) };
        for (i, bar) in bars.iter().enumerate() {
            for jump in &bar.jumps {
                match jump {
                    Jump::Segno(label) => aims.segni.entry(label).or_default().push(i),
                    Jump::Coda(label) => aims.codas.entry(label).or_default().push(i),
                    _ => {}
                }
            }
            let before = aims.movement.last().copied().unwrap_or(0);
            aims.movement.push(if opens_movement(bars, i) { i } else { before });
        }
        aims
    }
}

/// Whether a movement begins with bar `i`: the bar before has a final barline that is neither a repeat nor a "fine" in
/// mid-movement.
fn opens_movement(bars: &[Bar], i: usize) -> bool {
    let Some(before) = i.checked_sub(1).and_then(|before| bars.get(before)) else { return i == 0 };
    before.barline.as_deref() == Some("light-heavy") && before.repeat_end.is_none() && !before.jumps.contains(&Jump::Fine)
}

struct Player<'a> {
    bars: &'a [Bar],
    endings: Vec<Option<Ending>>,
    aims: Aims<'a>,
    notes: Vec<usize>,
    order: Vec<BarIndex>,
}

impl Player<'_> {
    fn run(mut self) -> Vec<BarIndex> {
        let most = MOST_PLAYED_BARS.min(self.bars.len().saturating_mul(64));
        let (mut i, mut section, mut pass, mut after_jump) = (0, 0, 1u8, false);
        // The bar after the last jump back: where the music goes on after "fine".
        let mut beyond = self.bars.len();
        let mut taken = vec![false; self.bars.len()];
        let mut notes = 0usize;
        // Skipped endings play nothing, so steps are bounded beside played bars.
        for _ in 0..most.saturating_mul(2) {
            let Some(bar) = self.bars.get(i) else { break };
            if self.order.len() >= most {
                break;
            }
            if i >= beyond && self.aims.movement[i] == i {
                after_jump = false;
            }
            if bar.repeat_start && section != i {
                (section, pass) = (i, 1);
            }
            if let Some(ending) = self.endings[i].filter(|ending| ending.first == i) {
                let wanted = if after_jump { ending.last_of_group } else { bar.ending_start.contains(&pass) };
                let fallback = ending.last_of_group && pass >= ending.group_most && !ending.alone;
                if !wanted && !fallback {
                    i = ending.end;
                    continue;
                }
            }
            self.order.push(BarIndex(u32::try_from(i).unwrap_or(u32::MAX)));
            notes = notes.saturating_add(self.notes[i]);
            let may_go_back = notes < MOST_REPEATED_NOTES;
            if after_jump && bar.jumps.contains(&Jump::Fine) {
                let coda = |jump: &Jump| matches!(jump, Jump::Coda(_));
                if self.bars.get(beyond).is_none_or(|bar| bar.jumps.iter().any(coda)) {
                    break;
                }
                (i, section, pass, after_jump) = (beyond, beyond, 1, false);
                continue;
            }
            if after_jump && let Some(coda) = self.coda_after(i) {
                (i, section, pass) = (coda, coda, 1);
                continue;
            }
            if may_go_back && !after_jump && self.repeats(i, pass) {
                pass += 1;
                i = section;
                continue;
            }
            if let Some(target) = (may_go_back && !taken[i]).then(|| self.jump_back(i)).flatten() {
                taken[i] = true;
                after_jump = true;
                beyond = i + 1;
                (i, section, pass) = (target, target, 1);
                continue;
            }
            let ends_section = bar.repeat_end.is_some() || (bar.ending_stop && self.endings[i].is_some_and(|e| e.last_of_group));
            i += 1;
            if ends_section {
                (section, pass) = (i, 1);
            }
        }
        self.order
    }

    /// Whether the section is to be played again after bar `i` on this pass.
    fn repeats(&self, i: usize, pass: u8) -> bool {
        let Some(times) = self.bars[i].repeat_end else { return false };
        let times = times.clamp(2, 32);
        pass < match self.endings[i] {
            Some(ending) if ending.alone => times.max(ending.group_most.saturating_add(1)),
            Some(ending) => ending.group_most,
            None => times,
        }
    }

    fn jump_back(&self, i: usize) -> Option<usize> {
        self.bars[i].jumps.iter().find_map(|jump| match jump {
            Jump::DaCapo => self.aims.movement.get(i).copied(),
            Jump::DalSegno(label) => {
                // The sign passed last: a file of several movements may have one in each.
                let segni = self.aims.segni.get(&**label)?;
                segni.partition_point(|&segno| segno <= i).checked_sub(1).map(|last| segni[last])
            }
            _ => None,
        })
    }

    fn coda_after(&self, i: usize) -> Option<usize> {
        self.bars[i].jumps.iter().find_map(|jump| {
            let Jump::ToCoda(label) = jump else { return None };
            let codas = self.aims.codas.get(&**label)?;
            codas.get(codas.partition_point(|&coda| coda <= i)).copied()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Crotchets;

    /// Bars described one by one: `|:` opens, `:|` closes a repeat, `1.` `2.` `1.2.` open endings, `]` closes one,
    /// `segno`, `coda`, `tocoda`, `fine`, `dc`, `ds`, `||` a final barline.
    fn order(bars: &[&str]) -> String {
        let mut score = Score::default();
        for text in bars {
            let mut bar = Bar::new("", Crotchets::ZERO, Crotchets::ONE);
            for word in text.split_whitespace() {
                match word {
                    "|:" => bar.repeat_start = true,
                    ":|" => bar.repeat_end = Some(2),
                    ":|3" => bar.repeat_end = Some(3),
                    "]" => bar.ending_stop = true,
                    "segno" => bar.jumps.push(Jump::Segno("".into())),
                    "coda" => bar.jumps.push(Jump::Coda("".into())),
                    "tocoda" => bar.jumps.push(Jump::ToCoda("".into())),
                    "fine" => bar.jumps.push(Jump::Fine),
                    "dc" => bar.jumps.push(Jump::DaCapo),
                    "||" => bar.barline = Some("light-heavy".into()),
                    "ds" => bar.jumps.push(Jump::DalSegno("".into())),
                    "-" => {}
                    numbers => bar.ending_start.extend(numbers.split('.').filter_map(|n| n.parse::<u8>().ok())),
                }
            }
            score.bars.push(bar);
        }
        playing_order(&score).iter().map(|bar| (bar.0 + 1).to_string()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn plain_repeats() {
        assert_eq!(order(&["-", "-"]), "1 2");
        assert_eq!(order(&["-", ":|", "-"]), "1 2 1 2 3");
        assert_eq!(order(&["-", "|:", ":|", "|: :|", "-"]), "1 2 3 2 3 4 4 5");
        assert_eq!(order(&["|: :|3"]), "1 1 1");
    }

    #[test]
    fn endings_are_taken_on_the_passes_they_name() {
        assert_eq!(order(&["|:", "1. ] :|", "2. ]", "-"]), "1 2 1 3 4");
        assert_eq!(order(&["|:", "1.2. ] :|", "3. ]", "-"]), "1 2 1 2 1 3 4");
        assert_eq!(order(&["|:", "1. ] :|", "2. ] :|", "-"]), "1 2 1 3 4");
        assert_eq!(order(&["|:", "1. ] :|", "-"]), "1 2 1 3");
        assert_eq!(order(&["|:", "1.", "] :|", "2.", "]", "-"]), "1 2 3 1 4 5 6");
    }

    #[test]
    fn jumps() {
        assert_eq!(order(&["-", "fine", "dc"]), "1 2 3 1 2");
        assert_eq!(order(&["|:", ":| fine", "dc"]), "1 2 1 2 3 1 2");
        assert_eq!(order(&["-", "segno", "tocoda", "ds", "coda", "-"]), "1 2 3 4 2 3 5 6");
        assert_eq!(order(&["|:", "1. ] :|", "2. ] fine", "dc"]), "1 2 1 3 4 1 3");
    }

    #[test]
    fn several_movements_in_one_file() {
        // A minuet with trio as second of three movements: back to the minuet's beginning, and on to the third from its fine.
        assert_eq!(order(&["- ||", "-", "fine ||", "dc ||", "|: :|"]), "1 2 3 4 2 3 5 5");
        // The same when nobody wrote the final barline after the trio: nothing is lost.
        assert_eq!(order(&["-", "fine", "dc", "-"]), "1 2 3 1 2 4");
        // Each movement has its own segno.
        assert_eq!(order(&["segno", "ds ||", "segno fine", "ds"]), "1 2 1 2 3 4 3");
        // After a coda, the next movement's repeats are its own.
        assert_eq!(order(&["tocoda", "dc", "coda ||", "|: :|"]), "1 2 1 3 4 4");
    }

    #[test]
    fn a_small_file_cannot_repeat_without_end() {
        let note = crate::note::Note { duration: Crotchets::ONE, ..crate::note::Note::default() };
        let part = crate::score::Part { notes: vec![note; MOST_REPEATED_NOTES / 4], ..crate::score::Part::default() };
        let mut score = Score { parts: vec![part], ..Score::default() };
        score.bars.push(Bar { repeat_end: Some(32), ..Bar::new("1", Crotchets::ZERO, Crotchets::ONE) });
        score.bars.push(Bar::new("2", Crotchets::ZERO, Crotchets::ONE));
        assert_eq!(playing_order(&score), [0, 0, 0, 0, 1].map(BarIndex));
    }

    #[test]
    fn contradictory_signs_end() {
        assert_eq!(order(&["ds"]), "1");
        assert!(!order(&["dc", "dc", "1. dc :|"]).is_empty());
    }
}
