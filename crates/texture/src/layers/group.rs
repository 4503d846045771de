//! Which lines of a bar go together: strands (unison and octaves) and layers (one rhythm), judged over the bars around as well,
//! since two lines that meet on a few notes do not double each other.

use crate::roles::Cell;

/// Where a cell belongs within its bar.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Place {
    /// Strand: cells in unison or octaves, number within the bar.
    pub strand: usize,
    /// Layer: strands in the same rhythm, number within the bar.
    pub layer: usize,
    /// Share of its attacks that the nearest other strand does not have.
    pub own: f32,
}

/// How two cells meet: attacks of each, shared, shared on one pitch class.
#[derive(Debug, Clone, Copy, Default)]
struct Meeting {
    a: f32,
    b: f32,
    shared: f32,
    same: f32,
}

impl Meeting {
    fn of(x: &Cell, y: &Cell) -> Self {
        let (mut shared, mut same, mut j) = (0, 0, 0);
        for (at, top) in x.attacks.iter().zip(&x.tops) {
            while j < y.attacks.len() && y.attacks[j] < *at {
                j += 1;
            }
            if y.attacks.get(j) == Some(at) {
                shared += 1;
                same += i32::from(matches!((top, y.tops[j]), (Some(p), Some(q)) if p % 12 == q % 12));
            }
        }
        Self { a: x.attacks.len() as f32, b: y.attacks.len() as f32, shared: shared as f32, same: same as f32 }
    }

    fn most(&self) -> f32 {
        self.a.max(self.b)
    }
}

/// Attacks two lines have to share before it is no accident.
const NO_ACCIDENT: f32 = 4.0;
/// Share of the attacks that have to agree.
const AGREE: f32 = 0.75;

/// Bars in a row in which a pair of lines goes together.
#[derive(Debug, Clone, Copy, Default)]
struct Run {
    first: usize,
    end: usize,
    agreed: f32,
}

impl Run {
    /// Takes `bar` in, `agreed` being what it adds, or `None` when the pair goes apart there; gives back a run that has ended
    /// and is long enough to mean something.
    fn step(&mut self, bar: usize, agreed: Option<f32>) -> Option<Self> {
        let goes_on = self.end == bar && self.end > self.first;
        let ended = if !goes_on || agreed.is_none() { self.close() } else { None };
        if let Some(agreed) = agreed {
            if self.end == self.first {
                self.first = bar;
            }
            self.end = bar + 1;
            self.agreed += agreed;
        }
        ended
    }

    fn close(&mut self) -> Option<Self> {
        let run = std::mem::take(self);
        (run.end > run.first && run.agreed >= NO_ACCIDENT).then_some(run)
    }
}

/// The place of each cell; `by_bar` lists the cells of each bar.
pub(crate) fn places(cells: &[Cell], by_bar: &[Vec<usize>], lines: usize) -> Vec<Place> {
    let mut runs = vec![[Run::default(); 2]; lines * lines];
    // Pairs of lines that go together, bar by bar: in one strand, or in one layer.
    let mut joined: Vec<[Vec<(u32, u32)>; 2]> = vec![Default::default(); by_bar.len()];
    let mut alike: Vec<Vec<f32>> = Vec::with_capacity(by_bar.len());
    let mut keep = |run: Option<Run>, pair: usize, kind: usize| {
        for bar in run.into_iter().flat_map(|run| run.first..run.end) {
            joined[bar][kind].push(((pair / lines) as u32, (pair % lines) as u32));
        }
    };
    for (bar, here) in by_bar.iter().enumerate() {
        let n = here.len();
        let mut same = vec![0.0f32; n * n];
        for a in 0..n {
            for b in 0..a {
                let (x, y) = (&cells[here[a]], &cells[here[b]]);
                let meeting = Meeting::of(x, y);
                let pair = x.line.max(y.line) as usize * lines + x.line.min(y.line) as usize;
                same[a * n + b] = meeting.shared / (meeting.a + meeting.b - meeting.shared).max(1.0);
                same[b * n + a] = same[a * n + b];
                let held = meeting.a + meeting.b == 0.0 && !x.is_unpitched() && !y.is_unpitched();
                let one_class = held && x.keys.iter().map(|key| key % 12).eq(y.keys.iter().map(|key| key % 12));
                let doubles =
                    (one_class || meeting.most() > 0.0 && meeting.same >= AGREE * meeting.most()).then_some(meeting.same);
                let together =
                    (held || meeting.most() > 0.0 && meeting.shared >= AGREE * meeting.most()).then_some(meeting.shared);
                keep(runs[pair][0].step(bar, doubles), pair, 0);
                keep(runs[pair][1].step(bar, together), pair, 1);
            }
        }
        alike.push(same);
    }
    for (pair, both) in runs.iter_mut().enumerate() {
        keep(both[0].close(), pair, 0);
        keep(both[1].close(), pair, 1);
    }
    let mut found = vec![Place::default(); cells.len()];
    let mut index = vec![usize::MAX; lines];
    for (bar, here) in by_bar.iter().enumerate() {
        let n = here.len();
        for (k, &cell) in here.iter().enumerate() {
            index[cells[cell].line as usize] = k;
        }
        let (mut strands, mut layers) = (Sets::new(n), Sets::new(n));
        for &(a, b) in &joined[bar][0] {
            strands.join(index[a as usize], index[b as usize]);
            layers.join(index[a as usize], index[b as usize]);
        }
        for &(a, b) in &joined[bar][1] {
            layers.join(index[a as usize], index[b as usize]);
        }
        for (k, &cell) in here.iter().enumerate() {
            let strand = strands.root(k);
            let nearest = (0..n).filter(|&j| strands.root(j) != strand).map(|j| alike[bar][k * n + j]).fold(0.0, f32::max);
            found[cell] = Place { strand, layer: layers.root(k), own: 1.0 - nearest };
        }
    }
    found
}

/// Disjoint sets of small numbers; the root is the least member.
struct Sets(Vec<usize>);

impl Sets {
    fn new(size: usize) -> Self {
        Self((0..size).collect())
    }

    fn root(&self, mut member: usize) -> usize {
        while self.0[member] != member {
            member = self.0[member];
        }
        member
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b);
    }
}
