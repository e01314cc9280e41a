/** Light, dark, or as the device wishes; kept on this device. */
import { forget_palette } from '../draw/palette';

export type ThemeChoice = 'device' | 'light' | 'dark';
const kKey = 'turnstone.theme';
const kChoices: readonly ThemeChoice[] = ['device', 'light', 'dark'];
const device = window.matchMedia('(prefers-color-scheme: dark)');

function stored(): ThemeChoice {
  try {
    return kChoices.find((choice) => choice === localStorage.getItem(kKey)) ?? 'device';
  } catch {
    return 'device'; // storage may be forbidden; then the choice lasts as long as the page
  }
}

class Theme {
  choice: ThemeChoice = $state(stored());

  apply(): void {
    const dark = this.choice === 'dark' || (this.choice === 'device' && device.matches);
    document.documentElement.dataset['theme'] = dark ? 'dark' : 'light';
    forget_palette();
  }

  next(): void {
    this.choice = kChoices[(kChoices.indexOf(this.choice) + 1) % kChoices.length] ?? 'device';
    try {
      localStorage.setItem(kKey, this.choice);
    } catch {
      // See stored().
    }
    this.apply();
  }
}

export const theme = new Theme();
theme.apply();
device.addEventListener('change', () => theme.apply());
