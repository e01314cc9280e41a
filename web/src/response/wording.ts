/** Words of control response, guidance shadow and performance. */
import { figure_words, interval_words } from '../debrief/figures';
import { capital, format_fixed } from '../text/format';
import type { ControlResponse, Oscillation, Roll } from './answer';
import type { Performance } from './performance';

/** Of a power spectral density, as in "(°/s)²/Hz". */
export const density_unit = (symbol: string): string => (symbol === '' ? '1/Hz' : `(${symbol})²/Hz`);

export const kResponseWords = {
  working: 'Finding the control response',
  replay: 'Replay',
  course: 'Fins over time',
  deflection: 'Fin deflection',
  commanded: 'commanded',
  rate: 'Body rate',
  show_all: 'Show all',
  spectra: 'Power spectrum',
  frequency: 'Frequency response',
  gain: 'Gain',
  phase: 'Phase',
  coherence: 'Coherence',
  spectrogram: 'Spectrum over time',
  derivatives: 'What the flight tells',
  interval: '95 % interval',
  steps: 'Steps of the fins',
  at: 'At',
  rise: 'Rise',
  overshoot: 'Overshoot',
  settling: 'Settling',
  no_steps: 'No step of the fins was seen.',
  fastest: 'fastest turn, of its limit',
  saturated: 'at the limit, of the time',
  about: 'Bands and intervals are of 95 %.',
} as const;

export const kShadowWords = {
  title: 'Guidance shadow',
  about:
    'A control law runs along what this flight recorded and moves nothing: what it would have commanded, how much room it would have had, and what delay and noise would do to it.',
  form: 'Law',
  pid: 'PID on one state',
  state_feedback: 'State feedback',
  state: 'State',
  limit: 'Fins at most, °',
  rate: 'Fins turn at most, °/s',
  delay: 'Delay, ms',
  period: 'Runs every, ms',
  filter: 'Derivative smoothed over, ms',
  schedule: 'Gains fall with dynamic pressure',
  reference: 'Gains hold at, kPa',
  seeds: 'Trials',
  run: 'Run the shadow',
  save: 'Save as law.json',
  command: 'Commanded deflection',
  limited: 'after limits',
  saturated: 'At the limit',
  rate_used: 'Rate used',
  margins: 'Margins',
  gain_margin: 'Gain',
  phase_margin: 'Phase',
  delay_margin: 'Delay',
  pressure: 'Dynamic pressure',
  sensitivity: 'What delay and noise do',
  middle: 'Middle',
  unstable: 'not stable',
  ninety: '90 % lie between',
} as const;

export const kPerformanceWords = {
  working: 'Working out drag, motor and parachutes',
  smoothing: 'Smoothing',
  drag: 'Drag coefficient',
  mach: 'over Mach',
  thrust: 'Thrust',
  impulse: 'Total impulse',
  burn: 'Burn time',
  area: 'Drag area',
  opening: 'Opening',
  file: 'Vehicle file',
  what: 'What',
  found: 'This flight',
  band: 'line: this flight, 95 % band; chain line: the vehicle file',
  motor_band: 'line: this flight ±; chain line: the vehicle file',
  save: 'Save as a new vehicle file',
  save_about: 'The vehicle’s file with what this flight shows. The station’s own file stays as it is.',
  smoothed: 'Smoothed, forward and backward',
  smoothed_about: 'line and band: smoothed ±; dashed: as it was estimated in flight',
  not_smoothed: 'Of the attitude only the tilt is smoothed. Every other page shows it as it was estimated in flight.',
  series: 'Of',
  no_smooth: 'Smooth this flight',
} as const;

const kReasonTitles: Readonly<Record<string, string>> = {
  drag: 'Drag',
  motor: 'Motor',
  parachutes: 'Parachutes',
  vehicle: 'Vehicle file',
};
export const reason_words = (what: string, why: string): string => `${kReasonTitles[what] ?? what}: ${why}`;

export const fin_words = (axis: string, what: string): string => `${capital(axis)} fins, ${what}`;

/** "Roll: p′ = −2.1 p + 14 δ at 3.0 kPa." */
export function roll_sentence(roll: Roll): string {
  if (!roll.identifiable) return `Roll cannot be identified: ${roll.why}`;
  const lp = figure_words('1', roll.lp, half(roll.lp_interval));
  const ld = figure_words('1', roll.ld, half(roll.ld_interval));
  return `Roll: p′ = ${lp} p + ${ld} δ at ${format_fixed(roll.reference_q_pa / 1000, 1)}\u00a0kPa`;
}

/** A 95 % interval's standard deviation, as of a normal distribution (1.96). */
const half = ([low, high]: readonly [number, number]): number => (high - low) / 2 / 1.96;

export function response_sentence({ roll, pitch, yaw }: ControlResponse): string {
  if (roll?.identifiable) return `${roll_sentence(roll)}.`;
  const found = [
    ['Pitch', pitch],
    ['Yaw', yaw],
  ].find((pair): pair is [string, Oscillation] => (pair[1] as Oscillation | undefined)?.identifiable === true);
  if (found)
    return `${found[0]} swings at ${figure_words('Hz', found[1].natural_hz, half(found[1].natural_hz_interval))}.`;
  return roll ? `${roll_sentence(roll)}.`.replace(/\.\.$/, '.') : 'This flight tells nothing of its control response.';
}

export function performance_sentence({ motor, drag, parachutes }: Performance): string {
  const parts: string[] = [];
  if (motor && Number.isFinite(motor.impulse.value))
    parts.push(`Total impulse ${figure_words('N.s', motor.impulse.value, motor.impulse.sigma)}`);
  if (drag && drag.cd.length > 0) parts.push(`drag found up to Mach ${format_fixed(Math.max(...drag.mach), 2)}`);
  const measured = parachutes.filter(({ drag_area }) => Number.isFinite(drag_area.value));
  if (measured.length > 0)
    parts.push(measured.length === 1 ? 'one parachute measured' : `${measured.length} parachutes measured`);
  const text = parts.join(', ');
  return text === '' ? 'This flight tells nothing of drag, motor or parachutes.' : `${capital(text)}.`;
}

export interface DerivedRow {
  what: string;
  value: string;
  unit: string;
  interval: string;
}

export function roll_rows(roll: Roll): DerivedRow[] {
  return [
    {
      what: 'Roll damping Lp',
      value: figure_words('1', roll.lp, half(roll.lp_interval)),
      unit: '1/s',
      interval: interval_words('1', roll.lp_interval),
    },
    {
      what: 'Fin effect Ld',
      value: figure_words('1', roll.ld, half(roll.ld_interval)),
      unit: '1/s²',
      interval: interval_words('1', roll.ld_interval),
    },
  ];
}

export function oscillation_rows(name: string, one: Oscillation): DerivedRow[] {
  const rows = [
    {
      what: `${name}, natural frequency`,
      value: figure_words('1', one.natural_hz, half(one.natural_hz_interval)),
      unit: 'Hz',
      interval: interval_words('1', one.natural_hz_interval),
    },
    {
      what: `${name}, damping ratio`,
      value: figure_words('1', one.damping, half(one.damping_interval)),
      unit: '',
      interval: interval_words('1', one.damping_interval),
    },
  ];
  if (Number.isFinite(one.static_margin_m))
    rows.push({
      what: `${name}, static margin`,
      value: figure_words('1', one.static_margin_m, half(one.static_margin_interval)),
      unit: 'm',
      interval: interval_words('1', one.static_margin_interval),
    });
  else if (one.static_margin_why !== '')
    rows.push({ what: `${name}, static margin`, value: '', unit: '', interval: one.static_margin_why });
  return rows;
}
