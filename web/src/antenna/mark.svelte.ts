/** What the antenna is held toward: chosen on this device, and kept on it. */
import { compass } from '../device/compass.svelte';
import type { Held } from './aim';

export type MarkKind = 'none' | 'fixed' | 'compass';

const kKey = 'turnstone.antenna.1';
const kCompassStep_deg = 5; // a phone's compass knows no better; common practice, no source
const kFixedStep_deg = 1;

class Mark {
  kind: MarkKind = $state('none');
  private fixed: Held | undefined = $state.raw();

  constructor() {
    try {
      const from = JSON.parse(localStorage.getItem(kKey) ?? '{}') as Partial<Held>;
      const { azimuth_deg, elevation_deg } = from;
      if (typeof azimuth_deg === 'number' && typeof elevation_deg === 'number') {
        this.fixed = { azimuth_deg, elevation_deg };
        this.kind = 'fixed';
      }
    } catch {
      // Storage may be forbidden; then the mark lasts as long as the page.
    }
  }

  get held(): Held | undefined {
    if (this.kind === 'fixed') return this.fixed;
    const heading = this.kind === 'compass' ? compass.heading : undefined;
    return heading && { azimuth_deg: heading.magnetic_deg, elevation_deg: heading.elevation_deg };
  }

  /** What cues are rounded to. */
  get step_deg(): number {
    return this.kind === 'compass' ? kCompassStep_deg : kFixedStep_deg;
  }

  hold(toward: Held): void {
    this.fixed = toward;
    this.kind = 'fixed';
    this.store();
  }

  follow_compass(): void {
    this.kind = 'compass';
  }

  clear(): void {
    this.kind = 'none';
    this.fixed = undefined;
    this.store();
  }

  private store(): void {
    try {
      localStorage.setItem(kKey, JSON.stringify(this.fixed ?? {}));
    } catch {
      // See the constructor.
    }
  }
}

export const mark = new Mark();
