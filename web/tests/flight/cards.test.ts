/** Words and numbers of the estimate readouts, flight times and the plan, each from known inputs. */
import { describe, expect, it } from 'vitest';
import type { Column, Description, FlightEvent, Table } from '../../src/stream/messages';
import { select_outlook, type Card, type CardName } from '../../src/flight/cards/cards';
import {
  beam_words,
  bearing_deg,
  format_bearing,
  format_interval,
  format_share,
  format_to_go,
  horizontal_sigma,
  in_plain_words,
  mode_in_words,
  needed_input,
  worst_of,
} from '../../src/flight/cards/wording';
import { EventLog } from '../../src/tape/events';
import { ellipse_points, extent_of, fit, from_pad, landing_cases } from '../../src/tape/map';
import { band_words, plan_strips } from '../../src/tape/strips';
import { Tape } from '../../src/tape/tape';

const column = (name: string, unit = '1', more: Partial<Column> = {}): Column => ({
  name,
  description: '',
  unit,
  group: 'G',
  decimals: 1,
  range: null,
  enumeration: new Map(),
  role: null,
  sigma_column: null,
  text: false,
  ...more,
});

describe('wording', () => {
  it.each([
    [
      'Sanderling has no rate_body_x, rate_body_y and rate_body_z, so there is no estimate "navigation".',
      'angular rates about all three axes',
    ],
    [
      'Sanderling has no accel_body_x, accel_body_y and accel_body_z, so there is no estimate "look".',
      'accelerations along all three axes',
    ],
    [
      'Sanderling has no accel_body_x or static_pressure, so there is no estimate "vertical".',
      'acceleration along the long axis or static pressure',
    ],
    ['Sanderling has no static_pressure, so there is no estimate "air".', 'static pressure'],
    ['A sentence of another kind about wind_speed.', 'A sentence of another kind about wind speed.'],
    ['', ''],
  ])('%s: needs %s', (sentence, needed) => expect(needed_input(sentence)).toBe(needed));
  it('leaves words that are no roles', () =>
    expect(in_plain_words('Link my_radio is open at +0.5 m/s2')).toBe('Link my_radio is open at +0.5 m/s2'));

  it.each([
    [7, 0, '007°'],
    [359.6, 0, '000°'],
    [-90, 0, '270°'],
    [84.26, 1, '084.3°'],
    [360, 1, '000.0°'],
    [NaN, 0, '–'],
  ])('bearing %d with %d decimals is %s', (deg, decimals, text) => expect(format_bearing(deg, decimals)).toBe(text));
  // Clockwise from north, as ISO 19111 takes an azimuth.
  it.each([
    [0, 1, 0],
    [1, 0, 90],
    [0, -1, 180],
    [-1, 0, 270],
    [1, 1, 45],
  ])('of %d east and %d north the bearing is %d°', (east, north, deg) =>
    expect(bearing_deg(east, north)).toBeCloseTo(deg, 12),
  );
  it('of the pad itself there is none', () => expect(bearing_deg(0, 0)).toBeNaN());
  it.each([
    [393.4, 431.2, '393 to 431 m'],
    [NaN, 4, ''],
  ])('from %d to %d is "%s"', (low, high, text) => expect(format_interval(low, high, 'm')).toBe(text));
  it.each([
    [6.31, 'in 6.3 s'],
    [80, 'in 1 min 20 s'],
    [19.94, 'in 19.9 s'],
    [0.02, 'now'],
    [-3, 'now'],
    [NaN, ''],
  ])('%d s to go: %s', (t_s, text) => expect(format_to_go(t_s)).toBe(text));
  it.each([
    [0, '0 %'],
    [0.0004, 'less than 0.1 %'],
    [0.031, '3.1 %'],
    [0.414, '41 %'],
    [1, '100 %'],
    [NaN, ''],
  ])('share %d is %s', (share, text) => expect(format_share(share)).toBe(text));
  it.each([
    [3, 4, Math.sqrt(12.5)],
    [2, 2, 2],
  ])('%d east and %d north are %d across', (east, north, both) =>
    expect(horizontal_sigma(east, north)).toBeCloseTo(both, 12),
  );
  it.each([
    [0.1, 'within the beam'],
    [0.7, 'mostly within the beam'],
    [1, 'may be outside the beam'],
    [NaN, ''],
  ])('%d half beams: %s', (half_beams, text) => expect(beam_words(half_beams)).toBe(text));
  it('says every mode of navigation, and an unknown one as it came', () => {
    const modes = ['aligning', 'on the pad', 'aided', 'dead reckoning', 'lost', 'vertical only'];
    expect(new Set(modes.map(mode_in_words)).size).toBe(6);
    expect(mode_in_words('something new')).toBe('something new');
  });
  it.each([
    [['consistent', 'consistent'], 0],
    [['consistent', 'starting'], 1],
    [['starting', 'cautious'], 1],
    [['overconfident', 'do not believe'], 0],
    [['sigmas too large', 'overconfident'], 1],
  ])('the worst of %j is number %d', (words, place) =>
    expect(worst_of(words.map((word, i) => ({ name: String(i), word })))?.name).toBe(String(place)),
  );
  it('of no checks there is no worst', () => expect(worst_of([])).toBeUndefined());
});

const event = (id: number, t_s: number, kind: string, key: string, more: Partial<FlightEvent> = {}): FlightEvent => ({
  id,
  t_s,
  t_found_s: t_s,
  t_sigma_s: 0.02,
  kind,
  level: 'note',
  vehicle: 0,
  key,
  text: '',
  ...more,
});

describe('flight times', () => {
  const flown = (log: EventLog, from_id: number, t_s: number): void => {
    log.add(event(from_id, t_s, 'flight_event', 'v/flight/lift_off'));
    log.add(event(from_id + 1, t_s, 'phase', 'v/phase/powered_ascent'));
    log.add(event(from_id + 2, t_s + 10, 'flight_event', 'v/flight/apogee', { t_sigma_s: 0.3 }));
    log.add(event(from_id + 3, t_s + 60, 'flight_event', 'v/flight/landing'));
  };
  const words = (log: EventLog, at_s?: number): string[] =>
    log.moments(0, at_s).map((moment) => `${moment.word} ${moment.t_s}`);
  it('are those of the flight that the cursor stands in', () => {
    const log = new EventLog();
    log.add(event(1, 0, 'phase', 'v/phase/on_the_pad'));
    flown(log, 10, 30);
    log.add(event(20, 300, 'phase', 'v/phase/on_the_pad'));
    expect([words(log), words(log, 299), words(log, 5)]).toEqual([
      [],
      ['lift_off 30', 'apogee 40', 'landing 90'],
      ['lift_off 30', 'apogee 40', 'landing 90'],
    ]);
    flown(log, 30, 400);
    expect([log.lift_off_s(0), log.lift_off_s(0, 299), log.lift_off_s(0, 300)]).toEqual([400, 30, 400]);
    expect(log.moments(0, 299)[1]?.sigma_s).toBe(0.3);
  });
  it('are gone when the lift-off was none, also for who looks back', () => {
    const log = new EventLog();
    log.add(event(1, 0, 'phase', 'v/phase/on_the_pad'));
    log.add(event(2, 10, 'flight_event', 'v/flight/lift_off'));
    log.add(event(3, 12, 'flight_event', 'v/flight/withdrawn'));
    log.add(event(4, 12, 'phase', 'v/phase/on_the_pad'));
    expect([log.lift_off_s(0), log.lift_off_s(0, 11)]).toEqual([undefined, undefined]);
  });
  it('do not mix vehicles, and are the same in whatever order events come', () => {
    const log = new EventLog();
    log.add(event(3, 20, 'flight_event', 'v/flight/apogee'));
    log.add(event(2, 7, 'flight_event', 'w/flight/lift_off', { vehicle: 1 }));
    log.add(event(1, 10, 'flight_event', 'v/flight/lift_off'));
    expect([words(log), log.lift_off_s(1)]).toEqual([['lift_off 10', 'apogee 20'], 7]);
  });
});

describe('plan', () => {
  // Lengths of a degree on WGS 84 in km: NGA, "Length of a degree of latitude and longitude", the usual table at 0, 30, 45, 60 degrees.
  it.each([
    [0, 110.574, 111.32],
    [30, 110.852, 96.486],
    [45, 111.132, 78.847],
    [60, 111.412, 55.8],
  ])('at %d° a degree is %d km along and %d km across', (latitude, along_km, across_km) => {
    const pad = { latitude_deg: latitude, longitude_deg: 179.9 };
    const place = from_pad(pad, { latitude_deg: latitude + 0.01, longitude_deg: -180.09 });
    expect(place.north / 10).toBeCloseTo(along_km, 2);
    expect(place.east / 10).toBeCloseTo(across_km, 2);
  });
  it('turns an ellipse clockwise from north', () => {
    const points = ellipse_points({ east: 10, north: 20, semi_major: 5, semi_minor: 2, bearing_deg: 90 }, 4);
    [
      [15, 20],
      [10, 18],
      [5, 20],
      [10, 22],
    ].forEach(([east, north], i) => {
      expect(points[i]?.east).toBeCloseTo(east ?? NaN, 9);
      expect(points[i]?.north).toBeCloseTo(north ?? NaN, 9);
    });
  });
  it('keeps its view until something leaves it or all of it is small', () => {
    const box = (half: number) =>
      extent_of([
        { east: -half, north: -half },
        { east: half, north: half },
        { east: NaN, north: 0 },
      ]);
    const first = fit(box(400), 200, 100, undefined);
    expect(first).toEqual({ east: 0, north: 0, m_per_px: 10 });
    expect(fit(box(300), 200, 100, first)).toBe(first);
    expect(fit(box(700), 200, 100, first).m_per_px).toBeCloseTo(17.5, 9);
    expect(fit(box(150), 200, 100, first).m_per_px).toBeLessThan(first.m_per_px);
    expect(fit(extent_of([]), 200, 100, first)).toBe(first);
  });
});

const word_column = (name: string, words: string[]): Column =>
  column(name, '1', { decimals: 0, enumeration: new Map(words.map((word, i) => [i, word])) });
const pair = (name: string, unit = 'm', sigma = `${name}_sigma`): Column[] => [
  column(name, unit, { sigma_column: sigma }),
  column(sigma, unit, { group: '' }),
];
const kTables: readonly (readonly [string, Column[]])[] = [
  [
    'ascent',
    [
      ...pair('apogee_m'),
      column('apogee_low_m', 'm'),
      column('apogee_high_m', 'm'),
      column('apogee_in_s', 's'),
      column('apogee_in_low_s', 's'),
      column('apogee_in_high_s', 's'),
    ],
  ],
  [
    'landing',
    [
      ...['nominal', 'first_shut', 'all_shut'].flatMap((p) =>
        ['east_m', 'north_m', 'semi_major_m', 'semi_minor_m', 'bearing_deg', 'in_s', 'outside'].map((c) =>
          column(`${p}_${c}`, 'm'),
        ),
      ),
      word_column('terrain', ['flat', 'height grid']),
    ],
  ],
  [
    'navigation',
    [
      word_column('mode', ['aligning', 'on the pad', 'aided', 'dead reckoning', 'lost', 'vertical only']),
      ...pair('east_m'),
      ...pair('north_m'),
      ...pair('up_m'),
      word_column('fix_health', ['starting', 'consistent', 'cautious', 'overconfident']),
    ],
  ],
  [
    'look',
    [
      ...pair('azimuth_true_deg', 'deg', 'azimuth_deg_sigma'),
      column('azimuth_magnetic_deg', 'deg'),
      ...pair('elevation_deg', 'deg'),
      ...pair('slant_range_m'),
      column('pointing_half_beams'),
    ],
  ],
  ['compare', [...pair('altitude_m'), ...pair('vertical_speed_mps', 'm/s'), ...pair('long_axis_deg', 'deg')]],
  ['derived', [column('altitude_max_m', 'm'), column('ground_distance_m', 'm', { decimals: 0 })]],
  ['vertical', [word_column('health', ['starting', 'consistent', 'sigmas too large', 'do not believe'])]],
];

function description(names: readonly string[]): Description {
  const tables = kTables
    .filter(([name]) => names.includes(name))
    .map(([name, columns], id): Table => ({
      id,
      name: `v/estimate/${name}`,
      title: '',
      kind: 'estimate',
      vehicle: 0,
      period_s: 0.5,
      columns,
      number_count: columns.length,
    }));
  const nowhere = { latitude_deg: 40, longitude_deg: -118 };
  return {
    recording: {
      id: 'r',
      name: '',
      notes: '',
      utc_start_ms: 0,
      t_end_s: 100,
      live: false,
      closed: true,
      file_bytes: 0,
      damage: '',
      vehicles: '',
    },
    software: '',
    site: { name: '', pad: nowhere, station: nowhere, boundary: [] },
    vehicles: [{ name: 'v', title: 'V', rocket: true }],
    links: [],
    tables,
  };
}

/** A replay that stands at `cursor_s` with these rows, each taken at 50 s. */
function stand(
  cursor_s: number,
  rows: Readonly<Record<string, Readonly<Record<string, number>>>>,
  events: FlightEvent[] = [],
  names = kTables.map(([name]) => name),
): Tape {
  const tape = new Tape(description(names), 'replay', []);
  tape.set_cursor(cursor_s);
  tape.take_at_cursor(
    tape.tables.flatMap(({ table }) => {
      const row = rows[table.name.replace('v/estimate/', '')];
      return row
        ? [{ table: table.id, t_s: 50, values: Float64Array.from(table.columns, (c) => row[c.name] ?? NaN) }]
        : [];
    }),
  );
  for (const one of events) tape.log.add(one);
  return tape;
}
const card = (tape: Tape, name: CardName): Card | undefined => select_outlook(tape, 0).find((one) => one.name === name);
const said = (one: Card | undefined): string[] =>
  one
    ? [
        one.title,
        ...one.figures.map((f) => [f.label, f.text, f.unit, f.sigma].filter((part) => part !== '').join(' ')),
        ...one.notes,
        one.advisory,
        one.missing,
      ].filter((part) => part !== '')
    : [];
const spaced = (lines: string[]): string[] => lines.map((line) => line.replaceAll('\u202f', ' '));
const kLiftOff = event(1, 45, 'flight_event', 'v/flight/lift_off');

describe('outlook', () => {
  const ascent = {
    ascent: { apogee_m: 412.4, apogee_m_sigma: 11.6, apogee_low_m: 393.3, apogee_high_m: 431.4, apogee_in_s: 6.3 },
  };
  it('predicts apogee on the pad from ignition', () =>
    expect(spaced(said(card(stand(55, ascent), 'apogee')))).toEqual([
      'Predicted apogee',
      '412.4 m ± 12',
      '90 %: 393 to 431 m',
      '6.3 s after ignition',
    ]));
  it('counts down from the row in flight, and says when the row is old', () => {
    expect(spaced(said(card(stand(51, ascent, [kLiftOff]), 'apogee')))).toEqual([
      'Predicted apogee',
      '412.4 m ± 12',
      '90 %: 393 to 431 m',
      'in 5.3 s',
    ]);
    expect(card(stand(55, ascent, [kLiftOff]), 'apogee')?.stale).toBe('5.0 s');
    expect(card(stand(55, ascent), 'apogee')?.stale, 'every 10 s on the pad').toBe('');
  });
  it('gives the achieved apogee once it has passed', () => {
    const events = [kLiftOff, event(2, 57.5, 'flight_event', 'v/flight/apogee', { t_sigma_s: 0.06 })];
    expect(spaced(said(card(stand(60, { ...ascent, derived: { altitude_max_m: 405.26 } }, events), 'apogee')))).toEqual(
      ['Apogee reached', '405.3 m', 'at T+0:12.50 ± 0.060 s'],
    );
    expect(card(stand(56, ascent, events), 'apogee')?.title, 'looking back before it').toBe('Predicted apogee');
  });
  const landing = {
    landing: {
      nominal_east_m: 300,
      nominal_north_m: -400,
      nominal_semi_major_m: 120,
      nominal_semi_minor_m: 80,
      nominal_in_s: 90,
      nominal_outside: 0.023,
      terrain: 0,
    },
  };
  it('gives the predicted landing with its ellipse and defers to the range safety officer', () =>
    expect(said(card(stand(52, landing, [kLiftOff]), 'landing'))).toEqual([
      'Predicted landing',
      '500 m',
      'at 143° true',
      '95 %: ± 120 by ± 80 m',
      'in 1 min 28 s',
      '2.3 % outside the boundary',
      'advisory: the range safety officer decides',
    ]));
  it('takes the place of landing from navigation', () => {
    const events = [kLiftOff, event(2, 120, 'flight_event', 'v/flight/landing', { t_sigma_s: 0.4 })];
    const rows = {
      ...landing,
      navigation: { mode: 2, east_m: 30, north_m: 40, east_m_sigma: 2, north_m_sigma: 2, up_m: 0, up_m_sigma: 3 },
    };
    const tape = stand(100, rows, [kLiftOff, { ...events[1], t_s: 95 } as FlightEvent]);
    expect(spaced(said(card(tape, 'landing')))).toEqual([
      'Landed',
      '50 m ± 2.0',
      'at 037° true',
      'from the pad',
      'at T+0:50.00 ± 0.40 s',
    ]);
  });
  it('leaves out cases that are ruled out', () =>
    expect(landing_cases(stand(50, landing), 0).map((one) => one.name)).toEqual(['nominal']));
  it('says the mode of navigation with its 1-sigma', () => {
    const row = { mode: 3, east_m: 1, north_m: 1, up_m: 1, east_m_sigma: 9, north_m_sigma: 9, up_m_sigma: 2.1 };
    const one = card(stand(50, { navigation: row }), 'navigation');
    expect(spaced(said(one))).toEqual([
      'Navigation',
      'Dead reckoning, no fix',
      'position ± 9.0 m across',
      '± 2.1 m up',
    ]);
    expect(one?.caution).toBe(true);
    expect(said(card(stand(50, { navigation: { mode: 5 } }), 'navigation'))).toEqual([
      'Navigation',
      'Vertical motion only',
      'no position',
    ]);
  });
  it('says where to point the antenna and whether that is sure enough', () => {
    const look = {
      azimuth_true_deg: 8.04,
      azimuth_deg_sigma: 0.42,
      azimuth_magnetic_deg: 355.64,
      elevation_deg: 32.1,
      elevation_deg_sigma: 0.3,
      slant_range_m: 812,
      slant_range_m_sigma: 2.4,
      pointing_half_beams: 1.3,
    };
    expect(spaced(said(card(stand(50, { look }), 'antenna')))).toEqual([
      'Antenna direction',
      '008.0° ± 0.42',
      'up 32.1° ± 0.30',
      'from true north',
      '355.6° magnetic',
      '812.0 m ± 2.4',
      'may be outside the beam',
    ]);
  });
  it('shows ground minus on-board with its sign, and nothing when there is no on-board estimate', () => {
    const compare = {
      altitude_m: 3.21,
      altitude_m_sigma: 1.2,
      vertical_speed_mps: -0.44,
      vertical_speed_mps_sigma: 0.3,
      long_axis_deg: 1.2,
      long_axis_deg_sigma: 0.8,
    };
    expect(spaced(said(card(stand(50, { compare }), 'compare')))).toEqual([
      'Ground minus on-board',
      '+3.2 m ± 1.2',
      '−0.4 m/s ± 0.30',
      'long axes 1.2° apart ± 0.80°',
    ]);
    expect(card(stand(50, {}, [], ['vertical']), 'compare')).toBeUndefined();
  });
  it('names the estimator that is worst off', () => {
    expect(
      said(card(stand(50, { vertical: { health: 1 }, navigation: { mode: 2, fix_health: 3 } }), 'health')),
    ).toEqual(['Estimator health', 'Satellite fixes: ± too narrow', 'vertical motion: ± fits']);
    expect(said(card(stand(50, { vertical: { health: 1 } }), 'health'))).toEqual([
      'Estimator health',
      'Every ± fits its errors',
      'vertical motion',
    ]);
  });
  it('says in plain words what is needed when an estimate is missing', () => {
    const missing = (estimate: string, what: string) =>
      event(9, 0, 'recording', `v/missing/${estimate}`, {
        text: `V has no ${what}, so there is no estimate "${estimate}".`,
      });
    const tape = stand(50, {}, [missing('look', 'rate_body_x, rate_body_y and rate_body_z')], ['vertical']);
    expect(card(tape, 'antenna')?.missing).toBe('Not available: needs angular rates about all three axes');
    expect(card(tape, 'health')?.missing).toBe('Nothing yet');
  });
  it('is empty for a vehicle that does not fly', () => {
    const tape = new Tape(
      { ...description(['vertical']), vehicles: [{ name: 'v', title: 'V', rocket: false }] },
      'replay',
      [],
    );
    expect(select_outlook(tape, 0)).toEqual([]);
  });
});

describe('strips of estimates', () => {
  const tables = description(['ascent', 'navigation']);
  const strips = plan_strips(tables, 0).flatMap((group) => group.strips);
  it('draw bounds as the band of their value, not as strips', () => {
    const apogee = strips.find((strip) => strip.title === 'Predicted apogee');
    expect(apogee?.series.map((s) => [s.column, s.low, s.high])).toEqual([[0, 2, 3]]);
    expect(apogee && band_words(apogee)).toBe('90 %');
    expect(strips.find((strip) => strip.title === 'Time to apogee')?.series.map((s) => [s.low, s.high])).toEqual([
      [5, 6],
    ]);
    expect(strips.some((strip) => /low|high/.test(strip.id))).toBe(false);
  });
  it('have a band of one sigma where a column names its sigma', () => {
    const east = strips.find((strip) => strip.title === 'East of pad');
    expect(east && band_words(east)).toBe('±1σ');
    const mode = strips.find((strip) => strip.title === 'Navigation mode');
    expect(mode && band_words(mode)).toBe('');
  });
  it('leave out clocks that only run', () => {
    const phase: Table = {
      id: 0,
      name: 'v/estimate/phase',
      title: '',
      kind: 'estimate',
      vehicle: 0,
      period_s: 1,
      columns: [column('phase'), column('time_in_phase_s', 's'), column('time_since_lift_off_s', 's')],
      number_count: 3,
    };
    expect(
      plan_strips({ ...tables, tables: [phase] }, 0).flatMap((group) => group.strips.map((strip) => strip.title)),
    ).toEqual(['Phase']);
  });
});
