/** Whether the desk lets this page in. After a new start it has another key: the page waits until the browser has been let in again, then comes back. */

/** Milliseconds between two looks. */
const AGAIN = 2000;

class Entry {
  /** "shut" where the desk is there and does not know this browser; "silent" where nothing answers. */
  state = $state<'open' | 'shut' | 'silent'>('open');
  private watch: ReturnType<typeof setTimeout> | undefined;

  /** Told of an answer that was refused for want of a key, or of none at all. */
  lost(state: 'shut' | 'silent'): void {
    this.state = state;
    clearTimeout(this.watch);
    this.watch = setTimeout(() => void this.look(), AGAIN);
  }

  private async look(): Promise<void> {
    const answer = await fetch('/api/questions').catch(() => null);
    if (answer === null) return this.lost('silent');
    if (answer.status === 401) return this.lost('shut');
    // The address holds the view. Whoever is in the middle of writing something comes back when they like.
    const isWriting = [...document.querySelectorAll('textarea')].some((field) => field.value.trim() !== '');
    if (!isWriting) location.reload();
    else this.state = 'open';
  }
}

export const entry = new Entry();
