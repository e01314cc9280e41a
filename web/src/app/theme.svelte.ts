/** Light, dark, night, or as the device wishes; kept on this device. */
import { keep, stored } from '../station/settings.svelte';

export const kThemes = ['device', 'light', 'dark', 'night'] as const;
export type ThemeChoice = (typeof kThemes)[number];
const device = window.matchMedia('(prefers-color-scheme: dark)');

class Theme {
  choice: ThemeChoice = $state(stored('theme', kThemes, 'device'));

  apply(): void {
    const wish = device.matches ? 'dark' : 'light';
    document.documentElement.dataset['theme'] = this.choice === 'device' ? wish : this.choice;
  }

  choose(choice: ThemeChoice): void {
    this.choice = choice;
    keep('theme', choice);
    this.apply();
  }
}

export const theme = new Theme();
theme.apply();
device.addEventListener('change', () => theme.apply());
