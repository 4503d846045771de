/** A chart on its way: what the server has saved, what can be taken back, what is being done. */

import { charts, type ChartShown, type Laid } from './charting';

export class ChartState {
  shown = $state.raw<ChartShown | null>(null);
  trouble = $state('');
  isBusy = $state(false);
  /** Texts to go back to and forward to, the nearest last. */
  private back = $state.raw<readonly string[]>([]);
  private forward = $state.raw<readonly string[]>([]);
  readonly canUndo = $derived(this.back.length > 0 && !this.isBusy);
  readonly canRedo = $derived(this.forward.length > 0 && !this.isBusy);

  constructor(readonly score: number) {
    void this.run(() => charts.shown(score), () => undefined);
  }

  private async run(work: () => Promise<ChartShown>, after: (before: string) => void): Promise<boolean> {
    if (this.isBusy) return false;
    this.isBusy = true;
    const before = this.shown?.text ?? '';
    try {
      this.shown = await work();
      this.trouble = '';
      after(before);
      return true;
    } catch (error) {
      this.trouble = error instanceof Error ? error.message : String(error);
      return false;
    } finally {
      this.isBusy = false;
    }
  }

  lay(laid: Omit<Laid, 'state'>): Promise<boolean> {
    const state = this.shown?.state ?? '';
    return this.run(() => charts.lay(this.score, { ...laid, state }), (before) => {
      if (before !== this.shown?.text) this.back = [...this.back, before];
      this.forward = [];
    });
  }

  /** Puts a text of one's own in the chart's place. */
  put(text: string): Promise<boolean> {
    const state = this.shown?.state ?? '';
    return this.run(() => charts.put(this.score, state, text), (before) => {
      this.back = [...this.back, before];
      this.forward = [];
    });
  }

  undo(): Promise<boolean> {
    const [text, state] = [this.back.at(-1), this.shown?.state ?? ''];
    if (text === undefined) return Promise.resolve(false);
    return this.run(() => charts.put(this.score, state, text), (before) => {
      this.back = this.back.slice(0, -1);
      this.forward = [...this.forward, before];
    });
  }

  redo(): Promise<boolean> {
    const [text, state] = [this.forward.at(-1), this.shown?.state ?? ''];
    if (text === undefined) return Promise.resolve(false);
    return this.run(() => charts.put(this.score, state, text), (before) => {
      this.forward = this.forward.slice(0, -1);
      this.back = [...this.back, before];
    });
  }

  /** Looks again at what is saved, after somebody else has changed it. */
  again(): Promise<boolean> {
    return this.run(() => charts.shown(this.score), () => {
      this.back = [];
      this.forward = [];
    });
  }
}
