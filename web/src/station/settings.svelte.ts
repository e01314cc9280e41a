/** How this device wants things shown; kept on it. */
import type { ClockZone } from '../text/format';

/** A choice among a few, kept under a name; storage may be forbidden, then it lasts as long as the page. */
export function stored<T extends string>(name: string, choices: readonly T[], otherwise: T): T {
  try {
    return choices.find((choice) => choice === localStorage.getItem(`turnstone.${name}`)) ?? otherwise;
  } catch {
    return otherwise;
  }
}

export function keep(name: string, value: string): void {
  try {
    localStorage.setItem(`turnstone.${name}`, value);
  } catch {
    // See stored().
  }
}

const kSound = ['on', 'off'] as const;
const kZones = ['utc', 'local'] as const;

class Settings {
  /** Whether this device may speak, sound and vibrate. Browsers allow it only after a tap. */
  sound = $state(stored('sound', kSound, 'off') === 'on');
  zone: ClockZone = $state(stored('zone', kZones, 'utc'));

  set_sound(on: boolean): void {
    this.sound = on;
    keep('sound', on ? 'on' : 'off');
  }

  set_zone(zone: ClockZone): void {
    this.zone = zone;
    keep('zone', zone);
  }
}

export const settings = new Settings();
