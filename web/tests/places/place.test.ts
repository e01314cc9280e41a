/** The last good place, where a vehicle is likely to lie after it, and what of it may still be live. */
import { describe, expect, it } from 'vitest';
import { live_charges } from '../../src/places/hazards';
import { course } from '../../src/places/geodesic';
import { landing_area, last_place, measured_after_touchdown } from '../../src/places/place';
import { Tape } from '../../src/tape/tape';
import { column, description, event, replay_at, table, words, type Rows } from '../support/builders';

const fix = table(
  'v/fix',
  'packet',
  [
    column('latitude', 'deg', { role: 'latitude' }),
    column('longitude', 'deg', { role: 'longitude' }),
    column('height', 'm', { role: 'height_msl' }),
    column('dimensions', '1', { role: 'fix_dimensions' }),
  ],
  { period_s: 0.2 },
);
const kept = table('v/estimate/last_place', 'estimate', [
  column('latitude_deg'),
  column('longitude_deg'),
  column('altitude_msl_m'),
  column('horizontal_sigma_m'),
]);
const landing = table('v/estimate/landing', 'estimate', [
  column('nominal_east_m'),
  column('nominal_north_m'),
  column('nominal_semi_major_m'),
  column('nominal_semi_minor_m'),
  column('nominal_bearing_deg'),
  words('likeliest', 'Likeliest', 'nominal'),
]);
const health = table('v/health', 'packet', [
  column('drogue', '1', { role: 'pyro_continuity', title: 'Drogue igniter' }),
  column('main', '1', { role: 'pyro_continuity', title: 'Main igniter' }),
]);
const pad = { latitude_deg: -21.3846, longitude_deg: 23.1752 };
const site = { name: '', pad, station: pad, declination_deg: -9.6, antenna_beamwidth_deg: 42, boundary: [] };
const about = description([fix, kept, landing, health], { site });

const kFix = { latitude: -21.38, longitude: 23.18, height: 1010, dimensions: 3 };
const kKept = { latitude_deg: -21.381, longitude_deg: 23.181, altitude_msl_m: 1000, horizontal_sigma_m: 2.5 };
const kLanding = {
  nominal_east_m: 300,
  nominal_north_m: -400,
  nominal_semi_major_m: 60,
  nominal_semi_minor_m: 30,
  nominal_bearing_deg: 70,
  likeliest: 0,
};
const at = (rows: Rows, events: Parameters<typeof replay_at>[3] = []) => replay_at(60, about, rows, events);

/** A live tape whose fixes come one after another. */
function live_with(...fixes: readonly (readonly [number, Partial<typeof kFix>])[]): Tape {
  const tape = new Tape(description([fix]), 'live', []);
  for (const [t_s, more] of fixes) {
    const values = Object.values({ ...kFix, ...more });
    const view = new DataView(new ArrayBuffer(8 * (1 + values.length)));
    view.setFloat64(0, t_s, true);
    values.forEach((value, i) => view.setFloat64(8 * (i + 1), value, true));
    tape.take_block({ table: 0, columns: values.length, rows: 1, view, t_offset: 0, values_offset: 8 });
  }
  return tape;
}

describe('the last good place', () => {
  it('is the one that the server keeps, with its own time', () =>
    expect(last_place(at({ 'v/estimate/last_place': kKept, 'v/fix': kFix }), 0)).toMatchObject({
      latitude_deg: -21.381,
      longitude_deg: 23.181,
      altitude_msl_m: 1000,
      sigma_m: 2.5,
      t_s: 50,
    }));
  it('is the newest fix where the recording has no such table', () => {
    const place = last_place(at({ 'v/fix': kFix }), 0)!;
    expect(place).toMatchObject({ latitude_deg: -21.38, longitude_deg: 23.18, altitude_msl_m: 1010, t_s: 50 });
    expect(place.sigma_m).toBeNaN();
  });
  it('is not that of a row without a fix, but of the last one that had it', () => {
    const lost = { latitude: 0, longitude: 0, dimensions: 1 };
    expect(last_place(live_with([100.2, {}], [100.4, lost], [100.6, lost]), 0)).toMatchObject({
      latitude_deg: -21.38,
      t_s: 100.2,
    });
    expect(last_place(live_with([100.2, {}], [100.4, { latitude: NaN }]), 0)).toMatchObject({ t_s: 100.2 });
    expect(last_place(live_with([100.2, lost]), 0)).toBeUndefined();
  });
  it('is none, and never 0° 0°, while nothing was received', () => {
    expect(last_place(at({}), 0)).toBeUndefined();
    expect(last_place(at({ 'v/fix': { dimensions: 3 } }), 0)).toBeUndefined();
    expect(last_place(at({ 'v/estimate/last_place': { altitude_msl_m: 5 } }), 0)).toBeUndefined();
  });
  it('is the vehicle its own', () => expect(last_place(at({ 'v/fix': kFix }), 1)).toBeUndefined());
});

describe('the area to search', () => {
  it('is the ellipse of the likeliest landing, as a place on the earth', () => {
    const area = landing_area(at({ 'v/estimate/landing': kLanding }), 0)!;
    const way = course(pad, area);
    expect(way.distance_m).toBeCloseTo(500, 6);
    expect(way.bearing_deg).toBeCloseTo(180 - (Math.atan2(300, 400) * 180) / Math.PI, 4);
    expect(area).toMatchObject({ name: 'nominal', semi_major_m: 60, semi_minor_m: 30, bearing_deg: 70, t_s: 50 });
  });
  it('is the one of when the vehicle was last heard, whatever was made of silence since', () => {
    const radio = table('link/radio', 'link', [column('age_s', 's')], { vehicle: -1 });
    const tables = description([landing, radio], { site, links: [{ name: 'radio', uri: '', vehicle: 0 }] });
    const tape = new Tape(tables, 'live', []);
    const push = (number: number, t_s: number, values: number[]): void => {
      const view = new DataView(new ArrayBuffer(8 * (1 + values.length)));
      [t_s, ...values].forEach((value, i) => view.setFloat64(8 * i, value, true));
      tape.take_block({ table: number, columns: values.length, rows: 1, view, t_offset: 0, values_offset: 8 });
    };
    const of_size = (semi_major_m: number) => Object.values({ ...kLanding, nominal_semi_major_m: semi_major_m });
    push(0, 200, of_size(60));
    push(0, 210, of_size(650));
    push(1, 210, [2]);
    expect(landing_area(tape, 0)!.semi_major_m).toBe(650);
    push(1, 210.1, [8]);
    const area = landing_area(tape, 0)!;
    expect([area.semi_major_m, area.t_s]).toEqual([60, 200]);
  });
  it('is none without a prediction', () => expect(landing_area(at({ 'v/fix': kFix }), 0)).toBeUndefined());
  it('is none once the place was measured after touchdown', () => {
    const rows = { 'v/estimate/landing': kLanding, 'v/fix': kFix };
    const down = (t_s: number) => at(rows, [event(1, t_s, 'flight_event', 'touchdown')]);
    expect(measured_after_touchdown(down(49), 0)).toBe(true);
    expect(landing_area(down(49), 0)).toBeUndefined();
    expect(measured_after_touchdown(down(51), 0)).toBe(false);
    expect(landing_area(down(51), 0)).toBeDefined();
  });
});

describe('charges that may be live', () => {
  const flown = ['liftoff', 'apogee', 'drogue_out', 'main_out', 'touchdown'].map((word, i) =>
    event(i, 10 + i, 'flight_event', word),
  );
  const without = (...names: string[]) => flown.filter(({ event: name }) => !names.includes(name));
  it.each([
    ['both fired', { drogue: 0, main: 0 }, flown, []],
    ['an igniter that still conducts', { drogue: 0, main: 1 }, flown, ['Main igniter conducts']],
    ['a parachute that was not seen', { drogue: 0, main: 0 }, without('main_out'), ['Main not_seen']],
    ['both signs', { drogue: 1, main: 0 }, without('drogue_out'), ['Drogue igniter conducts', 'Drogue not_seen']],
    ['nothing heard of the igniters', {}, without('main_out', 'drogue_out'), ['Drogue not_seen', 'Main not_seen']],
    ['in the ascent', { drogue: 1, main: 1 }, flown.slice(0, 1), ['Drogue igniter conducts', 'Main igniter conducts']],
    ['on the rail', { drogue: 1, main: 1 }, [], []],
  ])('%s', (_, rows, events, want) =>
    expect(live_charges(at({ 'v/health': rows }, events), 0).map(({ title, why }) => `${title} ${why}`)).toEqual(want),
  );
});
