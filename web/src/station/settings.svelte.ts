/** How this device wants things shown; kept on it. */
import { kCallOutKinds, type CallOutKind } from '../text/callouts';
import type { ClockZone } from '../text/format';
import type { Units } from '../text/viewer';

/** Storage may be forbidden; then a choice lasts as long as the page. */
function read(name: string): string {
  try {
    return localStorage.getItem(`turnstone.${name}`) ?? '';
  } catch {
    return '';
  }
}

/** A choice among a few, kept under a name. */
export function stored<T extends string>(name: string, choices: readonly T[], otherwise: T): T {
  const kept = read(name);
  return choices.find((choice) => choice === kept) ?? otherwise;
}

export function keep(name: string, value: string): void {
  try {
    localStorage.setItem(`turnstone.${name}`, value);
  } catch {
    // See read().
  }
}

const kSwitch = ['on', 'off'] as const;
const kZones = ['utc', 'local'] as const;
const kUnits = ['metric', 'feet'] as const;

/** Multiples of altitude that are called out, in the viewer's unit; 0: none. */
export const kEvery = ['0', '100', '250', '500', '1000'] as const;

/** What is kept are those that somebody does not want to hear. */
function stored_kinds(): ReadonlySet<CallOutKind> {
  const quiet = new Set(read('quiet').split(' '));
  return new Set(kCallOutKinds.filter((kind) => !quiet.has(kind)));
}

class Settings {
  /** Whether this device may speak, sound and vibrate. Not kept: browsers allow it only after a tap on the page. */
  sound = $state(false);
  zone: ClockZone = $state(stored('zone', kZones, 'utc'));
  units: Units = $state(stored('units', kUnits, 'metric'));
  /** Whether what is called out is shown when it is not spoken. */
  captions = $state(stored('captions', kSwitch, 'off') === 'on');
  /** What is called out, and at which multiples of altitude. */
  kinds: ReadonlySet<CallOutKind> = $state.raw(stored_kinds());
  every = $state(Number(stored('every', kEvery, '500')));
  /** Whether those who watch see the ±. */
  spread = $state(stored('spread', kSwitch, 'off') === 'on');

  set_zone(zone: ClockZone): void {
    this.zone = zone;
    keep('zone', zone);
  }

  set_units(units: Units): void {
    this.units = units;
    keep('units', units);
  }

  set_captions(on: boolean): void {
    this.captions = on;
    keep('captions', on ? 'on' : 'off');
  }

  set_every(every: number): void {
    this.every = every;
    keep('every', String(every));
  }

  set_kind(kind: CallOutKind, on: boolean): void {
    this.kinds = new Set(kCallOutKinds.filter((one) => (one === kind ? on : this.kinds.has(one))));
    keep('quiet', kCallOutKinds.filter((one) => !this.kinds.has(one)).join(' '));
  }

  set_spread(on: boolean): void {
    this.spread = on;
    keep('spread', on ? 'on' : 'off');
  }
}

export const settings = new Settings();
