/** What the page asks of a link's table by name. */
import type { TapeSeconds } from '../stream/clocks';
import type { Description, Table } from '../stream/description';
import type { ColumnRef } from './roles';
import type { Tape } from './tape';

/** Counts that the link's panel lists. */
export const kLinkCounters = [
  'frames_good',
  'frames_bad',
  'dropped_bytes',
  'received',
  'lost',
  'duplicates',
  'late',
  'out_of_order',
  'sequence_resets',
  'undecodable',
  'rate_10s',
] as const;
/** Further ones where several links carry one vehicle. */
export const kReceiverCounters = ['first_here', 'only_here', 'combined_from'] as const;
export const kLinkColumns = [...kLinkCounters, ...kReceiverCounters, 'loss_10s', 'age_s'] as const;
export type LinkColumn = (typeof kLinkColumns)[number];

export function link_table(description: Description, link: string): Table | undefined {
  return description.tables.find((table) => table.kind === 'link' && table.name === `link/${link}`);
}

export function link_ref(table: Table | undefined, name: LinkColumn): ColumnRef | undefined {
  const column = table?.columns.findIndex((c) => c.name === name) ?? -1;
  return table && column >= 0 ? { table, column } : undefined;
}

export function link_value(tape: Tape, table: Table | undefined, name: LinkColumn): number {
  const ref = link_ref(table, name);
  return ref ? tape.value_at_cursor(ref.table.id, ref.column).value : NaN;
}

/** Age of a link's newest packet at the cursor; it grows on while no row comes. */
export function last_packet_s(tape: Tape, table: Table | undefined): number {
  const ref = link_ref(table, 'age_s');
  if (!ref) return NaN;
  const { value, t_s } = tape.value_at_cursor(ref.table.id, ref.column);
  return value + Math.max(0, tape.cursor_s - t_s);
}

const kSilent_s = 3; // as the server calls a link that brings nothing

/**
 * When a vehicle was last heard, once that is so long ago that whatever is newer can only be extrapolated; the cursor while
 * packets come. A recording without a link counts as heard.
 */
export function last_heard_s(tape: Tape, vehicle: number): TapeSeconds {
  const age_s = last_packet_s(tape, newest_link(tape, vehicle));
  return age_s > kSilent_s ? tape.cursor_s - age_s : tape.cursor_s;
}

/**
 * Packets that a link heard first, or alone, as a fraction of all that came of its vehicle; NaN where none did, or where no
 * other link carries it.
 */
export function heard_fraction(tape: Tape, name: string, column: 'first_here' | 'only_here'): number {
  const { links } = tape.description;
  const value = (link: string, what: LinkColumn) => link_value(tape, link_table(tape.description, link), what);
  const vehicle = links.find((link) => link.name === name)?.vehicle;
  const beside = links.filter((link) => link.vehicle === vehicle);
  if (beside.length < 2) return NaN;
  const all = beside.reduce((sum, link) => sum + (value(link.name, 'first_here') || 0), 0);
  return all > 0 ? value(name, column) / all : NaN;
}

/** The vehicle's link that heard it last. */
export function newest_link(tape: Tape, vehicle: number): Table | undefined {
  let best: Table | undefined;
  let best_age_s = Infinity;
  for (const link of tape.description.links) {
    const table = link.vehicle === vehicle ? link_table(tape.description, link.name) : undefined;
    if (!table) continue;
    const age_s = link_value(tape, table, 'age_s');
    if (best && !(age_s < best_age_s)) continue;
    best = table;
    best_age_s = Number.isNaN(age_s) ? Infinity : age_s;
  }
  return best;
}
