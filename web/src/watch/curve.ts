/**
 * What the curve of those who watch shows at the cursor: the altitude as it was measured, what is predicted from here on,
 * and a window of time that holds both and does not breathe. Pure.
 */
import type { TapeSeconds } from '../stream/clocks';
import { estimate, type Estimator } from '../tape/estimates';
import { find_event, type FlightEvent } from '../tape/events';
import { landing_shown } from './figures';
import { predicted_s } from '../tape/flight/measured';
import { motion_at } from '../tape/motion';
import type { Tape, TableData } from '../tape/tape';

export interface Point {
  t_s: TapeSeconds;
  up_m: number;
  /** 1-sigma of a point that is named with its altitude; NaN when it is not known. */
  sigma_m?: number;
}

export interface Curve {
  from_s: TapeSeconds;
  to_s: TapeSeconds;
  /** What the clock of the axis counts from. */
  zero_s: TapeSeconds;
  top_m: number;
  /** Altitude by bins of the tape; a bin in which nothing was measured breaks the line. */
  source: { data: TableData; column: number } | undefined;
  /** Predicted, from the cursor on; before liftoff the whole flight. Empty when nothing is predicted. */
  future: Point[];
  /** What the future leads to. */
  goal: (Point & { what: 'apogee' | 'landing' | 'impact' }) | undefined;
  apogee: Point | undefined;
  flying: boolean;
}

const kRail_s = 0.05; // of the window lies before liftoff
const kTopLeast_m = 50; // noise on the rail must not look like a flight
const kHead = 1.3; // room over the highest point for its words
const kSteps = 24;
const kNothingFlown_s = 60;

/** A window that grows in steps, so that the axis rests in between. */
function stepped(span_s: number): number {
  const step = span_s < 30 ? 5 : span_s < 120 ? 15 : span_s < 600 ? 60 : 300;
  return Math.ceil(span_s / step) * step;
}

/** Free flight under gravity alone ends at apogee with no speed left: a parabola that touches it. */
function climb(from: Point, apogee: Point): Point[] {
  const left_s = apogee.t_s - from.t_s;
  return Array.from({ length: kSteps + 1 }, (_, i) => {
    const part = 1 - i / kSteps;
    return { t_s: apogee.t_s - left_s * part, up_m: apogee.up_m - (apogee.up_m - from.up_m) * part * part };
  });
}

/** Down to the ground at the time that is predicted; steeper towards the end without a parachute. */
function descent(from: Point, down_s: TapeSeconds, ballistic: boolean): Point[] {
  const left_s = down_s - from.t_s;
  return Array.from({ length: kSteps + 1 }, (_, i) => {
    const part = i / kSteps;
    return { t_s: from.t_s + left_s * part, up_m: from.up_m * (1 - (ballistic ? part ** 1.15 : part)) };
  });
}

export function select_curve(tape: Tape, vehicle: number): Curve {
  const now_s = tape.cursor_s;
  const happened = tape.log.happened(vehicle, now_s);
  const liftoff_s = find_event(happened, 'liftoff')?.t_s;
  const apogee_event = find_event(happened, 'apogee');
  const down = find_event(happened, 'touchdown');
  const ascent = estimate(tape, vehicle, 'ascent');
  const landing = estimate(tape, vehicle, 'landing');
  const shown = landing_shown(tape, vehicle);
  const landing_in_s = shown ? landing.value(`${shown.name}_in_s`) : NaN;
  const up_m = Math.max(0, motion_at(tape, vehicle).altitude_m.value || 0);
  const reached = reached_at(tape, vehicle, apogee_event);
  const source = source_of(tape, vehicle);
  const apogee_m = ascent.value('apogee_m');
  const sigma_m = ascent.sigma('apogee_m');

  if (liftoff_s === undefined) {
    const flown: Point = { t_s: now_s + ascent.value('apogee_in_s'), up_m: apogee_m, sigma_m };
    const whole = Number.isFinite(flown.t_s) && apogee_m > 0;
    const end_s = now_s + (Number.isFinite(landing_in_s) ? landing_in_s : 3 * ascent.value('apogee_in_s'));
    const future = whole ? [...climb({ t_s: now_s, up_m: 0 }, flown), ...descent(flown, end_s, false)] : [];
    return {
      from_s: now_s,
      to_s: now_s + stepped(whole ? (end_s - now_s) * 1.08 : kNothingFlown_s),
      zero_s: now_s,
      top_m: Math.max(kTopLeast_m, whole ? apogee_m * kHead : 0),
      source: undefined,
      future,
      goal: whole ? { ...flown, what: 'apogee' } : undefined,
      apogee: undefined,
      flying: false,
    };
  }

  const now: Point = { t_s: now_s, up_m };
  const apogee_s = predicted_s(tape, vehicle, ascent.t_s) + ascent.value('apogee_in_s');
  const landing_s = landing.t_s + landing_in_s;
  let future: Point[] = [];
  let goal: Curve['goal'];
  let end_s = now_s;
  if (down) end_s = Math.min(now_s, down.t_s + 0.25 * (down.t_s - liftoff_s));
  else if (!apogee_event && apogee_s > now_s && apogee_m > up_m) {
    goal = { t_s: apogee_s, up_m: apogee_m, sigma_m, what: 'apogee' };
    future = climb(now, goal);
    end_s = liftoff_s + 1.45 * (apogee_s - liftoff_s);
  } else if (apogee_event && landing_s > now_s) {
    const ballistic = shown?.name === 'no_parachute';
    goal = { t_s: landing_s, up_m: 0, what: ballistic ? 'impact' : 'landing' };
    future = descent(now, landing_s, ballistic);
    end_s = landing_s;
  }
  const span_s = stepped(Math.max(10, (end_s - liftoff_s) * 1.08));
  return {
    from_s: liftoff_s - kRail_s * span_s,
    to_s: liftoff_s + span_s,
    zero_s: liftoff_s,
    top_m: Math.max(kTopLeast_m, kHead * Math.max(goal?.up_m ?? 0, reached?.up_m ?? 0, up_m)),
    source,
    future,
    goal,
    apogee: reached,
    flying: true,
  };
}

/** Apogee as the station has it from measurements. */
function reached_at(tape: Tape, vehicle: number, apogee: FlightEvent | undefined): Point | undefined {
  const derived = estimate(tape, vehicle, 'derived');
  const up_m = derived.value('altitude_max_m');
  return apogee && Number.isFinite(up_m)
    ? { t_s: apogee.t_s, up_m, sigma_m: derived.sigma('altitude_max_m') }
    : undefined;
}

function source_of(tape: Tape, vehicle: number): Curve['source'] {
  const find = <E extends Estimator>(name: E, column: string): Curve['source'] => {
    const found = estimate(tape, vehicle, name);
    const ref = found.ref(column as never);
    return found.data && ref ? { data: found.data, column: ref.column } : undefined;
  };
  return find('vertical', 'altitude_m') ?? find('navigation', 'up_m');
}

const kHeardLeast_s = 1.2; // shorter silences are lost packets, not a break

/**
 * Calls for the measured altitude from `from_s` to `to_s`, oldest first; `restart` where nothing was received in
 * between, since what an estimator computed meanwhile was never measured.
 */
export function walk_measured(
  tape: Tape,
  vehicle: number,
  curve: Curve,
  point: (t_s: TapeSeconds, up_m: number) => void,
  restart: () => void,
): void {
  if (!curve.source) return;
  const { data, column } = curve.source;
  const { overview } = data;
  const packets = tape.tables.filter(
    ({ table }) => table.vehicle === vehicle && (table.kind === 'packet' || table.kind === 'batch'),
  );
  const heard = (bin_from_s: number, bin_to_s: number): boolean =>
    packets.some(({ overview: other }) => {
      const last = Math.min(other.used - 1, Math.floor(bin_to_s / other.bin_s));
      for (let b = Math.max(0, Math.floor(bin_from_s / other.bin_s)); b <= last; b++)
        if ((other.rows[b] ?? 0) > 0) return true;
      return false;
    });
  const last = Math.min(overview.used - 1, Math.floor(tape.cursor_s / overview.bin_s));
  let broken = false;
  for (let bin = Math.max(0, Math.floor(curve.from_s / overview.bin_s)); bin <= last; bin++) {
    const up_m = overview.max(column, bin);
    if (Number.isNaN(up_m)) continue;
    const t_s = (bin + 0.5) * overview.bin_s;
    if (!heard(t_s - kHeardLeast_s / 2, t_s + kHeardLeast_s / 2)) {
      broken = true;
      continue;
    }
    if (broken) restart();
    broken = false;
    point(t_s, Math.max(0, up_m));
  }
}
