/**
 * Which strips stand open. Without a choice of one's own they follow the flight: what matters on the rail is not what
 * matters under a parachute. A dictionary that lacks those channels gives its first ones instead. Pure.
 */
import type { Description } from '../stream/description';
import { is_estimate } from '../tape/estimates';
import type { Strip, StripGroup } from '../tape/strips';

export type Stage = 'rail' | 'ascent' | 'descent' | 'down';

export const kStageTitles: Readonly<Record<Stage, string>> = {
  rail: 'Rail',
  ascent: 'Ascent',
  descent: 'Descent',
  down: 'Down',
};

/** Of a phase by its word; what is not known to fly stands on the rail. */
export function stage_of(phase: string): Stage {
  if (phase === 'under thrust' || phase === 'coasting') return 'ascent';
  if (phase.startsWith('falling') || phase.startsWith('under ')) return 'descent';
  return phase === 'down' || phase === 'presumed down' ? 'down' : 'rail';
}

/** A channel by its role, a column of an estimator, or one of a link where no table is named. */
type Wanted = { role: string } | { table: string; column: string };

const role = (name: string): Wanted => ({ role: name });
const estimate = (table: string, column: string): Wanted => ({ table, column });
const kAltitude = estimate('vertical', 'altitude_m');
const kSpeed = estimate('vertical', 'vertical_speed_mps');
const kLoss: Wanted = { table: '', column: 'loss_10s' };
const kAcceleration = role('accel_body_x');
const kRates = role('rate_body_x');

const kMain: Readonly<Record<Stage, readonly Wanted[]>> = {
  rail: [role('static_pressure'), kAcceleration, kRates, role('battery_voltage'), role('satellites_used'), kLoss],
  ascent: [kAltitude, kSpeed, kAcceleration, estimate('navigation', 'tilt_deg'), kRates, kLoss],
  descent: [kAltitude, kSpeed, kAcceleration, kRates, role('battery_voltage'), kLoss],
  down: [kAltitude, kSpeed, role('satellites_used'), role('battery_voltage'), kLoss, role('radio_rssi')],
};
export const kMainCount = 6;

/** Of a machine beside the rocket: how its engine is, or the wind. */
const kMachine: readonly Wanted[] = [
  role('engine_speed'),
  role('engine_temperature'),
  role('oil_pressure'),
  estimate('wind', 'mean_mps'),
  estimate('wind', 'gust_mps'),
  role('wind_from'),
];

function find_strips(description: Description, groups: readonly StripGroup[], wanted: readonly Wanted[]): Strip[] {
  const all = groups.flatMap((group) => group.strips);
  const found: Strip[] = [];
  for (const one of wanted) {
    const strip = all.find(
      (each) => !found.includes(each) && each.series.some((series) => is(description, series, one)),
    );
    if (strip) found.push(strip);
  }
  return found;
}

/** Those that tell how a machine is; of one without any of them, the first ones. */
export function machine_strips(description: Description, groups: readonly StripGroup[]): Strip[] {
  const found = find_strips(description, groups, kMachine);
  return found.length > 0 ? found : main_strips(description, groups, 'rail');
}

/** The strips of a stage of the flight. */
export function main_strips(description: Description, groups: readonly StripGroup[], stage: Stage): Strip[] {
  const all = groups.flatMap((group) => group.strips);
  const found = find_strips(description, groups, kMain[stage]);
  for (const strip of all) {
    if (found.length >= kMainCount) break;
    if (!strip.words && !found.includes(strip)) found.push(strip);
  }
  return found;
}

function is(description: Description, series: { table: number; column: number }, wanted: Wanted): boolean {
  const table = description.tables[series.table];
  const column = table?.columns[series.column];
  if (!table || !column) return false;
  if ('role' in wanted) return column.role === wanted.role;
  return (
    column.name === wanted.column && (wanted.table === '' ? table.kind === 'link' : is_estimate(table, wanted.table))
  );
}

/** What somebody chose; `pinned` null: the strips follow the flight. */
export interface Arrangement {
  pinned: readonly string[] | null;
  /** Titles of groups that stand open below. */
  open: readonly string[];
}
export const kFollowsFlight: Arrangement = { pinned: null, open: [] };

/** The strips on top: the chosen ones in their order, or those of the stage. */
export function top_strips(
  description: Description,
  groups: readonly StripGroup[],
  stage: Stage,
  arrangement: Arrangement,
): Strip[] {
  if (!arrangement.pinned) return main_strips(description, groups, stage);
  const all = groups.flatMap((group) => group.strips);
  return arrangement.pinned.flatMap((id) => all.find((strip) => strip.id === id) ?? []);
}

/** Every strip that stands open, from the top, each once. */
export function shown_strips(
  description: Description,
  groups: readonly StripGroup[],
  stage: Stage,
  arrangement: Arrangement,
): Strip[] {
  const open = groups.filter((group) => arrangement.open.includes(group.title)).flatMap((group) => group.strips);
  return [...new Set([...top_strips(description, groups, stage, arrangement), ...open])];
}

/** With a strip put on top or, when it is there, folded away. */
export function with_strip(arrangement: Arrangement, top: readonly Strip[], id: string): Arrangement {
  const ids = top.map((strip) => strip.id);
  return { ...arrangement, pinned: ids.includes(id) ? ids.filter((one) => one !== id) : [...ids, id] };
}

/** With a group opened or, when it is open, folded. */
export function with_group(arrangement: Arrangement, title: string): Arrangement {
  const { open } = arrangement;
  return { ...arrangement, open: open.includes(title) ? open.filter((one) => one !== title) : [...open, title] };
}

/** What a device has kept; anything else is taken as nothing kept. */
export function read_arrangement(kept: string | null): Arrangement {
  const is_list = (value: unknown): value is string[] =>
    Array.isArray(value) && value.every((entry) => typeof entry === 'string');
  try {
    const value: unknown = JSON.parse(kept ?? 'null');
    if (typeof value !== 'object' || value === null) return kFollowsFlight;
    const { pinned, open } = value as Record<string, unknown>;
    return { pinned: is_list(pinned) ? pinned : null, open: is_list(open) ? open : [] };
  } catch {
    return kFollowsFlight;
  }
}
