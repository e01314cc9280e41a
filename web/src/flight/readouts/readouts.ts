/**
 * What the large readouts show at the tape's cursor: the ground's estimate where there is one, else the vehicle's own
 * value labelled so, else plain words about what is missing.
 */
import { format_age, format_fixed, format_sigma, format_value } from '../../text/format';
import type { Column, Description, Table } from '../../stream/messages';
import { stale_after_s } from '../../tape/age';
import { find_role } from '../../tape/strips';
import type { Tape } from '../../tape/tape';
import { shown_unit, spoken_unit } from '../../text/units';
import { needed_input } from '../cards/wording';

export type ReadoutName = 'altitude' | 'vertical_speed' | 'phase' | 'battery' | 'link_age' | 'link_loss';

export interface Readout {
  name: ReadoutName;
  title: string;
  /** Text of the value; empty when there is none: then `missing` says why. */
  value: string;
  unit: string;
  spoken_unit: string;
  sigma: string;
  source: string;
  age: string;
  stale: boolean;
  /** Outside its valid range. */
  out_of_range: string;
  missing: string;
  /** The number behind the text, for tests and screen readers; NaN for words. */
  number: number;
}

interface Place {
  table: Table;
  column: number;
  source: string;
}

function find_estimate(
  description: Description,
  vehicle: number,
  table_name: string,
  column_names: readonly string[],
): Place | undefined {
  for (const table of description.tables) {
    if (table.vehicle !== vehicle || !table.name.endsWith(`/estimate/${table_name}`)) continue;
    for (const name of column_names) {
      const column = table.columns.findIndex((c) => c.name === name && !c.text);
      if (column >= 0) return { table, column, source: '' };
    }
  }
  return undefined;
}

function find_on_board(
  description: Description,
  vehicle: number,
  role: string,
  source = 'on board',
): Place | undefined {
  const found = find_role(description, role, vehicle);
  return found ? { ...found, source } : undefined;
}

export function find_link_column(table: Table, wanted: RegExp): number {
  return table.columns.findIndex((column) => !column.text && wanted.test(column.name));
}

export const kLinkAge = /(^|_)age(_|$)/;
export const kLinkLoss = /^loss_10s$/;

/** The vehicle's link that heard it last. */
export function vehicle_link(tape: Tape, vehicle: number): Table | undefined {
  const names = tape.description.links.filter((link) => link.vehicle === vehicle).map((link) => `link/${link.name}`);
  let best: Table | undefined;
  let best_age = Infinity;
  for (const table of tape.description.tables) {
    if (table.kind !== 'link' || !names.includes(table.name)) continue;
    const age = tape.value_at_cursor(table.id, find_link_column(table, kLinkAge)).value;
    if (!best || age < best_age) {
      best = table;
      best_age = Number.isNaN(age) ? Infinity : age;
    }
  }
  return best;
}

function blank(name: ReadoutName, title: string, missing: string): Readout {
  return {
    name,
    title,
    value: '',
    unit: '',
    spoken_unit: '',
    sigma: '',
    source: '',
    age: '',
    stale: false,
    out_of_range: '',
    missing,
    number: NaN,
  };
}

function range_word(column: Column, value: number): string {
  if (!column.range) return '';
  if (value < column.range[0]) return 'below range';
  return value > column.range[1] ? 'above range' : '';
}

/** `estimate` names the ground's estimate, whose absence the server explains in an event. */
function readout(
  tape: Tape,
  vehicle: number,
  name: ReadoutName,
  title: string,
  places: readonly (Place | undefined)[],
  needs: string,
  estimate = '',
): Readout {
  for (const place of places) {
    const column = place?.table.columns[place.column];
    if (!place || !column) continue;
    const { value, t_s } = tape.value_at_cursor(place.table.id, place.column);
    if (Number.isNaN(value)) continue;
    const age_s = Math.max(0, tape.cursor_s - t_s);
    const sigma_place = column.sigma_column ? place.table.columns.findIndex((c) => c.name === column.sigma_column) : -1;
    const sigma = sigma_place < 0 ? NaN : tape.value_at_cursor(place.table.id, sigma_place).value;
    const words = column.enumeration.size > 0;
    return {
      name,
      title,
      value: format_value(column, value),
      unit: words ? '' : shown_unit(column.unit).symbol,
      spoken_unit: words ? '' : spoken_unit(column.unit),
      sigma: Number.isNaN(sigma) ? '' : format_sigma(column.unit, sigma),
      source: place.source,
      age: format_age(age_s),
      stale: age_s > stale_after_s(place.table),
      out_of_range: range_word(column, value),
      missing: '',
      number: words ? NaN : value,
    };
  }
  const why = estimate === '' ? '' : tape.log.missing(tape.description.vehicles[vehicle]?.name ?? '', estimate);
  if (why !== '') return blank(name, title, `Not available: needs ${needed_input(why)}`);
  const known = places.some((place) => place !== undefined);
  return blank(name, title, known ? 'No value yet' : `Not available: needs ${needs}`);
}

function phase_readout(tape: Tape, vehicle: number): Readout {
  const span = tape.log.phase_at(vehicle, tape.cursor_s);
  const by_column = readout(
    tape,
    vehicle,
    'phase',
    'Phase',
    [
      find_estimate(tape.description, vehicle, 'phase', ['phase']),
      find_on_board(tape.description, vehicle, 'onboard_phase'),
    ],
    'inertial or pressure channels with roles',
    'phase',
  );
  if (!span || by_column.value === '') {
    return span
      ? { ...by_column, value: span.text, missing: '', age: format_age(tape.cursor_s - span.from_s) }
      : by_column;
  }
  // The event is back-dated to when the phase began; the column only says when it was known.
  const since = format_age(tape.cursor_s - span.from_s);
  return by_column.source === '' ? { ...by_column, value: span.text, sigma: `for ${since}` } : by_column;
}

function loss_readout(tape: Tape, vehicle: number, link: Table | undefined): Readout {
  const column = link ? find_link_column(link, kLinkLoss) : -1;
  if (!link || column < 0) return blank('link_loss', 'Loss', 'Not available: needs a link');
  const plain = readout(tape, vehicle, 'link_loss', 'Loss', [{ table: link, column, source: '' }], 'a link');
  if (plain.value === '' || link.columns[column]?.unit !== '1')
    return { ...plain, missing: plain.value === '' ? 'No packets yet' : '' };
  return { ...plain, value: format_fixed(plain.number * 100, 1), unit: '%', spoken_unit: 'percent' };
}

/** The six readouts of a vehicle at the cursor, in the order they are shown. */
export function select_readouts(tape: Tape, vehicle: number): Readout[] {
  const { description } = tape;
  const link = vehicle_link(tape, vehicle);
  const age: Place | undefined = link && { table: link, column: find_link_column(link, kLinkAge), source: '' };
  return [
    readout(
      tape,
      vehicle,
      'altitude',
      'Altitude',
      [
        find_estimate(description, vehicle, 'vertical', ['altitude_m']),
        find_on_board(description, vehicle, 'onboard_altitude'),
      ],
      'static pressure or an on-board altitude',
      'vertical',
    ),
    readout(
      tape,
      vehicle,
      'vertical_speed',
      'Vertical speed',
      [
        find_estimate(description, vehicle, 'vertical', ['vertical_speed_mps']),
        find_on_board(description, vehicle, 'onboard_vertical_speed'),
      ],
      'static pressure or an on-board vertical speed',
      'vertical',
    ),
    phase_readout(tape, vehicle),
    readout(
      tape,
      vehicle,
      'battery',
      'Battery',
      [find_on_board(description, vehicle, 'battery_voltage', '')],
      'a battery voltage channel',
    ),
    readout(tape, vehicle, 'link_age', 'Last packet', [age], 'a link'),
    loss_readout(tape, vehicle, link),
  ];
}
