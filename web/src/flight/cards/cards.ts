/**
 * What the estimates say about the flight at the tape's cursor: predicted apogee and landing, navigation, where to point
 * the antenna, ground against on-board, and whether the estimators can be believed. Numbers are those of the newest row
 * at the cursor; times to go are counted down from it.
 */
import { format_age, format_clock, format_fixed, format_value, kNoValue } from '../../text/format';
import type { Column } from '../../stream/messages';
import type { Tape } from '../../tape/tape';
import { shown_unit } from '../../text/units';
import {
  beam_words,
  bearing_deg,
  format_bearing,
  format_interval,
  format_share,
  format_to_go,
  health_in_words,
  horizontal_sigma,
  mode_in_words,
  needed_input,
  plus_minus,
  worst_of,
  type Check,
} from './wording';

export type CardName = 'apogee' | 'landing' | 'navigation' | 'antenna' | 'compare' | 'health';

export interface Figure {
  /** Short name before it; empty when the title says it. */
  label: string;
  text: string;
  unit: string;
  /** "± 1.2", in the figure's unit; empty when the table gives none. */
  sigma: string;
  /** The number behind the text; NaN for words. */
  number: number;
}

export interface Card {
  name: CardName;
  title: string;
  /** Empty: `missing` says why. */
  figures: Figure[];
  notes: string[];
  /** Said beside a share that only a person may act on. */
  advisory: string;
  missing: string;
  /** Age in words when the row is too old to be believed; else empty. */
  stale: string;
  /** Wants attention: marked by shape and words. */
  caution: boolean;
}

const kPadHold_s = 25; // on the pad predictions come every 10 s
const kHold_s = 3;

interface Row {
  t_s: number;
  /** Whether the vehicle has such a table. */
  known: boolean;
  get(column: string): number;
  /** Word of an enumeration. */
  word(column: string): string;
  figure(label: string, column: string, signed?: boolean): Figure;
}

function sign_of(text: string, signed: boolean): string {
  return signed && /^[1-9]|^0\.\d*[1-9]/.test(text) ? `+${text}` : text;
}

function figure_of(column: Column | undefined, label: string, value: number, sigma: number, signed = false): Figure {
  if (!column) return { label, text: kNoValue, unit: '', sigma: '', number: NaN };
  const { symbol } = shown_unit(column.unit);
  return {
    label,
    text: sign_of(format_value(column, value), signed),
    unit: symbol,
    sigma: Number.isFinite(sigma) ? plus_minus(sigma, column.unit).replace(/ \S+$/, '') : '',
    number: value,
  };
}

/** The row of an estimate table at the cursor. */
function row_of(tape: Tape, vehicle: number, name: string): Row {
  const table = tape.description.tables.find((t) => t.vehicle === vehicle && t.name.endsWith(`/estimate/${name}`));
  const place = (column: string): number => table?.columns.findIndex((c) => c.name === column) ?? -1;
  const get = (column: string): number => {
    const at = place(column);
    return table && at >= 0 ? tape.value_at_cursor(table.id, at).value : NaN;
  };
  return {
    t_s: table ? tape.value_at_cursor(table.id, 0).t_s : NaN,
    known: table !== undefined,
    get,
    word: (column) => table?.columns[place(column)]?.enumeration.get(get(column)) ?? '',
    figure: (label, column, signed) => {
      const own = table?.columns[place(column)];
      return figure_of(own, label, get(column), own?.sigma_column ? get(own.sigma_column) : NaN, signed);
    },
  };
}

function card(name: CardName, title: string): Card {
  return { name, title, figures: [], notes: [], advisory: '', missing: '', stale: '', caution: false };
}

interface Scene {
  tape: Tape;
  vehicle: number;
  cursor_s: number;
  lift_off_s: number | undefined;
  apogee: { t_s: number; sigma_s: number } | undefined;
  landing: { t_s: number; sigma_s: number } | undefined;
}

function why_missing(scene: Scene, estimate: string): string {
  const name = scene.tape.description.vehicles[scene.vehicle]?.name ?? '';
  return needed_input(scene.tape.log.missing(name, estimate));
}

function without(scene: Scene, empty: Card, estimate: string, known: boolean, needs: string, waiting: string): Card {
  const why = why_missing(scene, estimate);
  if (why !== '') return { ...empty, missing: `Not available: needs ${why}` };
  return { ...empty, missing: known ? waiting : `Not available: needs ${needs}` };
}

function old(scene: Scene, t_s: number): string {
  const age_s = scene.cursor_s - t_s;
  const hold_s = scene.lift_off_s === undefined ? kPadHold_s : kHold_s;
  return age_s > hold_s ? format_age(age_s) : '';
}

function flight_clock(scene: Scene, moment: { t_s: number; sigma_s: number }): string {
  const since_s = moment.t_s - (scene.lift_off_s ?? 0);
  const spread = moment.sigma_s > 0 ? ` ${plus_minus(moment.sigma_s, 's')}` : '';
  return `${scene.lift_off_s === undefined ? 'at' : 'at T'}${format_clock(since_s, 2)}${spread}`;
}

function apogee_card(scene: Scene): Card {
  if (scene.apogee) {
    const reached = card('apogee', 'Apogee reached');
    const row = row_of(scene.tape, scene.vehicle, 'derived');
    const figure = row.figure('', 'altitude_max_m');
    if (Number.isNaN(figure.number))
      return { ...reached, missing: `Height not known; ${flight_clock(scene, scene.apogee)}` };
    return { ...reached, figures: [figure], notes: [flight_clock(scene, scene.apogee)] };
  }
  const predicted = card('apogee', 'Predicted apogee');
  const row = row_of(scene.tape, scene.vehicle, 'ascent');
  const figure = row.figure('', 'apogee_m');
  if (Number.isNaN(figure.number))
    return without(
      scene,
      predicted,
      'ascent',
      row.known,
      'acceleration along the long axis or static pressure',
      'No prediction yet',
    );
  const notes = [`90 %: ${format_interval(row.get('apogee_low_m'), row.get('apogee_high_m'), 'm')}`];
  if (scene.lift_off_s === undefined) {
    const after_s = row.get('apogee_in_s');
    if (Number.isFinite(after_s)) notes.push(`${format_fixed(after_s, 1)} s after ignition`);
  } else {
    notes.push(format_to_go(row.get('apogee_in_s') - (scene.cursor_s - row.t_s)));
  }
  return { ...predicted, figures: [figure], notes, stale: old(scene, row.t_s) };
}

/** Distance and true bearing from the pad, as two figures. */
function from_pad(east: number, north: number, sigma: number): Figure[] {
  const bearing = bearing_deg(east, north);
  const distance = Math.hypot(east, north);
  return [
    {
      label: '',
      text: format_fixed(distance, 0),
      unit: 'm',
      sigma: Number.isFinite(sigma) ? plus_minus(sigma, 'm').replace(/ \S+$/, '') : '',
      number: distance,
    },
    { label: 'at', text: format_bearing(bearing), unit: 'true', sigma: '', number: bearing },
  ];
}

function landing_card(scene: Scene): Card {
  if (scene.landing) {
    const landed = card('landing', 'Landed');
    const notes = ['from the pad', flight_clock(scene, scene.landing)];
    const row = row_of(scene.tape, scene.vehicle, 'navigation');
    const east = row.get('east_m');
    if (Number.isFinite(east)) {
      return {
        ...landed,
        figures: from_pad(
          east,
          row.get('north_m'),
          horizontal_sigma(row.get('east_m_sigma'), row.get('north_m_sigma')),
        ),
        notes,
      };
    }
    const figure = row_of(scene.tape, scene.vehicle, 'derived').figure('', 'ground_distance_m');
    return Number.isNaN(figure.number)
      ? { ...landed, missing: `Place not known; ${flight_clock(scene, scene.landing)}` }
      : { ...landed, figures: [figure], notes };
  }
  const predicted = card('landing', 'Predicted landing');
  const row = row_of(scene.tape, scene.vehicle, 'landing');
  const east = row.get('nominal_east_m');
  if (Number.isNaN(east))
    return without(
      scene,
      predicted,
      'landing',
      row.known,
      'acceleration along the long axis or static pressure',
      'No prediction yet',
    );
  const stale = old(scene, row.t_s);
  const no_place = scene.lift_off_s === undefined ? '' : why_missing(scene, 'navigation');
  if (stale !== '' && no_place !== '') return { ...predicted, missing: `Not available in flight: needs ${no_place}` };
  const notes = [
    `95 %: ± ${format_fixed(row.get('nominal_semi_major_m'), 0)} by ± ${format_fixed(row.get('nominal_semi_minor_m'), 0)} m`,
  ];
  if (scene.lift_off_s !== undefined) notes.push(format_to_go(row.get('nominal_in_s') - (scene.cursor_s - row.t_s)));
  const outside = row.get('nominal_outside');
  const share = format_share(outside);
  notes.push(share === '' ? 'no boundary given' : `${share} outside the boundary`);
  return {
    ...predicted,
    figures: from_pad(east, row.get('nominal_north_m'), NaN),
    notes,
    advisory: outside > 0 ? 'advisory: the range safety officer decides' : '',
    stale,
  };
}

function navigation_card(scene: Scene): Card {
  const empty = card('navigation', 'Navigation');
  const row = row_of(scene.tape, scene.vehicle, 'navigation');
  const mode = row.word('mode');
  if (mode === '')
    return without(scene, empty, 'navigation', row.known, 'accelerations and angular rates', 'Nothing yet');
  const across = horizontal_sigma(row.get('east_m_sigma'), row.get('north_m_sigma'));
  const up = row.get('up_m_sigma');
  return {
    ...empty,
    figures: [{ label: '', text: mode_in_words(mode), unit: '', sigma: '', number: row.get('mode') }],
    notes: Number.isFinite(across)
      ? [`position ${plus_minus(across, 'm')} across`, `${plus_minus(up, 'm')} up`]
      : ['no position'],
    stale: old(scene, row.t_s),
    caution: mode === 'lost' || mode === 'dead reckoning',
  };
}

function antenna_card(scene: Scene): Card {
  const empty = card('antenna', 'Antenna direction');
  const row = row_of(scene.tape, scene.vehicle, 'look');
  const azimuth = row.get('azimuth_true_deg');
  if (Number.isNaN(azimuth) && Number.isNaN(row.get('elevation_deg'))) {
    return without(scene, empty, 'look', row.known, 'accelerations and angular rates', 'No position yet');
  }
  const beam = row.get('pointing_half_beams');
  const true_north = row.figure('', 'azimuth_true_deg');
  const elevation = row.figure('', 'elevation_deg');
  const range = row.figure('', 'slant_range_m');
  return {
    ...empty,
    figures: [
      { ...true_north, text: format_bearing(azimuth, 1), unit: '' },
      { ...elevation, label: 'up', text: `${elevation.text}°`, unit: '' },
    ],
    notes: [
      'from true north',
      `${format_bearing(row.get('azimuth_magnetic_deg'), 1)} magnetic`,
      `${range.text} m ${range.sigma}`.trim(),
      beam_words(beam),
    ].filter((note) => note !== ''),
    stale: old(scene, row.t_s),
    caution: beam >= 1,
  };
}

/** Undefined when the vehicle sends no estimate of its own. */
function compare_card(scene: Scene): Card | undefined {
  const row = row_of(scene.tape, scene.vehicle, 'compare');
  if (!row.known) return undefined;
  const empty = card('compare', 'Ground minus on-board');
  const figures = [row.figure('', 'altitude_m', true), row.figure('', 'vertical_speed_mps', true)].filter(
    (figure) => !Number.isNaN(figure.number),
  );
  if (figures.length === 0) return { ...empty, missing: 'No value yet' };
  const axis = row.figure('', 'long_axis_deg');
  return {
    ...empty,
    figures,
    notes: Number.isNaN(axis.number) ? ['height and vertical speed'] : [`long axes ${axis.text}° apart ${axis.sigma}°`],
    stale: old(scene, row.t_s),
  };
}

function health_card(scene: Scene): Card {
  const empty = card('health', 'Estimator health');
  const vertical = row_of(scene.tape, scene.vehicle, 'vertical');
  const navigation = row_of(scene.tape, scene.vehicle, 'navigation');
  const checks: Check[] = [
    { name: 'Vertical motion', word: vertical.word('health') },
    { name: 'Satellite fixes', word: navigation.word('fix_health') },
    { name: 'Heights', word: navigation.word('height_health') },
  ].filter((check) => check.word !== '');
  const worst = worst_of(checks);
  if (!worst)
    return without(
      scene,
      empty,
      'vertical',
      vertical.known,
      'acceleration along the long axis or static pressure',
      'Nothing yet',
    );
  const { rank, words } = health_in_words(worst.word);
  const others = checks.filter((check) => check !== worst);
  return {
    ...empty,
    figures: [
      {
        label: '',
        text: rank === 0 ? 'Every ± fits its errors' : `${worst.name}: ${words}`,
        unit: '',
        sigma: '',
        number: NaN,
      },
    ],
    notes:
      rank === 0
        ? [checks.map((check) => check.name.toLowerCase()).join(', ')]
        : others.map((check) => `${check.name.toLowerCase()}: ${health_in_words(check.word).words}`),
    caution: rank >= 3,
  };
}

/** Cards of a flying vehicle at the cursor, in the order they are shown; none for one that does not fly. */
export function select_outlook(tape: Tape, vehicle: number): Card[] {
  if (tape.description.vehicles[vehicle]?.rocket !== true) return [];
  const cursor_s = tape.cursor_s;
  const happened = tape.log.moments(vehicle, cursor_s).filter((moment) => moment.t_s <= cursor_s);
  const moment = (word: string) => happened.find((one) => one.word === word);
  const scene: Scene = {
    tape,
    vehicle,
    cursor_s,
    lift_off_s: moment('lift_off')?.t_s,
    apogee: moment('apogee'),
    landing: moment('landing'),
  };
  const compare = compare_card(scene);
  return [
    apogee_card(scene),
    landing_card(scene),
    navigation_card(scene),
    antenna_card(scene),
    ...(compare ? [compare] : []),
    health_card(scene),
  ];
}
