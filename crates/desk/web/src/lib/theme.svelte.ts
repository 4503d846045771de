import { DARK, LIGHT, type Theme } from './looks';

const KEY = 'ripieno-desk-light';
const system = matchMedia('(prefers-color-scheme: dark)');

/** Light or dark: as the system has it until a person chooses. */
class Light {
  private chosen = $state<string | null>(localStorage.getItem(KEY));
  private isSystemDark = $state(system.matches);
  readonly isDark = $derived(this.chosen === null ? this.isSystemDark : this.chosen === 'dark');
  readonly theme: Theme = $derived(this.isDark ? DARK : LIGHT);

  constructor() {
    system.addEventListener('change', (event) => (this.isSystemDark = event.matches));
  }

  turn(): void {
    this.chosen = this.isDark ? 'light' : 'dark';
    localStorage.setItem(KEY, this.chosen);
  }
}

export const light = new Light();
