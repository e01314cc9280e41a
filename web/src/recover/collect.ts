/** What there is to collect: every vehicle and stage on the tape, and those that this device kept from before. */
import { since_s, type Kept } from '../offline/kept';
import { aged, goal_of, sighting_of, type Sighting } from '../offline/sighting';
import type { UtcMs } from '../stream/clocks';
import type { Tape } from '../tape/tape';

export interface Item {
  sighting: Sighting;
  /** Its number on the tape; -1 when it is not on it. */
  vehicle: number;
  /** Since this device saw it; NaN for what is on the tape. */
  kept_s: number;
}

/** Vehicles of the tape first, in its order. Where the tape does not say yet where to go, what was kept stands in. */
export function items_of(tape: Tape | undefined, kept: readonly Kept[], now_ms: UtcMs): Item[] {
  const from_store = (stored: Kept, vehicle: number): Item => {
    const kept_s = since_s(stored, now_ms);
    return { sighting: aged(stored.sighting, kept_s), vehicle, kept_s };
  };
  const names = tape?.description.vehicles.map(({ name }) => name) ?? [];
  const here = names.map((name, vehicle): Item => {
    const now = sighting_of(tape as Tape, vehicle);
    const stored = tape?.live ? kept.find(({ sighting }) => sighting.vehicle === name && goal_of(sighting)) : undefined;
    return goal_of(now) || !stored ? { sighting: now, vehicle, kept_s: NaN } : from_store(stored, vehicle);
  });
  const gone = kept.filter(({ sighting }) => !names.includes(sighting.vehicle)).map((one) => from_store(one, -1));
  return [...here, ...(tape && !tape.live ? [] : gone)];
}
