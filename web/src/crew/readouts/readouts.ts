/**
 * What the large readouts show at the tape's cursor: the ground's best estimate where there is one, else the vehicle's own
 * value, each naming its source, else plain words about what is missing.
 */
import type { Column, Table } from '../../stream/description';
import { stale_after_s } from '../../tape/age';
import { estimate, kModeWords, type ColumnOf, type Estimator } from '../../tape/estimates';
import { link_ref, link_value, newest_link } from '../../tape/links';
import { find_role, type ColumnRef } from '../../tape/roles';
import type { Tape } from '../../tape/tape';
import { age_figure, capital, format_age, format_fixed, format_sigma, format_value } from '../../text/format';
import { shown_unit, spoken_unit } from '../../text/units';
import { kReadoutTitles, kReadoutWords, needs_words } from './wording';

export type ReadoutName = keyof typeof kReadoutTitles;

/** A column that could give a value, and what people call where it comes from; empty when there is only one. */
interface Source {
  ref: ColumnRef | undefined;
  words: string;
}

export interface Readout {
  name: ReadoutName;
  title: string;
  /** Text of the value; empty when there is none: then `missing` says why. */
  value: string;
  unit: string;
  spoken_unit: string;
  sigma: string;
  source: string;
  /** "0.4 s old", "stale, 6.2 s old". */
  age: string;
  stale: boolean;
  /** Outside its valid range. */
  out_of_range: string;
  missing: string;
  /** The number behind the text, for tests and screen readers; NaN for words. */
  number: number;
}

function blank(name: ReadoutName, missing: string): Readout {
  return {
    name,
    title: kReadoutTitles[name],
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

const age_words = (age_s: number, stale: boolean): string => `${stale ? 'stale, ' : ''}${format_age(age_s)} old`;

function range_word(column: Column, value: number): string {
  if (!column.range) return '';
  if (value < column.range[0]) return kReadoutWords.below;
  return value > column.range[1] ? kReadoutWords.above : '';
}

/** Undefined without a value at the cursor. */
function shown(tape: Tape, name: ReadoutName, { ref, words: source }: Source): Readout | undefined {
  const column = ref?.table.columns[ref.column];
  if (!ref || !column) return undefined;
  const { value, t_s } = tape.value_at_cursor(ref.table.id, ref.column);
  if (Number.isNaN(value)) return undefined;
  const age_s = Math.max(0, tape.cursor_s - t_s);
  const sigma_column = ref.table.columns.findIndex((c) => c.name === column.sigma_column);
  const sigma = tape.value_at_cursor(ref.table.id, sigma_column).value;
  const words = column.enumeration.size > 0;
  const stale = age_s > stale_after_s(ref.table);
  return {
    ...blank(name, ''),
    value: words ? capital(format_value(column, value)) : format_value(column, value),
    unit: words ? '' : shown_unit(column.unit).symbol,
    spoken_unit: words ? '' : spoken_unit(column.unit),
    sigma: Number.isNaN(sigma) ? '' : format_sigma(column.unit, sigma),
    source,
    age: age_words(age_s, stale),
    stale,
    out_of_range: range_word(column, value),
    number: words ? NaN : value,
  };
}

/** The first of these that has a value, or what the vehicle says itself, or what `estimator` would need. */
function estimated(
  tape: Tape,
  vehicle: number,
  name: ReadoutName,
  estimator: Estimator,
  sources: readonly Source[],
  role: string,
): Readout {
  for (const source of [
    ...sources,
    { ref: find_role(tape.description, role, vehicle), words: kReadoutWords.on_board },
  ]) {
    const found = shown(tape, name, source);
    if (found) return found;
  }
  return blank(name, tape.log.why_missing(vehicle, estimator) || kReadoutWords.no_value);
}

/** Navigation knows best while fixes aid it; otherwise the filter that follows the vertical alone. */
function vertical_sources(
  tape: Tape,
  vehicle: number,
  by_navigation: ColumnOf<'navigation'>,
  by_filter: ColumnOf<'vertical'>,
): Source[] {
  const navigation = estimate(tape, vehicle, 'navigation');
  const aided = navigation.word('mode') === kModeWords.aided;
  return [
    ...(aided ? [{ ref: navigation.ref(by_navigation), words: kReadoutWords.navigation }] : []),
    { ref: estimate(tape, vehicle, 'vertical').ref(by_filter), words: kReadoutWords.vertical },
  ];
}

function phase_readout(tape: Tape, vehicle: number): Readout {
  const phase = estimate(tape, vehicle, 'phase');
  const by_column = estimated(
    tape,
    vehicle,
    'phase',
    'phase',
    [{ ref: phase.ref('phase'), words: '' }],
    'onboard_phase',
  );
  const span = tape.log.phase_at(vehicle, tape.cursor_s);
  if (!span) return by_column;
  const value = capital(span.text);
  const since = format_age(tape.cursor_s - span.from_s);
  if (by_column.value === '')
    return { ...by_column, value, missing: '', age: age_words(tape.cursor_s - span.from_s, false) };
  // The event is back-dated to when the phase began; the column only says when it was known.
  return by_column.source === '' ? { ...by_column, value, sigma: `for ${since}` } : by_column;
}

function battery_readout(tape: Tape, vehicle: number): Readout {
  const role = 'battery_voltage';
  const ref = find_role(tape.description, role, vehicle);
  const missing = ref ? kReadoutWords.no_value : needs_words(role, tape.roles);
  return shown(tape, 'battery', { ref, words: '' }) ?? blank('battery', missing);
}

const kSpokenAge = { s: 'seconds', min: 'minutes' } as const;

function last_packet_readout(tape: Tape, link: Table | undefined): Readout {
  const one = shown(tape, 'last_packet', { ref: link_ref(link, 'age_s'), words: '' });
  if (!one) return blank('last_packet', link ? kReadoutWords.no_packets : kReadoutWords.no_link);
  const { value, unit } = age_figure(one.number);
  return { ...one, value, unit, spoken_unit: kSpokenAge[unit], age: one.stale ? one.age : kReadoutWords.ago };
}

function packet_loss_readout(tape: Tape, link: Table | undefined): Readout {
  const one = shown(tape, 'packet_loss', { ref: link_ref(link, 'loss_10s'), words: '' });
  if (!one) {
    const heard = Number.isFinite(link_value(tape, link, 'age_s'));
    return blank(
      'packet_loss',
      heard ? kReadoutWords.no_recent_packets : link ? kReadoutWords.no_packets : kReadoutWords.no_link,
    );
  }
  return { ...one, value: format_fixed(one.number * 100, 1), unit: '%', spoken_unit: 'percent' };
}

/** The six readouts of a vehicle at the cursor, in the order they are shown. */
export function select_readouts(tape: Tape, vehicle: number): Readout[] {
  const altitude = vertical_sources(tape, vehicle, 'up_m', 'altitude_m');
  const speed = vertical_sources(tape, vehicle, 'velocity_up_mps', 'vertical_speed_mps');
  const link = newest_link(tape, vehicle);
  return [
    estimated(tape, vehicle, 'altitude', 'vertical', altitude, 'onboard_altitude'),
    estimated(tape, vehicle, 'vertical_speed', 'vertical', speed, 'onboard_vertical_speed'),
    phase_readout(tape, vehicle),
    battery_readout(tape, vehicle),
    last_packet_readout(tape, link),
    packet_loss_readout(tape, link),
  ];
}
