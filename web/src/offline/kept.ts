/**
 * What a device keeps of each vehicle, so that a recovery team still has it away from the station and after a reload. What
 * was stored is read like anything from outside: what does not fit is left out.
 */
import type { UtcMs } from '../stream/clocks';
import type { GeoPoint } from '../stream/description';
import { array, flag, MessageError, number, object, one_of, text, type Json } from '../stream/json';
import { kLevels } from '../stream/messages';
import { kLandingCases } from '../tape/estimates';
import { aged, type SeenArea, type SeenPlace, type SeenSentence, type Sighting } from './sighting';

export interface Kept {
  sighting: Sighting;
  /** By this device's own clock, which may be wrong, but counts what has passed since. */
  seen_ms: UtcMs;
}

/** What of localStorage is used. */
export interface Store {
  getItem(key: string): string | null;
  setItem(key: string, value: string): void;
}

const kKey = 'turnstone.kept.1';
const kKeptMax = 16;

function read_point(from: Json, path: string): GeoPoint {
  return {
    latitude_deg: number(from, 'latitude_deg', path),
    longitude_deg: number(from, 'longitude_deg', path),
  };
}

function read_place(value: unknown, path: string): SeenPlace | undefined {
  if (value === undefined || value === null) return undefined;
  const from = object(value, path);
  return {
    ...read_point(from, path),
    altitude_msl_m: number(from, 'altitude_msl_m', path),
    altitude_agl_m: number(from, 'altitude_agl_m', path),
    sigma_m: number(from, 'sigma_m', path),
    age_s: number(from, 'age_s', path),
    utc_ms: number(from, 'utc_ms', path),
    before_flight: from['before_flight'] === true, // absent where an older page kept it
    at_rest: flag(from, 'at_rest', path),
  };
}

function read_area(value: unknown, path: string): SeenArea | undefined {
  if (value === undefined || value === null) return undefined;
  const from = object(value, path);
  return {
    ...read_point(from, path),
    name: one_of(from, 'name', path, kLandingCases),
    semi_major_m: number(from, 'semi_major_m', path),
    semi_minor_m: number(from, 'semi_minor_m', path),
    bearing_deg: number(from, 'bearing_deg', path),
    age_s: number(from, 'age_s', path),
  };
}

function read_sentence(value: unknown, path: string): SeenSentence | undefined {
  if (value === undefined || value === null) return undefined; // an older page kept none
  const from = object(value, path);
  return {
    text: text(from, 'text', path),
    level: one_of(from, 'level', path, kLevels),
    age_s: number(from, 'age_s', path),
  };
}

function read_kept(value: unknown, path: string): Kept {
  const from = object(value, path);
  const at = `${path}/sighting`;
  const seen = object(from['sighting'], at);
  const site = object(seen['site'], `${at}/site`);
  return {
    seen_ms: number(from, 'seen_ms', path),
    sighting: {
      vehicle: text(seen, 'vehicle', at),
      title: text(seen, 'title', at),
      recording: text(seen, 'recording', at),
      site: {
        pad: read_point(object(site['pad'], `${at}/site/pad`), `${at}/site/pad`),
        station: read_point(object(site['station'], `${at}/site/station`), `${at}/site/station`),
        declination_deg: number(site, 'declination_deg', `${at}/site`),
      },
      flown: flag(seen, 'flown', at),
      sentence: read_sentence(seen['sentence'], `${at}/sentence`),
      place: read_place(seen['place'], `${at}/place`),
      area: read_area(seen['area'], `${at}/area`),
      charges: array(seen['charges'], `${at}/charges`).map((entry, i) => {
        const charge = object(entry, `${at}/charges/${i}`);
        return {
          title: text(charge, 'title', at),
          why: one_of(charge, 'why', at, ['conducts', 'not_seen'] as const),
        };
      }),
      battery_v: number(seen, 'battery_v', at),
      packet_age_s: number(seen, 'packet_age_s', at),
    },
  };
}

/** Newest first. */
export function load_kept(store: Store): Kept[] {
  let list: unknown;
  try {
    list = JSON.parse(store.getItem(kKey) ?? '[]');
  } catch {
    return []; // spoilt, or storage is forbidden
  }
  if (!Array.isArray(list)) return [];
  const good = list.flatMap((entry: unknown, i) => {
    try {
      return [read_kept(entry, `kept/${i}`)];
    } catch (error) {
      if (error instanceof MessageError) return [];
      throw error;
    }
  });
  return good.sort((a, b) => b.seen_ms - a.seen_ms);
}

/** Since this device saw it: a clock that was set back must not make anything younger. */
export const since_s = ({ seen_ms }: Kept, now_ms: UtcMs): number => Math.max(0, (now_ms - seen_ms) / 1000);

const worth = ({ place, area }: Sighting): number => (place ? 2 : area ? 1 : 0);

/**
 * Keeps what was seen, one sighting a vehicle. A measured place is given away for another only, a predicted area never for
 * nothing: they are worth more than a newer recording that has heard nothing yet, but what that one says is what was said
 * last. False when the device refuses.
 */
export function keep(store: Store, seen: readonly Sighting[], now_ms: UtcMs): boolean {
  const before = load_kept(store);
  const fresh = seen.map((sighting): Kept => {
    const old = before.find((kept) => kept.sighting.vehicle === sighting.vehicle);
    if (!old) return { sighting, seen_ms: now_ms };
    const between_s = (now_ms - old.seen_ms) / 1000;
    if (worth(old.sighting) <= worth(sighting)) {
      const sentence = sighting.sentence ?? aged(old.sighting, between_s).sentence;
      return { sighting: { ...sighting, sentence }, seen_ms: now_ms };
    }
    const sentence = aged(sighting, -between_s).sentence ?? old.sighting.sentence;
    return { ...old, sighting: { ...old.sighting, sentence } };
  });
  const others = before.filter((kept) => fresh.every((one) => one.sighting.vehicle !== kept.sighting.vehicle));
  try {
    store.setItem(kKey, JSON.stringify([...fresh, ...others].slice(0, kKeptMax)));
    return true;
  } catch {
    return false;
  }
}
