/** Where the walk starts, chosen on this device and kept on it alone. */
import { position } from '../device/position.svelte';
import type { SeenSite } from '../offline/sighting';
import type { UtcMs } from '../stream/clocks';
import type { GeoPoint } from '../stream/description';
import { is_place } from '../places/geodesic';
import { plain_coordinates, parse_coordinates } from '../text/coordinates';
import type { StartPlace } from './walk';

export const kStarts = ['device', 'typed', 'parked', 'pad', 'station'] as const;
export type StartKind = (typeof kStarts)[number];

export interface Start extends StartPlace {
  kind: StartKind;
  /** Age of the device's position; NaN for places that do not age. */
  age_s: number;
}

const kKey = 'turnstone.start.1';

interface Stored {
  kind: StartKind;
  typed: string;
  parked: string;
}

function stored(): Stored {
  try {
    const from = JSON.parse(localStorage.getItem(kKey) ?? '{}') as Partial<Record<keyof Stored, unknown>>;
    const text = (value: unknown): string => (typeof value === 'string' ? value : '');
    return {
      kind: kStarts.find((kind) => kind === from.kind) ?? 'pad',
      typed: text(from.typed),
      parked: text(from.parked),
    };
  } catch {
    return { kind: 'pad', typed: '', parked: '' };
  }
}

function place_of(text: string): GeoPoint | undefined {
  const parsed = text === '' ? undefined : parse_coordinates(text);
  return parsed && 'point' in parsed ? parsed.point : undefined;
}

class StartChoice {
  kind: StartKind = $state('pad');
  /** What was typed, as it was typed. */
  typed = $state('');
  private parked_text = $state('');

  constructor() {
    const { kind, typed, parked } = stored();
    this.kind = kind;
    this.typed = typed;
    this.parked_text = parked;
  }

  get parked(): GeoPoint | undefined {
    return place_of(this.parked_text);
  }

  choose(kind: StartKind): void {
    this.kind = kind;
    if (kind === 'device') position.start();
    this.store();
  }

  /** False when what was typed is not a place. */
  take_typed(text: string): boolean {
    if (!place_of(text)) return false;
    this.typed = text;
    this.choose('typed');
    return true;
  }

  /** Keeps a place as the one to come back to. */
  park(at: GeoPoint): void {
    this.parked_text = plain_coordinates(at);
    this.store();
  }

  /** Where the walk starts; undefined when that is not known. */
  place(site: SeenSite, now_ms: UtcMs): Start | undefined {
    const fixed = (point: GeoPoint | undefined): Start | undefined =>
      point && is_place(point) ? { ...point, kind: this.kind, sigma_m: 0, age_s: NaN } : undefined;
    switch (this.kind) {
      case 'device': {
        const here = position.place;
        return here && { ...here, kind: 'device', age_s: Math.max(0, (now_ms - here.at_ms) / 1000) };
      }
      case 'typed':
        return fixed(place_of(this.typed));
      case 'parked':
        return fixed(this.parked);
      case 'pad':
        return fixed(site.pad);
      case 'station':
        return fixed(site.station);
      default:
        return this.kind satisfies never;
    }
  }

  private store(): void {
    try {
      const kept: Stored = { kind: this.kind, typed: this.typed, parked: this.parked_text };
      localStorage.setItem(kKey, JSON.stringify(kept));
    } catch {
      // Storage may be forbidden; then the choice lasts as long as the page.
    }
  }
}

export const start = new StartChoice();
