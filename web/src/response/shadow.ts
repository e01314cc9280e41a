/** A control law that is run along a recorded flight, as it is asked for and answered (protocol/STREAM.md). */
import { flag, number, object, text } from '../stream/json';
import { list, numbers } from '../stream/json_lists';
import { degrees, kDegree } from './angles';

export const kForms = ['pid', 'state_feedback'] as const;
export type LawForm = (typeof kForms)[number];

/** What a person types, in the units of the form. */
export interface LawEntry {
  form: LawForm;
  state: string;
  /** Of the form's gains, by name. */
  gains: Readonly<Record<string, number>>;
  filter_ms: number;
  period_ms: number;
  limit_deg: number;
  rate_limit_degps: number;
  delay_ms: number;
  scheduled: boolean;
  reference_kpa: number;
}

export const kGains: Readonly<Record<LawForm, readonly { name: string; words: string }[]>> = {
  pid: [
    { name: 'kp', words: 'Proportional' },
    { name: 'ki', words: 'Integral' },
    { name: 'kd', words: 'Derivative' },
  ],
  state_feedback: [
    { name: 'angle', words: 'On the angle' },
    { name: 'rate', words: 'On the rate' },
  ],
};

const kAngles = { roll_rad: 'roll angle', pitch_rad: 'pitch angle', yaw_rad: 'yaw angle' };
/** States that a form can act on. */
export const kStates: Readonly<Record<LawForm, Readonly<Record<string, string>>>> = {
  pid: { roll_radps: 'roll rate', pitch_radps: 'pitch rate', yaw_radps: 'yaw rate', ...kAngles },
  state_feedback: kAngles,
};

export const kFirstLaw: LawEntry = {
  form: 'pid',
  state: 'roll_radps',
  gains: { kp: 0.05, ki: 0, kd: 0, angle: 0.1, rate: 0.05 },
  filter_ms: 20,
  period_ms: 10,
  limit_deg: 8,
  rate_limit_degps: 350,
  delay_ms: 10,
  scheduled: true,
  reference_kpa: 5,
};

const kPoints = [0.5, 0.75, 1, 1.5, 2, 3, 5]; // of the pressure at which the gains hold; doubled below the first

/** Fins work in proportion to dynamic pressure, so the gains go the other way. */
const schedule_of = (reference_kpa: number): object[] =>
  kPoints.map((part) => ({ q_pa: 1000 * reference_kpa * part, factor: 1 / part }));

export function law_request(entry: LawEntry): object {
  const gains: Record<string, number> = {};
  for (const { name } of kGains[entry.form]) gains[name] = entry.gains[name] ?? 0;
  if (entry.form === 'pid') gains['derivative_filter_s'] = entry.filter_ms / 1000;
  return {
    form: entry.form,
    state: entry.state,
    gains,
    period_s: entry.period_ms / 1000,
    limit_rad: entry.limit_deg * kDegree,
    rate_limit_radps: entry.rate_limit_degps * kDegree,
    delay_s: entry.delay_ms / 1000,
    ...(entry.scheduled ? { schedule: schedule_of(entry.reference_kpa) } : {}),
  };
}

export interface ShadowMargin {
  q_pa: number;
  stable: boolean;
  gain_db: number;
  phase_deg: number;
  delay_s: number;
}

export interface ShadowAnswer {
  t_s: readonly number[];
  command_deg: readonly number[];
  limited_deg: readonly number[];
  saturated_fraction: number;
  rate_used_fraction: number;
  margins: readonly ShadowMargin[];
  /** Where the result ends. */
  notes: readonly string[];
  sensitivity: readonly { what: string; title: string; unit: string; q05: number; q50: number; q95: number }[];
}

export function read_shadow(value: unknown): ShadowAnswer {
  const from = object(value, 'shadow');
  return {
    t_s: numbers(from, 't_s', 'shadow'),
    command_deg: degrees(from, 'command_rad', 'shadow'),
    limited_deg: degrees(from, 'limited_rad', 'shadow'),
    saturated_fraction: number(from, 'saturated_share', 'shadow', NaN),
    rate_used_fraction: number(from, 'rate_used_share', 'shadow', NaN),
    margins: list(from, 'margins', 'shadow', (entry, at) => {
      const one = object(entry, at);
      return {
        q_pa: number(one, 'q_pa', at, NaN),
        stable: flag(one, 'stable', at, true),
        gain_db: number(one, 'gain_db', at, NaN),
        phase_deg: number(one, 'phase_deg', at, NaN),
        delay_s: number(one, 'delay_s', at, NaN),
      };
    }),
    notes: list(from, 'notes', 'shadow', (entry, at) => text({ entry }, 'entry', at)),
    sensitivity: list(from, 'sensitivity', 'shadow', (entry, at) => {
      const one = object(entry, at);
      return {
        what: text(one, 'what', at),
        title: text(one, 'title', at, text(one, 'what', at)),
        unit: text(one, 'unit', at, '1'),
        q05: number(one, 'q05', at, NaN),
        q50: number(one, 'q50', at, NaN),
        q95: number(one, 'q95', at, NaN),
      };
    }),
  };
}
