/** What a device keeps: it survives a reload, ages by the device's own clock, and is believed only as far as it can be read. */
import { describe, expect, it } from 'vitest';
import { kept_band, last_seen } from '../../src/offline/away';
import { keep, load_kept, type Store } from '../../src/offline/kept';
import { aged, goal_of, sighting_of, type Sighting } from '../../src/offline/sighting';
import { items_of } from '../../src/recover/collect';
import { column, description, event, replay_at, table } from '../support/builders';
import { Tape } from '../../src/tape/tape';

function memory(): Store & { text: Map<string, string> } {
  const text = new Map<string, string>();
  return { text, getItem: (key) => text.get(key) ?? null, setItem: (key, value) => void text.set(key, value) };
}

const point = { latitude_deg: -21.38, longitude_deg: 23.18 };
const seen = (vehicle: string, more: Partial<Sighting> = {}): Sighting => ({
  vehicle,
  title: vehicle.toUpperCase(),
  recording: 'r1',
  site: { pad: point, station: { latitude_deg: NaN, longitude_deg: NaN }, declination_deg: -9.6 },
  flown: true,
  sentence: { text: 'Under drogue. 612 m AGL.', level: 'note', age_s: 38 },
  place: {
    ...point,
    altitude_msl_m: 990,
    altitude_agl_m: NaN,
    sigma_m: 3,
    age_s: 40,
    utc_ms: 1e12,
    before_flight: false,
    at_rest: false,
  },
  area: { ...point, name: 'main_fails', semi_major_m: 60, semi_minor_m: 30, bearing_deg: 70, age_s: 41 },
  charges: [{ title: 'Main', why: 'not_seen' }],
  battery_v: 7.5,
  packet_age_s: 38,
  ...more,
});

describe('a device', () => {
  it('keeps a sighting to the last figure', () => {
    const store = memory();
    expect(keep(store, [seen('a'), seen('b', { place: undefined, area: undefined })], 5000)).toBe(true);
    expect(load_kept(store)).toEqual([
      { seen_ms: 5000, sighting: seen('a') },
      { seen_ms: 5000, sighting: seen('b', { place: undefined, area: undefined }) },
    ]);
  });
  it('keeps one sighting a vehicle, the newest first', () => {
    const store = memory();
    keep(store, [seen('a'), seen('b')], 1000);
    keep(store, [seen('a', { recording: 'r2' })], 2000);
    expect(load_kept(store).map(({ sighting, seen_ms }) => [sighting.vehicle, sighting.recording, seen_ms])).toEqual([
      ['a', 'r2', 2000],
      ['b', 'r1', 1000],
    ]);
  });
  it('never gives a place away for a recording that has heard none', () => {
    const store = memory();
    keep(store, [seen('a')], 1000);
    keep(store, [seen('a', { recording: 'r2', place: undefined })], 2000);
    expect(load_kept(store)).toMatchObject([{ seen_ms: 1000, sighting: { recording: 'r1', place: seen('a').place } }]);
  });
  it('keeps what was said last, also of a recording that has heard no place', () => {
    const store = memory();
    keep(store, [seen('a')], 1000);
    const rail = { text: 'On the rail.', level: 'note' as const, age_s: 2 };
    keep(store, [seen('a', { recording: 'r2', place: undefined, sentence: rail })], 61_000);
    const [first] = last_seen(load_kept(store), 71_000);
    expect([first!.sentence, first!.place!.age_s]).toEqual([{ ...rail, age_s: 12 }, 110]);
  });
  it('keeps the sentence while a page that has just been opened knows none', () => {
    const store = memory();
    keep(store, [seen('a')], 1000);
    keep(store, [seen('a', { sentence: undefined })], 61_000);
    keep(store, [seen('a', { place: undefined, sentence: undefined })], 71_000);
    expect(last_seen(load_kept(store), 81_000)[0]!.sentence).toEqual({ ...seen('a').sentence, age_s: 118 });
  });
  it('reads what an older page kept, which held no sentence', () => {
    const store = memory();
    keep(store, [seen('a', { sentence: undefined })], 1000);
    expect(load_kept(store)[0]!.sighting.sentence).toBeUndefined();
  });
  it('keeps a predicted area, where nothing better is known', () => {
    const store = memory();
    keep(store, [seen('a', { place: undefined })], 1000);
    keep(store, [seen('a', { recording: 'r2', place: undefined, area: undefined })], 2000);
    expect(load_kept(store)).toMatchObject([{ seen_ms: 1000, sighting: { recording: 'r1', area: seen('a').area } }]);
  });
  it.each([
    ['no JSON', '{'],
    ['no list', '{"a":1}'],
    ['entries of another kind', '[1, null, {}, {"seen_ms": 1}, {"seen_ms": 1, "sighting": {"vehicle": 3}}]'],
  ])('reads %s as nothing', (_, text) => {
    const store = memory();
    store.setItem('turnstone.kept.1', text);
    expect(load_kept(store)).toEqual([]);
    expect(keep(store, [seen('a')], 1)).toBe(true);
    expect(load_kept(store)).toHaveLength(1);
  });
  it('leaves out the one entry that is spoilt', () => {
    const store = memory();
    keep(store, [seen('a'), seen('b')], 1);
    const list = JSON.parse(store.getItem('turnstone.kept.1')!);
    list[0].sighting.place.latitude_deg = 'north';
    store.setItem('turnstone.kept.1', JSON.stringify(list));
    expect(load_kept(store).map(({ sighting }) => sighting.vehicle)).toEqual(['b']);
  });
  it('says so when it refuses', () => {
    const full: Store = {
      getItem: () => null,
      setItem: () => {
        throw new Error('quota');
      },
    };
    expect(keep(full, [seen('a')], 1)).toBe(false);
  });
});

describe('without the station', () => {
  const kept = [
    { sighting: seen('first'), seen_ms: 50_000 },
    {
      sighting: seen('lately', { sentence: { text: 'Down 114 m from the pad.', level: 'caution', age_s: 1 } }),
      seen_ms: 40_000,
    },
  ];
  it('what was heard last comes first, with the age of its data', () => {
    expect(last_seen(kept, 100_000).map(({ vehicle, sentence }) => [vehicle, sentence!.age_s])).toEqual([
      ['lately', 61],
      ['first', 88],
    ]);
  });
  it('the band says what was said last, that it is old, and calls nobody', () => {
    expect(kept_band(last_seen(kept, 100_000)[0]!, 'feet')).toMatchObject({
      text: 'Down 374 ft from the pad.',
      level: 'caution',
      calls: false,
      old: 'LATELY, 61 s old: kept on this device.',
    });
    expect(kept_band(seen('a', { sentence: undefined }), 'metric')).toBeUndefined();
  });
});

describe('what there is to collect', () => {
  const about = description([
    table('v/fix', 'packet', [
      column('latitude', 'deg', { role: 'latitude' }),
      column('longitude', 'deg', { role: 'longitude' }),
    ]),
  ]);
  const live = (rows: number[]) =>
    new Tape(about, 'live', rows.length > 0 ? [{ table: 0, t_s: 90, values: Float64Array.from(rows) }] : []);
  const kept = [
    { sighting: seen('v'), seen_ms: 100_000 },
    { sighting: seen('old'), seen_ms: 40_000 },
  ];
  const shown = (tape: Tape | undefined, now_ms = 160_000) =>
    items_of(tape, kept, now_ms).map(({ sighting, vehicle, kept_s }) => [
      sighting.vehicle,
      vehicle,
      Number.isNaN(kept_s) ? 'live' : kept_s,
      Math.round(sighting.place?.age_s ?? -1),
    ]);

  it('is what was kept, older by what has passed since, while there is no station', () =>
    expect(shown(undefined)).toEqual([
      ['v', -1, 60, 100],
      ['old', -1, 120, 160],
    ]));
  it('is what the tape says where it says something', () =>
    expect(shown(live([-21, 23]))).toEqual([
      ['v', 0, 'live', 10],
      ['old', -1, 120, 160],
    ]));
  it('is the kept place while a new recording has heard none', () =>
    expect(shown(live([]))).toEqual([
      ['v', 0, 60, 100],
      ['old', -1, 120, 160],
    ]));
  it('does not get younger when the clock of the device is set back', () =>
    expect(shown(undefined, 90_000)[0]).toEqual(['v', -1, 0, 40]));
  it('is of the recording alone in a replay', () => {
    const tape = replay_at(60, about, { 'v/fix': { latitude: -21, longitude: 23 } });
    expect(items_of(tape, kept, 1e9).map(({ sighting }) => sighting.vehicle)).toEqual(['v']);
  });
});

describe('a sighting', () => {
  const about = description(
    [
      table('v/fix', 'packet', [
        column('latitude', 'deg', { role: 'latitude' }),
        column('longitude', 'deg', { role: 'longitude' }),
      ]),
      table('v/health', 'packet', [column('battery', 'V', { role: 'battery_voltage' })]),
    ],
    { recording: { ...description([]).recording, utc_start_ms: 1000 } },
  );
  it('has the age of the measurement', () => {
    const tape = replay_at(62, about, { 'v/fix': { latitude: 1, longitude: 2 }, 'v/health': { battery: 7.4 } }, [
      event(1, 10, 'flight_event', 'liftoff'),
    ]);
    const sighting = sighting_of(tape, 0);
    expect(sighting.place).toMatchObject({ age_s: 12, utc_ms: 51_000, at_rest: false });
    expect([sighting.flown, sighting.battery_v, sighting.title]).toEqual([true, 7.4, 'V']);
    expect(aged(sighting, 5).place!.age_s).toBe(17);
  });
  it('has the sentence, as old as the last packet', () => {
    const said = event(1, 50, 'sentence', 'sentence', { text: 'Under drogue.', level: 'note' });
    const heard = description([table('link/radio', 'link', [column('age_s', 's')])], {
      links: [{ name: 'radio', vehicle: 0, uri: '' }],
    });
    const { sentence } = sighting_of(replay_at(62, heard, { 'link/radio': { age_s: 30 } }, [said]), 0);
    expect(sentence).toEqual({ text: 'Under drogue.', level: 'note', age_s: 42 });
  });
  it.each([
    ['on the rail', [], false],
    ['just after liftoff, where a fix tells of the rail still', [event(1, 48.5, 'flight_event', 'liftoff')], true],
    ['in flight', [event(1, 40, 'flight_event', 'liftoff')], false],
  ])('says of a place measured %s whether the flight has left it behind', (_, events, before_flight) => {
    const tape = replay_at(62, about, { 'v/fix': { latitude: 1, longitude: 2 } }, events);
    expect(sighting_of(tape, 0).place).toMatchObject({ before_flight });
  });
  it('has nothing that was not received', () => {
    const sighting = sighting_of(replay_at(62, about, {}), 0);
    expect([sighting.place, sighting.area, sighting.flown, sighting.sentence]).toEqual([
      undefined,
      undefined,
      false,
      undefined,
    ]);
    expect(sighting.battery_v).toBeNaN();
  });
});

describe('where to go', () => {
  const { place, area } = seen('a');
  const before = { ...place!, before_flight: true };
  it.each([
    ['is the last place', place, area, false, 3],
    ['is the last place where nothing is predicted', before, undefined, false, 3],
    ['is the middle of the area where the last place is older than the flight', before, area, true, 24.5],
    ['is the middle of the area where there never was a fix', undefined, area, true, 24.5],
  ])('%s', (_, a_place, an_area, predicted, sigma_m) => {
    const goal = goal_of(seen('a', { place: a_place, area: an_area }))!;
    expect(goal.predicted).toBe(predicted);
    expect(goal.sigma_m).toBeCloseTo(sigma_m, 1); // 60 m of 95 %: 2.448 sigma, chi-square tables, two degrees of freedom
  });
  it('is nowhere without both', () =>
    expect(goal_of(seen('a', { place: undefined, area: undefined }))).toBeUndefined());
});
