/** What the station answers about a flight's control response (protocol/STREAM.md): checked, with NaN for no value. */
import { flag, number, object, text } from '../stream/json';
import { degrees } from './angles';
import { band, interval, list, maybe, numbers } from '../stream/json_lists';

type Band = readonly [readonly number[], readonly number[]];
type Interval = readonly [number, number];

export interface Spectrum {
  channel: string;
  unit: string;
  f_hz: readonly number[];
  density: readonly number[];
  interval: Band;
}

export interface FrequencyResponse {
  from: string;
  to: string;
  f_hz: readonly number[];
  gain: readonly number[];
  phase_deg: readonly number[];
  coherence: readonly number[];
  gain_interval: Band;
  phase_interval: Band;
}

export interface StepFigures {
  t_s: number;
  rise_s: number;
  overshoot: number;
  settling_s: number;
}

/** One that cannot be found says why. */
export interface Roll {
  identifiable: boolean;
  why: string;
  lp: number;
  lp_interval: Interval;
  ld: number;
  ld_interval: Interval;
  reference_q_pa: number;
}

export interface Oscillation {
  identifiable: boolean;
  why: string;
  natural_hz: number;
  natural_hz_interval: Interval;
  damping: number;
  damping_interval: Interval;
  static_margin_m: number;
  static_margin_interval: Interval;
  /** Why there is no static margin; empty: there is one, or nobody says. */
  static_margin_why: string;
}

/** How fast the fins of an axis turned. */
export interface Actuator {
  axis: string;
  rate_limit_radps: number;
  rate_used_radps: number;
  saturated_fraction: number;
}

/** Fins beside the rate that answers them, of an axis; what was not recorded is empty. */
export interface FinCourse {
  axis: string;
  rate_degps: readonly number[];
  commanded_deg: readonly number[];
  measured_deg: readonly number[];
}

export interface Course {
  /** Seconds since liftoff. */
  t_s: readonly number[];
  axes: readonly FinCourse[];
}

export interface Spectrogram {
  channel: string;
  t_s: readonly number[];
  f_hz: readonly number[];
  /** By time, then frequency. */
  level_db: readonly (readonly number[])[];
}

export interface ControlResponse {
  inputs: readonly string[];
  outputs: readonly string[];
  course: Course | undefined;
  spectra: readonly Spectrum[];
  frequency_response: readonly FrequencyResponse[];
  steps: readonly StepFigures[];
  roll: Roll | undefined;
  pitch: Oscillation | undefined;
  yaw: Oscillation | undefined;
  actuators: readonly Actuator[];
  spectrogram: Spectrogram | undefined;
  /** Where the result ends. */
  notes: readonly string[];
}

function read_roll(value: unknown, path: string): Roll {
  const from = object(value, path);
  return {
    identifiable: flag(from, 'identifiable', path, false),
    why: text(from, 'why', path, ''),
    lp: number(from, 'lp', path, NaN),
    lp_interval: interval(from['lp_interval'], `${path}/lp_interval`),
    ld: number(from, 'ld', path, NaN),
    ld_interval: interval(from['ld_interval'], `${path}/ld_interval`),
    reference_q_pa: number(from, 'reference_q_pa', path, NaN),
  };
}

function read_oscillation(value: unknown, path: string): Oscillation {
  const from = object(value, path);
  return {
    identifiable: flag(from, 'identifiable', path, false),
    why: text(from, 'why', path, ''),
    natural_hz: number(from, 'natural_hz', path, NaN),
    natural_hz_interval: interval(from['natural_hz_interval'], `${path}/natural_hz_interval`),
    damping: number(from, 'damping', path, NaN),
    damping_interval: interval(from['damping_interval'], `${path}/damping_interval`),
    static_margin_m: number(from, 'static_margin_m', path, NaN),
    static_margin_interval: interval(from['static_margin_interval'], `${path}/static_margin_interval`),
    static_margin_why: text(from, 'static_margin_why', path, ''),
  };
}

const kAxes = ['roll', 'pitch', 'yaw'];

function read_course(value: unknown, path: string): Course {
  const from = object(value, path);
  const axes = object(from['axes'], `${path}/axes`);
  return {
    t_s: numbers(from, 't_s', path),
    axes: kAxes
      .filter((axis) => axis in axes)
      .map((axis) => {
        const at = `${path}/axes/${axis}`;
        const one = object(axes[axis], at);
        const values = (name: string): readonly number[] => (name in one ? degrees(one, name, at) : []);
        return {
          axis,
          rate_degps: values('rate_radps'),
          commanded_deg: values('commanded_rad'),
          measured_deg: values('measured_rad'),
        };
      }),
  };
}

function read_spectrogram(value: unknown, path: string): Spectrogram {
  const from = object(value, path);
  const [t_s, f_hz] = [numbers(from, 't_s', path), numbers(from, 'f_hz', path)];
  const rows = list(from, 'level_db', path, (row, at) => numbers({ row }, 'row', at));
  const by_time = rows.length === t_s.length;
  return {
    channel: text(from, 'channel', path, ''),
    t_s,
    f_hz,
    level_db: by_time ? rows : t_s.map((_, i) => rows.map((row) => row[i] ?? NaN)),
  };
}

const texts_of = (from: object, name: string, path: string): string[] =>
  list(from as Record<string, unknown>, name, path, (entry, at) =>
    typeof entry === 'string' ? entry : text(object(entry, at), 'title', at, ''),
  );

function read_actuators(value: unknown, path: string): Actuator[] {
  const from = object(value, path);
  return Object.keys(from).flatMap((axis) => {
    const one = maybe(from, axis, path, object);
    if (!one) return [];
    const at = `${path}/${axis}`;
    return [
      {
        axis,
        rate_limit_radps: number(one, 'rate_limit_radps', at, NaN),
        rate_used_radps: number(one, 'rate_used_radps', at, NaN),
        saturated_fraction: number(one, 'saturated_share', at, NaN),
      },
    ];
  });
}

export function read_response(value: unknown): ControlResponse {
  const from = object(value, 'response');
  return {
    inputs: texts_of(from, 'inputs', 'response'),
    outputs: texts_of(from, 'outputs', 'response'),
    course: maybe(from, 'course', 'response', read_course),
    spectra: list(from, 'spectra', 'response', (entry, at) => {
      const one = object(entry, at);
      return {
        channel: text(one, 'channel', at),
        unit: text(one, 'unit', at, '1'),
        f_hz: numbers(one, 'f_hz', at),
        density: numbers(one, 'density', at),
        interval: band(one['interval'], `${at}/interval`),
      };
    }),
    frequency_response: list(from, 'frequency_response', 'response', (entry, at) => {
      const one = object(entry, at);
      return {
        from: text(one, 'from', at),
        to: text(one, 'to', at),
        f_hz: numbers(one, 'f_hz', at),
        gain: numbers(one, 'gain', at),
        phase_deg: numbers(one, 'phase_deg', at),
        coherence: numbers(one, 'coherence', at),
        gain_interval: band(one['gain_interval'], `${at}/gain_interval`),
        phase_interval: band(one['phase_interval'], `${at}/phase_interval`),
      };
    }),
    steps: list(from, 'steps', 'response', (entry, at) => {
      const one = object(entry, at);
      return {
        t_s: number(one, 't_s', at),
        rise_s: number(one, 'rise_s', at, NaN),
        overshoot: number(one, 'overshoot', at, NaN),
        settling_s: number(one, 'settling_s', at, NaN),
      };
    }),
    roll: maybe(from, 'roll', 'response', read_roll),
    pitch: maybe(from, 'pitch', 'response', read_oscillation),
    yaw: maybe(from, 'yaw', 'response', read_oscillation),
    actuators: read_actuators(from['actuator'] ?? {}, 'response/actuator'),
    spectrogram: maybe(from, 'spectrogram', 'response', read_spectrogram),
    notes: texts_of(from, 'notes', 'response'),
  };
}
