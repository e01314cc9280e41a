/** Words and numbers of the cards, each from known rows and events. */
import { describe, expect, it } from 'vitest';
import { horizontal_sigma, select_cards, type Card, type CardName } from '../../src/crew/estimates/cards';
import { kLandingCases, kLikeliestWords } from '../../src/tape/estimates';
import { landing_cases } from '../../src/places/landing';
import type { Tape } from '../../src/tape/tape';
import type { TapeEvent } from '../../src/stream/messages';
import { column, description, event, missing, pair, replay_at, table, words, type Rows } from '../support/builders';

const kHealthWords = ['not enough data yet', 'consistent', 'conservative', 'overconfident', 'do not trust'];
const kTables = [
  table('v/estimate/ascent', 'estimate', [
    ...pair('apogee_m'),
    column('apogee_low_m', 'm'),
    column('apogee_high_m', 'm'),
    column('apogee_in_s', 's'),
  ]),
  table('v/estimate/landing', 'estimate', [
    ...kLandingCases.flatMap((name) =>
      ['east_m', 'north_m', 'semi_major_m', 'semi_minor_m', 'bearing_deg', 'in_s', 'outside', 'probability'].map(
        (part) => column(`${name}_${part}`, 'm'),
      ),
    ),
    words('terrain', 'Terrain', 'flat', 'height grid'),
    words('likeliest', 'Likeliest case', ...Object.values(kLikeliestWords)),
    column('outside'),
  ]),
  table('v/estimate/navigation', 'estimate', [
    words(
      'mode',
      'Navigation mode',
      'aligning',
      'at rest',
      'GNSS-aided',
      'dead reckoning',
      'lost',
      'vertical only',
      'aided, no attitude',
    ),
    ...pair('east_m'),
    ...pair('north_m'),
    ...pair('up_m'),
    words('fix_health', 'GNSS fixes', ...kHealthWords),
  ]),
  table('v/estimate/look_angles', 'estimate', [
    ...pair('azimuth_deg', 'deg'),
    column('azimuth_magnetic_deg', 'deg'),
    ...pair('elevation_deg', 'deg'),
    ...pair('slant_range_m', 'm', { decimals: 0 }),
    column('pointing_half_beams'),
  ]),
  table('v/estimate/onboard_comparison', 'estimate', [
    ...pair('altitude_m'),
    ...pair('vertical_speed_mps', 'm/s'),
    ...pair('long_axis_deg', 'deg'),
  ]),
  table('v/estimate/derived', 'estimate', [
    column('altitude_max_m', 'm'),
    column('ground_distance_m', 'm', { decimals: 0 }),
  ]),
  table('v/estimate/vertical', 'estimate', [words('health', 'Vertical filter', ...kHealthWords)]),
];
/** Rows by estimator, each taken at 50 s. */
function stand(cursor_s: number, rows: Rows, events: TapeEvent[] = [], only?: string): Tape {
  const tables = kTables.filter(({ name }) => only === undefined || name.endsWith(only));
  const by_table = Object.fromEntries(Object.entries(rows).map(([name, row]) => [`v/estimate/${name}`, row]));
  return replay_at(cursor_s, description(tables), by_table, events);
}

const card = (tape: Tape, name: CardName): Card | undefined => select_cards(tape, 0).find((one) => one.name === name);
const said = (one: Card | undefined): string[] =>
  one
    ? [
        one.title,
        ...one.figures.map((f) => [f.label, f.text, f.unit, f.sigma].filter((part) => part !== '').join(' ')),
        ...one.notes,
        one.advisory,
        one.missing,
      ]
        .filter((part) => part !== '')
        .map((line) => line.replaceAll('\u202f', ' '))
    : [];
const kLiftoff = event(1, 45, 'flight_event', 'liftoff');

describe('the apogee card', () => {
  const ascent = {
    ascent: { apogee_m: 412.4, apogee_m_sigma: 11.6, apogee_low_m: 393.3, apogee_high_m: 431.4, apogee_in_s: 6.3 },
  };
  it('predicts from ignition while on the rail', () =>
    expect(said(card(stand(55, ascent), 'apogee'))).toEqual([
      'Predicted apogee',
      '412.4 m AGL ± 12',
      '90 %: 393 to 431 m',
      '6.3 s after ignition',
    ]));
  it('counts down from the row in flight, and says when the row is old', () => {
    expect(said(card(stand(51, ascent, [kLiftoff]), 'apogee')).at(-1)).toBe('in 5.3 s');
    expect(card(stand(55, ascent, [kLiftoff]), 'apogee')?.stale).toBe('5.0 s');
    expect(said(card(stand(55, ascent, [kLiftoff]), 'apogee')).at(-1), 'nothing to go').toBe('90 %: 393 to 431 m');
    expect(card(stand(55, ascent), 'apogee')?.stale, 'every 10 s on the rail').toBe('');
  });
  it('gives the apogee reached once it has passed', () => {
    const events = [kLiftoff, event(2, 57.5, 'flight_event', 'apogee', { t_sigma_s: 0.06 })];
    const rows = { ...ascent, derived: { altitude_max_m: 405.26 } };
    expect(said(card(stand(60, rows, events), 'apogee'))).toEqual([
      'Apogee reached',
      '405.3 m AGL',
      'at T+0:12.50 ± 0.060 s',
    ]);
    expect(card(stand(56, ascent, events), 'apogee')?.title, 'behind live, before it').toBe('Predicted apogee');
  });
  it('gives no time since a liftoff that was not seen', () => {
    const events = [event(2, 57.5, 'flight_event', 'apogee')];
    expect(said(card(stand(60, { derived: { altitude_max_m: 405.26 } }, events), 'apogee'))).toEqual([
      'Apogee reached',
      '405.3 m AGL',
    ]);
  });
});

describe('the landing card', () => {
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
  it('gives place and ellipse, and defers to the range safety officer', () =>
    expect(said(card(stand(52, landing, [kLiftoff]), 'landing'))).toEqual([
      'Predicted landing',
      '500 m',
      'bearing 143° true',
      'in 1 min 28 s',
      '2.3\u00a0% outside the boundary',
      '95 % ellipse 120 × 80 m (semi-axes)',
      'advisory: the range safety officer decides',
    ]));
  it('follows the case that fits what is seen, and weighs all cases for the boundary', () => {
    const by_cases = {
      landing: {
        ...landing.landing,
        no_parachute_east_m: 30,
        no_parachute_north_m: 40,
        no_parachute_semi_major_m: 60,
        no_parachute_semi_minor_m: 50,
        no_parachute_in_s: 10,
        likeliest: kLandingCases.indexOf('no_parachute'),
        outside: 0.004,
      },
    };
    expect(said(card(stand(52, by_cases, [kLiftoff]), 'landing'))).toEqual([
      'Predicted landing',
      '50 m',
      'bearing 037° true',
      'what is seen fits best: no parachute',
      'in 8.0 s',
      '0.4\u00a0% outside the boundary',
      '95 % ellipse 60 × 50 m (semi-axes)',
      'advisory: the range safety officer decides',
    ]);
  });
  it('takes the place of touchdown from navigation', () => {
    const touchdown = event(2, 95, 'flight_event', 'touchdown', { t_sigma_s: 0.4 });
    const navigation = { mode: 2, east_m: 30, north_m: 40, east_m_sigma: 2, north_m_sigma: 2, up_m: 0, up_m_sigma: 3 };
    expect(said(card(stand(100, { ...landing, navigation }, [kLiftoff, touchdown]), 'landing'))).toEqual([
      'Touchdown',
      '50 m ± 2.0',
      'bearing 037° true',
      'from the pad',
      'at T+0:50.00 ± 0.40 s',
    ]);
  });
  it('has no case that is ruled out', () =>
    expect(landing_cases(stand(50, landing), 0).map((one) => one.name)).toEqual(['nominal']));
  it.each([
    [3, 4, Math.sqrt(12.5)],
    [2, 2, 2],
  ])('makes one 1-sigma of %d east and %d north', (east, north, both) =>
    expect(horizontal_sigma(east, north)).toBeCloseTo(both, 12),
  );
});

describe('the navigation card', () => {
  it('says the mode with its 1-sigma, and marks dead reckoning', () => {
    const row = { mode: 3, east_m: 1, north_m: 1, up_m: 1, east_m_sigma: 9, north_m_sigma: 9, up_m_sigma: 2.1 };
    const one = card(stand(50, { navigation: row }), 'navigation');
    expect(said(one)).toEqual(['Navigation', 'Dead reckoning', '± 9.0 m horizontal', '± 2.1 m vertical']);
    expect(one?.caution).toBe(true);
  });
  it('says when there is no position', () => {
    const one = card(stand(50, { navigation: { mode: 5 } }), 'navigation');
    expect(said(one)).toEqual(['Navigation', 'Vertical only', 'no position']);
    expect(one?.caution).toBe(false);
  });
});

it('the antenna card says where to point and whether that is sure enough', () => {
  const look_angles = {
    azimuth_deg: 8.04,
    azimuth_deg_sigma: 0.42,
    azimuth_magnetic_deg: 355.64,
    elevation_deg: 32.1,
    elevation_deg_sigma: 0.3,
    slant_range_m: 812,
    slant_range_m_sigma: 2.4,
    pointing_half_beams: 1.3,
  };
  const one = card(stand(50, { look_angles }), 'antenna');
  expect(said(one)).toEqual([
    'Antenna pointing',
    'az 008.0° true ± 0.42',
    'el 32.1° ± 0.30',
    'slant range 812 m ± 2.4',
    '355.6° magnetic',
    'may be outside the beam',
  ]);
  expect(one?.caution).toBe(true);
});

describe('the comparison card', () => {
  const onboard_comparison = {
    altitude_m: 3.21,
    altitude_m_sigma: 1.2,
    vertical_speed_mps: -0.44,
    vertical_speed_mps_sigma: 0.3,
    long_axis_deg: 17.4,
    long_axis_deg_sigma: 0.8,
  };
  it('shows differences with their sign', () =>
    expect(said(card(stand(50, { onboard_comparison }), 'comparison'))).toEqual([
      'Ground − on board',
      '+3.2 m ± 1.2',
      '−0.4 m/s ± 0.30',
      'pointing differs by 17.4° ± 0.80°',
    ]));
  it('is not there when there is no on-board estimate', () =>
    expect(card(stand(50, {}, [], 'vertical'), 'comparison')).toBeUndefined());
});

describe('the health card', () => {
  it('says the worst word first, and of what', () => {
    const one = card(stand(50, { vertical: { health: 1 }, navigation: { mode: 2, fix_health: 3 } }), 'health');
    expect(said(one)).toEqual(['Estimator health', 'Overconfident', 'GNSS fixes', 'consistent: Vertical filter']);
    expect(one?.caution).toBe(true);
  });
  it('says that all is consistent, and of what', () =>
    expect(
      said(card(stand(50, { vertical: { health: 1 }, navigation: { mode: 2, fix_health: 1 } }), 'health')),
    ).toEqual(['Estimator health', 'Consistent', 'Vertical filter, GNSS fixes']));
  it.each([
    ['not enough data yet', false],
    ['conservative', false],
    ['do not trust', true],
    ['a word of another version', false],
  ])('"%s" asks for attention: %s, whatever its number', (word, caution) => {
    const about = description([
      table('v/estimate/vertical', 'estimate', [words('health', 'Vertical filter', '', word)]),
    ]);
    const one = select_cards(replay_at(50, about, { 'v/estimate/vertical': { health: 1 } }), 0).at(-1);
    expect([one?.figures[0]?.text.toLowerCase(), one?.caution]).toEqual([word, caution]);
  });
});

describe('a card without a value', () => {
  const sentence = 'No look-angle estimate: needs roll rate';
  const tape = stand(50, {}, [missing(9, 'look_angles', sentence)], 'vertical');
  it("says in the server's sentence what the vehicle lacks for it", () =>
    expect(card(tape, 'antenna')?.missing).toBe(sentence));
  it('says that the value is still to come', () => expect(card(tape, 'health')?.missing).toBe('No value yet'));
  it('says that the recording has no such table', () =>
    expect(card(tape, 'navigation')?.missing).toBe('Not in this recording'));
});

it('there are no cards for a vehicle that does not fly', () => {
  const still = {
    ...description(kTables),
    vehicles: [{ name: 'v', title: 'V', rocket: false, parachutes: [], more: {} }],
  };
  expect(select_cards(replay_at(50, still, {}), 0)).toEqual([]);
});
