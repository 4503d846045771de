/** The state of the writing page: the draft, the cell looked into, the proposal looked at. */

import { api, follow, Refusal, type JobState } from './api';
import { withSigns } from './rows';
import { byHand, cutAt, joined, kept, strandWord, withTask, type Draft, type Group, type Model, type Phrase, type Proposal, type Task } from './write';
import { writing, type Change } from './writeApi';

export class Writing {
  draft = $state.raw<Draft | null>(null);
  trouble = $state('');
  /** Said aloud to those who cannot see it. */
  said = $state('');
  job = $state.raw<JobState | null>(null);
  /** The cell looked into: phrase and group. */
  phrase = $state(0);
  group = $state(0);
  /** The proposal looked at, from 0. */
  chosen = $state(0);
  isBusy = $state(false);
  readonly proposal = $derived<Proposal | null>(this.draft?.proposals[this.chosen] ?? this.draft?.proposals[0] ?? null);
  private leave: (() => void) | null = null;
  /** Changes go one after the other, in the order they were made. */
  private queue: Promise<void> = Promise.resolve();

  constructor(private readonly number: number) {
    void this.load();
  }

  private async load(): Promise<void> {
    try {
      const draft = await writing.draft(this.number);
      this.draft = draft;
      if (draft.job) this.watch(draft.job);
    } catch (error) {
      this.fail(error);
    }
  }

  fail(error: unknown): void {
    this.trouble = error instanceof Error ? error.message : String(error);
  }

  /** Does something that answers the draft. */
  private then(work: () => Promise<Draft>, said: string): Promise<void> {
    this.queue = this.queue.then(async () => {
      this.isBusy = true;
      try {
        this.draft = await work();
        this.trouble = '';
        this.said = this.draft.said || said;
      } catch (error) {
        this.fail(error);
        // What was shown ahead of the answer is put right.
        this.draft = await writing.draft(this.number).catch(() => this.draft);
      } finally {
        this.isBusy = false;
      }
    });
    return this.queue;
  }

  change(change: Change, said: string): Promise<void> {
    // The plan is shown at once; the server's answer follows.
    if (this.draft && change.plan) this.draft = { ...this.draft, plan: [...change.plan] };
    return this.then(() => writing.change(this.number, change), said);
  }

  private plan(): readonly Phrase[] {
    return this.draft?.plan ?? [];
  }

  set(at: number, group: Group, task: Task | null): void {
    void this.change({ plan: withTask(this.plan(), at, group, task && byHand(task)) }, `${withSigns(group.label)}: ${task ? strandWord(this.draft?.strands ?? [], task.role) : 'left open'}.`);
  }

  keep(at: number, groups: readonly Group[]): void {
    if (this.proposal) void this.change({ plan: kept(this.plan(), at, groups, this.proposal) }, 'Who does what is kept from the proposal.');
  }

  cut(bar: number): void {
    void this.change({ plan: cutAt(this.plan(), bar) }, 'Phrase cut.');
  }

  join(at: number): void {
    void this.change({ plan: joined(this.plan(), at) }, 'Phrases joined.');
    this.phrase = Math.min(this.phrase, at);
  }

  arrange(at: number, arrangement: string): void {
    void this.change({ plan: this.plan().map((phrase, index) => (index === at ? { ...phrase, arrangement } : phrase)) }, 'Arrangement changed.');
  }

  fillIn(at: number, fill: boolean): void {
    void this.change({ plan: this.plan().map((phrase, index) => (index === at ? { ...phrase, fill } : phrase)) }, fill ? 'Who is left open is filled in.' : 'Who is left open is silent.');
  }

  undo(): void {
    void this.then(() => writing.undo(this.number), 'Taken back.');
  }

  redo(): void {
    void this.then(() => writing.redo(this.number), 'Made again.');
  }

  staves(roles: readonly string[]): void {
    void this.then(() => writing.staves(this.number, roles), 'Roles of the staves changed.');
  }

  lineup(id: string): void {
    void this.then(() => writing.lineup(this.number, id), 'Line-up taken over.');
  }

  readLineup(toml: string): void {
    void this.then(() => writing.readLineup(this.number, toml), 'Line-up read.');
  }

  readPlan(toml: string): void {
    void this.then(() => writing.readPlan(this.number, toml), 'Plan read.');
  }

  carryOver(score: number, bars: string): void {
    void this.then(() => writing.carryOver(this.number, score, bars), 'Carried over from the passage.');
  }

  /** Casts phrases of the proposal looked at again, by the plan as it is now, or with another seed in another way. */
  again(phrases: readonly number[], seed: number | null = null): void {
    const proposal = this.proposal;
    if (!proposal) return;
    const begun = performance.now();
    void this.then(() => writing.again(this.number, proposal.number, phrases, seed), '').then(() => {
      if (!this.trouble) this.said = `Cast again in ${((performance.now() - begun) / 1000).toFixed(2)} seconds.`;
    });
  }

  /** Sets a note of the proposal looked at, moves it by semitones, or frees it: a note of the revision it was picked in. */
  lock(revision: number, part: number, note: number, by: number, free: boolean): Promise<void> {
    const proposal = this.proposal;
    if (!proposal) return Promise.resolve();
    return this.then(() => writing.lock(this.number, { proposal: proposal.number, revision, part, note, by, free }), '');
  }

  ownStaves(own: boolean): void {
    void this.then(() => writing.ownStaves(this.number, own), own ? 'The staves of the file are the sketch.' : 'The roles found are the sketch.');
  }

  async cast(count: number, seed: number, model: Model): Promise<void> {
    this.trouble = '';
    await this.queue;
    try {
      this.watch(await writing.cast(this.number, { count, seed, ...model }));
    } catch (error) {
      this.fail(error);
    }
  }

  private watch(job: JobState): void {
    this.job = job;
    this.leave?.();
    this.leave = follow(job.job, (state) => {
      this.job = state;
      if (state.stage === 'failed') this.trouble = state.message;
      if (!['done', 'failed', 'cancelled'].includes(state.stage)) return;
      this.job = null;
      this.chosen = 0;
      void this.then(() => writing.draft(this.number), state.stage === 'done' ? 'Proposals made.' : state.message);
    });
  }

  breakOff(): void {
    if (this.job) void api.cancel(this.job.job).catch((error: unknown) => this.fail(error));
  }

  dispose(): void {
    this.leave?.();
  }
}

export const said = (error: unknown): string => (error instanceof Refusal || error instanceof Error ? error.message : String(error));
