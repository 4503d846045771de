//! From sketch, line-up and plan to a full score.
//!
//! A [`Sketch`] has strands with roles; a [`Lineup`] says who is there and what each player can do; a [`Plan`] says, phrase by phrase,
//! which group has which strand. What the plan leaves open is filled in by [`Habits`], measured in scores, through an integer programme
//! (`assign`); chords are voiced by dynamic programming (`voicing`); lines are placed, doubled and thickened (`realise`). The
//! answer, a [`Cast`], knows why, what it is worth by each criterion and how near the best it is, and becomes a
//! [`ripieno_score::Score`].
//!
//! It proposes; the composer decides: notes can be locked ([`LockedNote`]), plans changed by hand, phrases cast again ([`recast`]).
//!
//! Invariants: no file formats, no input or output; the same sketch, line-up, plan, habits and seed give the same notes.

mod assign;
mod balance;
mod breath;
mod build;
mod carry;
mod cast;
mod clefs;
mod coverage;
mod craft;
mod criteria;
mod dynamics;
mod explain;
mod expression;
mod filling;
mod fills;
mod ground;
mod groups;
mod habits;
mod held;
mod keys;
mod leads;
mod lineup;
mod located;
mod loudness;
mod metre;
mod notate;
mod numbers;
mod objections;
mod optimality;
mod period;
mod phrases;
mod plan;
mod proposals;
mod realise;
mod reason;
mod reduction;
mod sketch;
mod turns;
mod voicing;
mod whole;

pub use assign::{
    CastingTable, Choice, Learned, Led, Memory, Need, Pair, Problem, Solved, Taste, Unit, casting_table, present, solve, units,
    worth,
};
pub use carry::{carried_over, roles_of};
pub use cast::{Cast, Options, cast, changed, phrases_in, recast};
pub use criteria::{Covered, Criteria, Criterion};
pub use explain::{differing, explain, registers, side_by_side, with_signs};
pub use ground::grounded;
pub use habits::{Habit, Habits, Together};
pub use lineup::{Chair, Lineup, LineupSection, Reach, Strong};
pub use located::Located;
pub use objections::{level_of_all, objections};
pub use optimality::Optimality;
pub use plan::{Arrangement, Doubling, PhrasePlan, Plan, Task, Thickening};
pub use proposals::{proposals, proposals_unless};
pub use realise::{CastNote, LineId, LockedNote, PhraseCast, Seat};
pub use reduction::{reduce, reduce_every_line, reduce_in_octaves};
pub use sketch::{Sketch, SketchNote, Strand, role_named};
pub use voicing::{Search, Slice, Voice, Voiced, Weights, standing_cost, step_cost, voice};
