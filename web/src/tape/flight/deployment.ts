/** What the station expects of the parachutes and has seen of them, at the cursor (table "deployment"). */
import type { TapeSeconds } from '../../stream/clocks';
import { estimate } from '../estimates';
import type { Tape } from '../tape';

export interface Parachute {
  name: string;
  /** NaN when not known, and once it is out. */
  expected_in_s: number;
  /** The station's word: "not due", "due", "out", "late", "failed". */
  out: string;
  /** Fall rate expected with it, 1-sigma on either side. */
  rate_low_mps: number;
  rate_high_mps: number;
}

export interface Deployment {
  t_s: TapeSeconds;
  parachutes: readonly Parachute[];
  /** Fall rate as measured, and its 1-sigma. */
  rate_mps: number;
  rate_sigma_mps: number;
  /** Expected with none open. */
  no_parachute_rate_mps: number;
  impact_in_s: number;
  impact_east_m: number;
  impact_north_m: number;
}

const kOut = '_out';

/** Undefined when the recording has no such table, or no row of it until the cursor. */
export function deployment_at(tape: Tape, vehicle: number): Deployment | undefined {
  const row = estimate(tape, vehicle, 'deployment');
  if (!row.data || Number.isNaN(row.t_s)) return undefined;
  const names = row.data.table.columns.flatMap(({ name }) =>
    name.endsWith(kOut) ? [name.slice(0, -kOut.length)] : [],
  );
  const since_s = Math.max(0, tape.cursor_s - row.t_s);
  return {
    t_s: row.t_s,
    parachutes: names.map((name) => ({
      name,
      expected_in_s: row.value(`${name}_expected_in_s`) - since_s,
      out: row.word(name + kOut),
      rate_low_mps: row.value(`${name}_rate_low_mps`),
      rate_high_mps: row.value(`${name}_rate_high_mps`),
    })),
    rate_mps: row.value('rate_mps'),
    rate_sigma_mps: row.sigma('rate_mps'),
    no_parachute_rate_mps: row.value('no_parachute_rate_mps'),
    impact_in_s: row.value('impact_in_s') - since_s,
    impact_east_m: row.value('impact_east_m'),
    impact_north_m: row.value('impact_north_m'),
  };
}

/** The first that is still to open; undefined: none. */
export function next_parachute(deployment: Deployment | undefined): Parachute | undefined {
  return deployment?.parachutes.find((one) => one.out === 'not due' || one.out === 'due' || one.out === 'late');
}

/** The last that is out: what it should hang under. */
export function open_parachute(deployment: Deployment | undefined): Parachute | undefined {
  return deployment?.parachutes.findLast((one) => one.out === 'out');
}
