/** Rows of the deployment watch and bands of its ruler, at the cursor. */
import type { Opening } from '../../stream/description';
import { stage_of } from '../../strips/arrangement';
import { estimate } from '../../tape/estimates';
import { deployment_at, type Deployment, type Parachute } from '../../tape/flight/deployment';
import type { Tape } from '../../tape/tape';
import { format_since, zero_of } from '../../tape/zero';
import { capital, format_fixed, format_interval, kNoValue } from '../../text/format';
import { rounded_number } from '../../text/rounding';
import { due_in_words, kDeploymentWords, mean_words, opens_words } from './wording';

export interface ParachuteRow {
  name: string;
  title: string;
  state: string;
  /** Where the vehicle file says that it opens. */
  opens: string;
  charge: string;
  seen: string;
  expected: string;
  /** While it carries as it is now, afterwards the mean. */
  measured: string;
  /** Should carry, and does not. */
  alarm: boolean;
}

export interface Band {
  name: string;
  low_mps: number;
  high_mps: number;
  /** Colour token of the phase it belongs to. */
  tint: string;
}

export interface Watch {
  rows: ParachuteRow[];
  bands: Band[];
  rate_mps: number;
}

const kChargeBefore_s = 3; // a parachute that is seen follows its charge within this
const kNoneFrom = 0.7; // of the rate without a parachute: a gust or a leaning fall is slower
export const kRulerLow_mps = 4;
export const kRulerHigh_mps = 128;

/** Undefined when the recording has no row of it until the cursor. */
export function select_watch(tape: Tape, vehicle: number): Watch | undefined {
  const deployment = deployment_at(tape, vehicle);
  if (!deployment) return undefined;
  const { parachutes, no_parachute_rate_mps } = deployment;
  const openings = tape.description.vehicles[vehicle]?.parachutes ?? [];
  const falls = stage_of(tape.log.phase_at(vehicle, tape.cursor_s)?.phase ?? '') === 'descent';
  return {
    rate_mps: falls ? deployment.rate_mps : NaN,
    rows: parachutes.map((one, i) =>
      row_of(tape, vehicle, one, openings[i], measured_words(tape, vehicle, deployment, i, falls)),
    ),
    bands: [
      ...parachutes.map((one, i) => ({
        name: one.name,
        low_mps: one.rate_low_mps,
        high_mps: one.rate_high_mps,
        tint: i === parachutes.length - 1 && parachutes.length > 1 ? '--tint-under-main' : '--tint-under-drogue',
      })),
      {
        name: kDeploymentWords.none,
        low_mps: kNoneFrom * no_parachute_rate_mps,
        high_mps: kRulerHigh_mps,
        tint: '--tint-falling',
      },
    ].filter((band) => Number.isFinite(band.low_mps) && Number.isFinite(band.high_mps)),
  };
}

function row_of(
  tape: Tape,
  vehicle: number,
  one: Parachute,
  opening: Opening | undefined,
  measured: string,
): ParachuteRow {
  const zero = zero_of(tape, vehicle);
  const clock = (t_s: number): string => `${zero.liftoff ? 'T' : ''}${format_since(zero, t_s)}`;
  const seen = tape.log.happened(vehicle, tape.cursor_s).find((event) => event.name === `${one.name}_out`);
  const charge = seen && charge_s(tape, vehicle, seen.t_s);
  return {
    name: one.name,
    title: capital(one.name),
    state: one.out,
    opens: opening ? opens_words(opening) : kNoValue,
    charge:
      charge !== undefined
        ? clock(charge)
        : !seen && one.expected_in_s > 0
          ? due_in_words(one.expected_in_s)
          : kNoValue,
    seen: seen ? clock(seen.t_s) : kNoValue,
    expected: format_interval(one.rate_low_mps, one.rate_high_mps, 'm/s') || kNoValue,
    measured,
    alarm: one.out === 'late' || one.out === 'failed',
  };
}

function measured_words(tape: Tape, vehicle: number, at: Deployment, i: number, falls: boolean): string {
  const last_out = at.parachutes.findLastIndex((one) => one.out === 'out');
  const last_due = at.parachutes.findLastIndex((one) => one.out !== 'not due');
  const carries = Math.max(last_out, last_due);
  if (falls && i === carries) {
    const now = rounded_number(at.rate_mps, at.rate_sigma_mps, 1);
    return `${now.text} ${now.sigma}`.trim();
  }
  if (i > carries) return kNoValue;
  // A single one is told as the main.
  const phase = i === at.parachutes.length - 1 ? 'main' : i === 0 ? 'drogue' : undefined;
  const mean_mps = phase ? estimate(tape, vehicle, 'derived').value(`${phase}_rate_mps`) : NaN;
  return Number.isFinite(mean_mps) ? mean_words(format_fixed(mean_mps, 1)) : kNoValue;
}

/** The newest pressure pulse that could have opened what was seen at `seen_s`. */
function charge_s(tape: Tape, vehicle: number, seen_s: number): number | undefined {
  return tape.log.events.findLast(
    (event) =>
      event.event === 'pressure_pulse' &&
      event.vehicle === vehicle &&
      event.t_s <= seen_s + 0.2 &&
      event.t_s >= seen_s - kChargeBefore_s,
  )?.t_s;
}

/** Of the ruler's length; a doubling of the rate is the same way everywhere. */
export function ruler_part(rate_mps: number): number {
  const part = Math.log2(rate_mps / kRulerLow_mps) / Math.log2(kRulerHigh_mps / kRulerLow_mps);
  return Math.min(1, Math.max(0, part));
}

/** The band that holds the rate; empty: none. */
export function band_of(bands: readonly Band[], rate_mps: number): string {
  return bands.find((band) => rate_mps >= band.low_mps && rate_mps <= band.high_mps)?.name ?? '';
}
