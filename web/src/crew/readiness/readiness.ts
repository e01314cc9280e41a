/**
 * The pad check: what must be as it should before liftoff, each by the vehicle's own channels or the station's estimates.
 * A check whose channel a vehicle lacks is left out, and what has no value does not hold.
 */
import { estimate } from '../../tape/estimates';
import { last_packet_s, link_value, newest_link } from '../../tape/links';
import { find_role } from '../../tape/roles';
import type { Tape } from '../../tape/tape';
import { format_age, format_fraction, format_value } from '../../text/format';
import { shown_unit } from '../../text/units';
import { kReadinessWords } from './wording';

export interface Check {
  title: string;
  text: string;
  holds: boolean;
  /** Of its row; NaN without one. */
  age_s: number;
}

const kDimensions = 3;
const kLossMost = 0.05;
const kPacketOldest_s = 3;
const kReadyModes: readonly string[] = ['at rest', 'GNSS-aided', 'aided, no attitude'];

export function select_checks(tape: Tape, vehicle: number): Check[] {
  return [
    ...continuity(tape, vehicle),
    ...battery(tape, vehicle),
    ...gnss(tape, vehicle),
    ...alignment(tape, vehicle),
    ...link(tape, vehicle),
    alerts(tape, vehicle),
  ];
}

/** Every firing circuit of which the vehicle tells whether it is closed; the word is its own. */
function continuity(tape: Tape, vehicle: number): Check[] {
  return tape.description.tables
    .filter((table) => table.vehicle === vehicle && table.kind !== 'estimate')
    .flatMap((table) =>
      table.columns.flatMap((column, place) => {
        if (column.role !== 'pyro_continuity') return [];
        const { value, t_s } = tape.value_at_cursor(table.id, place);
        const known = !Number.isNaN(value);
        const unit = column.enumeration.size > 0 ? '' : ` ${shown_unit(column.unit).symbol}`;
        const text = known ? `${format_value(column, value)}${unit}`.trim() : kReadinessWords.no_value;
        return [{ title: column.title, text, holds: known && value > 0, age_s: tape.cursor_s - t_s }];
      }),
    );
}

function battery(tape: Tape, vehicle: number): Check[] {
  const ref = find_role(tape.description, 'battery_voltage', vehicle);
  const column = ref?.table.columns[ref.column];
  if (!ref || !column) return [];
  const { value, t_s } = tape.value_at_cursor(ref.table.id, ref.column);
  const known = !Number.isNaN(value);
  const low = column.limits.filter((limit) => limit.side === 'low').map((limit) => limit.value);
  const least = Math.max(...low, column.range?.[0] ?? -Infinity);
  return [
    {
      title: kReadinessWords.battery,
      text: known ? `${format_value(column, value)} ${shown_unit(column.unit).symbol}` : kReadinessWords.no_value,
      holds: known && value >= least,
      age_s: tape.cursor_s - t_s,
    },
  ];
}

function gnss(tape: Tape, vehicle: number): Check[] {
  const ref = find_role(tape.description, 'fix_dimensions', vehicle);
  const column = ref?.table.columns[ref.column];
  if (!ref || !column) return [];
  const { value, t_s } = tape.value_at_cursor(ref.table.id, ref.column);
  const used = find_role(tape.description, 'satellites_used', vehicle);
  const satellites = used ? tape.value_at_cursor(used.table.id, used.column).value : NaN;
  const known = !Number.isNaN(value);
  const count = Number.isNaN(satellites) ? '' : `, ${satellites} ${kReadinessWords.used}`;
  return [
    {
      title: kReadinessWords.gnss,
      text: known ? `${format_value(column, value)}${count}` : kReadinessWords.no_value,
      holds: value >= kDimensions,
      age_s: tape.cursor_s - t_s,
    },
  ];
}

function alignment(tape: Tape, vehicle: number): Check[] {
  const navigation = estimate(tape, vehicle, 'navigation');
  if (!navigation.known) return [];
  const mode = navigation.word('mode');
  const text = mode === '' ? kReadinessWords.no_value : mode;
  return [
    {
      title: kReadinessWords.alignment,
      text,
      holds: kReadyModes.includes(mode),
      age_s: tape.cursor_s - navigation.t_s,
    },
  ];
}

function link(tape: Tape, vehicle: number): Check[] {
  const table = newest_link(tape, vehicle);
  if (!table) return [];
  const age_s = last_packet_s(tape, table);
  const loss = link_value(tape, table, 'loss_10s');
  return [
    {
      title: kReadinessWords.last_packet,
      text: Number.isNaN(age_s) ? kReadinessWords.no_value : `${format_age(age_s)} ago`,
      holds: age_s <= kPacketOldest_s,
      age_s: NaN,
    },
    {
      title: kReadinessWords.packet_loss,
      text: format_fraction(loss, '< ') || kReadinessWords.no_value,
      holds: loss <= kLossMost,
      age_s: NaN,
    },
  ];
}

/** Those of the vehicle and of the station itself, from caution on. */
function alerts(tape: Tape, vehicle: number): Check {
  const standing = tape.log
    .alerts_at(tape.cursor_s)
    .filter(({ event }) => (event.vehicle < 0 || event.vehicle === vehicle) && event.level !== 'advisory');
  const text = standing.length === 0 ? kReadinessWords.no_alerts : String(standing.length);
  return { title: kReadinessWords.alerts, text, holds: standing.length === 0, age_s: NaN };
}
