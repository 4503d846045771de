/** The state of the study view: what is seen of which score, and what is being looked into. */

import { api, follow, Refusal, type Answer, type Evidence, type JobState, type Own, type View, type Wanted, type Weighed } from './api';
import { around, lastAt, moved, within, zoomed, type Stretch } from './axis';
import { asked, HALL, type Situation } from './balance';
import { fresh, read, written, type Engraved, type Fold, type Panel, type Register, type StudyRoute } from './route';

export class StudyState {
  view = $state.raw<View | null>(null);
  job = $state.raw<JobState | null>(null);
  trouble = $state('');
  seen = $state.raw<Stretch>({ from: 0, to: 1 });
  open = $state.raw<ReadonlySet<number>>(new Set());
  register = $state<Register>('families');
  panel = $state<Panel>('findings');
  question = $state('');
  answer = $state.raw<Answer | null>(null);
  misunderstood = $state.raw<{ message: string; column: number | null } | null>(null);
  /** The span looked into. */
  span = $state(-1);
  evidence = $state.raw<Evidence | null>(null);
  /** Bars pointed at by a finding or moment, first and last of each stretch. */
  pointed = $state.raw<readonly (readonly number[])[]>([]);
  /** Bars gone to last, first and last. */
  reached = $state.raw<readonly [number, number] | null>(null);
  /** Layer under the pointer, and where: bound together across rows. */
  layer = $state.raw<number | null>(null);
  /** Bars chosen to be engraved, heard or taken away: first and last. */
  selected = $state.raw<readonly [number, number] | null>(null);
  /** The score panel; `null` while it is closed. */
  engraved = $state.raw<Engraved | null>(null);
  folded = $state.raw<readonly Fold[]>([]);
  /** What is being heard, in crotchets; -1 while nothing is. */
  playhead = $state(-1);
  isBusy = $state(false);
  /** What is being changed while it is busy. */
  doing = $state('');
  /** Where balance is judged, and what is known of it there. */
  situation = $state.raw<Situation>(HALL);
  weighed = $state.raw<Weighed | null>(null);
  isWeighing = $state(false);
  /** Why no verdict is given. */
  unweighed = $state('');
  /** What a person keeps of the score: tags, remarks, bookmarks. */
  own = $state.raw<Own | null>(null);
  /** Said aloud to those who cannot see it. */
  said = $state('');
  readonly length = $derived(this.view?.length ?? 1);
  /** The bars chosen, or those of the span looked into. */
  readonly chosen = $derived.by((): readonly [number, number] | null => {
    const span = this.view?.spans[this.span];
    return this.selected ?? (span ? [span.first, span.last] : null);
  });
  readonly starts = $derived(Float64Array.from(this.view?.bars ?? [], (bar) => bar.onset));
  private anchor = 0;
  private leave: (() => void) | null = null;
  private wanted: StudyRoute;
  private isGone = false;
  private scales: AbortController | null = null;
  private changing: AbortController | null = null;

  constructor(
    private readonly score: number,
    job: number | null,
  ) {
    const route = read(location.hash);
    this.wanted = route.page === 'study' && route.score === score ? route : fresh(score);
    this.register = this.wanted.register;
    this.panel = this.wanted.panel;
    this.question = this.wanted.question;
    this.open = new Set(this.wanted.open);
    this.selected = this.wanted.chosen;
    this.situation = this.wanted.situation;
    this.engraved = this.wanted.engraved;
    this.folded = this.wanted.folded;
    void (job === null ? this.begin() : this.follow(job));
  }

  /** The number of the score, once it has one. */
  get number(): number {
    return this.view?.score || this.score;
  }

  private async begin(): Promise<void> {
    try {
      this.show(await api.view(this.score));
    } catch (error) {
      if (!(error instanceof Refusal) || error.status !== 409) return this.fail(error);
      try {
        const state = await api.open(this.score);
        await this.follow(state.job);
      } catch (failure) {
        this.fail(failure);
      }
    }
  }

  private async follow(job: number): Promise<void> {
    let isOutlined = false;
    this.leave = follow(job, (state) => {
      if (this.isGone) return;
      this.job = state;
      if (state.stage === 'studying' && !isOutlined) {
        isOutlined = true;
        api.outline(job).then((outline) => !this.view?.whole && this.show(outline), (error: unknown) => {
          // A quick analysis is done before its outline is asked for.
          if (!(error instanceof Refusal && error.status === 404)) this.fail(error);
        });
      }
      if (state.stage === 'done' && typeof state.score === 'number') {
        api.view(state.score).then((view) => this.show(view), (error: unknown) => this.fail(error));
      }
      if (state.stage === 'failed') this.trouble = state.message;
    });
  }

  private fail(error: unknown): void {
    this.trouble = error instanceof Error ? error.message : String(error);
  }

  private show(view: View): void {
    if (this.isGone) return;
    const isFirst = this.view === null;
    this.view = view;
    if (isFirst) this.seen = within(this.wanted.seen ?? { from: 0, to: view.length }, view.length);
    if (!view.whole) return;
    this.job = null;
    if ((this.selected?.[1] ?? 0) >= view.bars.length) this.selected = null;
    const bars = this.wanted.bars;
    if (bars) this.goTo([bars], !this.question);
    void this.recall();
    const sought = this.wanted.span;
    if (sought) this.find(sought.line, sought.bar);
    if (this.question) void this.ask();
    this.said = `${view.title}: ${view.bars.length} bars, ${view.parts.length} parts, ${view.spans.length} roles found.`;
  }

  dispose(): void {
    this.isGone = true;
    this.leave?.();
    this.scales?.abort();
  }

  /** What the server is told of the situation. */
  get place(): Record<string, string | number> {
    return this.view ? asked(this.situation, this.view) : {};
  }

  /** Weighs the score where it is heard; what was known of another situation is forgotten at once, since a verdict belongs to one. */
  async weigh(): Promise<void> {
    this.scales?.abort();
    [this.weighed, this.unweighed, this.isWeighing] = [null, '', false];
    const view = this.view;
    if (!view?.whole || this.situation.place === 'off') return;
    const scales = (this.scales = new AbortController());
    this.isWeighing = true;
    try {
      const weighed = await api.balance(this.number, view.revision, this.place, scales.signal);
      if (!scales.signal.aborted && !this.isGone) this.weighed = weighed;
    } catch (error) {
      if (!scales.signal.aborted) this.unweighed = error instanceof Error ? error.message : String(error);
    } finally {
      if (this.scales === scales) this.isWeighing = false;
    }
  }

  /** Breaks off. */
  stopWeighing(): void {
    this.scales?.abort();
    this.isWeighing = false;
    this.unweighed = 'Broken off; choose where it is heard to begin again.';
  }

  async cancel(): Promise<void> {
    if (this.job) await api.cancel(this.job.job).catch((error: unknown) => this.fail(error));
  }

  zoom(factor: number, about = (this.seen.from + this.seen.to) / 2): void {
    this.seen = zoomed(this.seen, factor, about, this.length);
  }

  pan(share: number): void {
    this.seen = moved(this.seen, share, this.length);
  }

  see(stretch: Stretch): void {
    this.seen = within(stretch, this.length);
  }

  /** Brings a stretch into sight, if none of it is. */
  reveal(from: number, to: number): void {
    if (to > this.seen.from && from < this.seen.to) return;
    const half = (this.seen.to - this.seen.from) / 2;
    this.see({ from: (from + to) / 2 - half, to: (from + to) / 2 + half });
  }

  whole(): void {
    this.seen = within({ from: 0, to: this.length }, this.length);
  }

  /** Goes to bars and points at them; what answers the question is marked already. */
  goTo(spans: readonly (readonly number[])[], points = true): void {
    const bars = this.view?.bars ?? [];
    const [first, last] = [spans[0]?.[0], spans.at(-1)?.[1]];
    if (first === undefined || last === undefined) return;
    const end = bars[last];
    const [from, to] = [bars[first]?.onset ?? 0, end ? end.onset + end.length : this.length];
    this.pointed = points ? spans : [];
    this.reached = [first, last];
    this.select(first, spans[0]?.[1] ?? first);
    // Far apart bars are shown in the whole piece; near ones near by.
    this.seen = to - from > this.length * 0.6 ? within({ from: 0, to: this.length }, this.length) : around(from, to, this.length);
  }

  /** Chooses bars, in whatever order they are given. */
  select(one: number, other: number): void {
    const last = (this.view?.bars.length ?? 1) - 1;
    const [a, b] = [one, other].map((bar) => Math.min(Math.max(bar, 0), last)) as [number, number];
    this.anchor = a;
    this.selected = [Math.min(a, b), Math.max(a, b)];
  }

  /** Moves the end of the choice by bars; the choice begins with the first bar in sight. */
  extend(by: number): void {
    const bars = this.view?.bars ?? [];
    if (bars.length === 0) return;
    if (!this.selected) {
      const first = Math.min(lastAt(this.starts, this.seen.from) + ((bars[lastAt(this.starts, this.seen.from)]?.onset ?? 0) < this.seen.from - 1e-6 ? 1 : 0), bars.length - 1);
      this.select(first, first);
    } else {
      const [first, last] = this.selected;
      const anchor = this.anchor === last ? last : first;
      this.select(anchor, (anchor === last ? first : last) + by);
    }
    this.said = this.selected ? `Bars ${this.label(this.selected)} chosen.` : '';
  }

  /** "35–45" of two bars. */
  label([first, last]: readonly [number, number]): string {
    const [a, b] = [this.view?.bars[first]?.label ?? '', this.view?.bars[last]?.label ?? ''];
    return first === last ? a : `${a}–${b}`;
  }

  /** Where the sound is; what is seen goes along, unless a person has looked elsewhere. */
  hear(time: number): void {
    const [before, { from, to }] = [this.playhead, this.seen];
    this.playhead = time;
    const size = to - from;
    const isFollowed = before < 0 || (before >= from && before <= to);
    if (time >= 0 && isFollowed && size < this.length && (time < from || time > to - size * 0.04)) this.see({ from: time - size * 0.08, to: time + size * 0.92 });
  }

  toggle(section: number): void {
    const open = new Set(this.open);
    if (!open.delete(section)) open.add(section);
    this.open = open;
  }

  /** Folds a view to its heading, or opens it again. */
  fold(view: Fold): void {
    this.folded = this.folded.includes(view) ? this.folded.filter((other) => other !== view) : [...this.folded, view];
  }

  toggleAll(): void {
    const all = this.view?.sections.length ?? 0;
    this.open = this.open.size > 0 ? new Set() : new Set(Array.from({ length: all }, (_, index) => index));
  }

  async ask(): Promise<void> {
    this.misunderstood = null;
    if (!this.question.trim()) {
      this.answer = null;
      return;
    }
    try {
      this.answer = await api.ask(this.number, this.question);
      this.said = this.answer.count === 0 ? 'No bar answers the question.' : `${this.answer.count} bars: ${this.answer.bars.text}`;
    } catch (error) {
      this.answer = null;
      if (error instanceof Refusal) this.misunderstood = { message: error.message, column: error.column };
    }
  }

  /** Looks into a span. */
  async look(span: number): Promise<void> {
    this.span = span;
    this.evidence = null;
    const view = this.view;
    if (span < 0 || !view) return;
    try {
      const evidence = await api.evidence(this.number, span, view.revision);
      if (this.span === span) this.evidence = evidence;
    } catch (error) {
      this.fail(error);
    }
  }

  /** Looks into the span of a line in a bar, as the address has it. */
  private find(line: number, bar: number): void {
    const spans = this.view?.spans ?? [];
    void this.look(spans.findIndex((span) => span.line === line && span.first <= bar && span.last >= bar));
  }

  private async change(work: (signal: AbortSignal) => Promise<View>, doing: string, said: string): Promise<void> {
    if (this.isBusy) {
      this.said = `Not yet: ${this.doing}.`;
      return;
    }
    const mine = (this.changing = new AbortController());
    [this.isBusy, this.doing, this.trouble, this.said] = [true, doing, '', `${doing}: the score is read again.`];
    const before = this.view?.spans[this.span];
    try {
      let view: View;
      try {
        view = await work(mine.signal);
        this.said = said;
      } catch (error) {
        if (!mine.signal.aborted) throw error;
        // The score is as it was, unless the change was done already.
        view = await api.view(this.number);
        const isAsBefore = view.revision === this.view?.revision;
        this.said = isAsBefore ? 'Broken off; nothing has changed.' : 'It was done already; Undo or Redo leads back.';
      }
      if (this.isGone) return;
      if (view.revision === this.view?.revision) return;
      this.view = view;
      if (before) this.find(before.line, before.first);
      if (this.question) void this.ask();
    } catch (error) {
      this.fail(error);
    } finally {
      this.isBusy = false;
    }
  }

  /** Breaks a correction, or what takes one back, off. */
  stopChanging(): void {
    this.changing?.abort();
  }

  correct(wanted: Omit<Wanted, 'revision' | 'spans'>, spans: number[] = [this.span]): Promise<void> {
    const revision = this.view?.revision ?? 0;
    return this.change((signal) => api.correct(this.number, { ...wanted, spans, revision }, signal), 'Putting your word in force', 'Corrected. The score has been read again.');
  }

  undo(id?: string): Promise<void> {
    return this.change((signal) => api.undo(this.number, signal, id), 'Taking the correction back', 'Taken back.');
  }

  redo(): Promise<void> {
    return this.change((signal) => api.redo(this.number, signal), 'Making the correction again', 'Made again.');
  }

  /** Looks up what a person keeps of the score. */
  private async recall(): Promise<void> {
    try {
      this.own = await api.notes(this.number);
    } catch (error) {
      this.fail(error);
    }
  }

  /** Keeps something or takes it away. */
  async keep(work: (score: number) => Promise<Own>, said: string): Promise<boolean> {
    try {
      this.own = await work(this.number);
      this.said = this.own.said || said;
      if (this.own.said) this.fail(this.own.said);
      return true;
    } catch (error) {
      this.fail(error);
      return false;
    }
  }

  /** What bars are called: "35–45". */
  called(first: number, last: number): string {
    const label = (bar: number) => this.view?.bars[bar]?.label ?? '';
    return first === last ? label(first) : `${label(first)}–${label(last)}`;
  }

  /** The bars in sight, first and last. */
  get inSight(): [number, number] {
    const bars = this.view?.bars ?? [];
    const first = bars.findIndex((bar) => bar.onset + bar.length > this.seen.from + 1e-6);
    const last = bars.findLastIndex((bar) => bar.onset < this.seen.to - 1e-6);
    return [Math.max(first, 0), Math.max(last, first, 0)];
  }

  /** The address of what is seen. */
  address(): string {
    const isWhole = this.seen.from <= 0 && this.seen.to >= this.length;
    const span = this.view?.spans[this.span];
    return written({
      page: 'study', score: this.number, seen: isWhole ? null : this.seen, open: [...this.open], register: this.register, panel: this.panel,
      question: this.question.trim(), span: span ? { line: span.line, bar: span.first } : null, bars: null, chosen: this.selected, situation: this.situation, engraved: this.engraved, folded: this.folded,
    });
  }
}
