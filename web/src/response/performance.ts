/** What the station answers about drag, motor and parachutes, and about smoothing: checked, with NaN for no value. */
import { number, object, text } from '../stream/json';
import { band, list, maybe, numbers } from '../stream/json_lists';

type Band = readonly [readonly number[], readonly number[]];

export interface Drag {
  mach: readonly number[];
  cd: readonly number[];
  interval: Band;
  file_cd: readonly number[];
}

export interface Motor {
  t_s: readonly number[];
  thrust_n: readonly number[];
  sigma_n: readonly number[];
  impulse: { value: number; sigma: number };
  burn_s: number;
  file_burn_s: number;
  /** Total impulse and thrust of the vehicle file; NaN and empty: it has none. */
  file_impulse: number;
  file_t_s: readonly number[];
  file_thrust_n: readonly number[];
}

export interface Parachute {
  id: string;
  drag_area: { value: number; sigma: number };
  opening: { value: number; sigma: number };
  file_drag_area_m2: number;
  file_opening_s: number;
}

export interface Performance {
  drag: Drag | undefined;
  motor: Motor | undefined;
  parachutes: readonly Parachute[];
  /** The vehicle file with what was found, to be saved by who wants it; undefined: nothing was. */
  vehicle: object | undefined;
  /** Why something could not be found, by what. */
  reasons: ReadonlyMap<string, string>;
}

/** A value with its sigma, however it is written. */
function spread(value: unknown, path: string): { value: number; sigma: number } {
  if (typeof value === 'number' || value === null || value === undefined)
    return { value: typeof value === 'number' ? value : NaN, sigma: NaN };
  const from = object(value, path);
  return { value: number(from, 'value', path, NaN), sigma: number(from, 'sigma', path, NaN) };
}

export function read_performance(value: unknown): Performance {
  const from = object(value, 'performance');
  return {
    drag: maybe(from, 'drag', 'performance', (entry, at) => {
      const drag = object(entry, at);
      return {
        mach: numbers(drag, 'mach', at),
        cd: numbers(drag, 'cd', at),
        interval: band(drag['interval'], `${at}/interval`),
        file_cd: numbers(drag, 'file_cd', at),
      };
    }),
    motor: maybe(from, 'motor', 'performance', (entry, at) => {
      const motor = object(entry, at);
      const file = object(motor['file'] ?? {}, `${at}/file`);
      return {
        t_s: numbers(motor, 't_s', at),
        thrust_n: numbers(motor, 'thrust_n', at),
        sigma_n: numbers(motor, 'sigma_n', at),
        impulse: spread(motor['impulse_n_s'], `${at}/impulse_n_s`),
        burn_s: spread(motor['burn_s'], `${at}/burn_s`).value,
        file_burn_s: spread(file['burn_s'], `${at}/file/burn_s`).value,
        file_impulse: spread(file['impulse_n_s'], `${at}/file/impulse_n_s`).value,
        file_t_s: numbers(file, 't_s', `${at}/file`),
        file_thrust_n: numbers(file, 'thrust_n', `${at}/file`),
      };
    }),
    parachutes: list(from, 'parachutes', 'performance', (entry, at) => {
      const one = object(entry, at);
      return {
        id: text(one, 'id', at),
        drag_area: spread(one['drag_area_m2'], `${at}/drag_area_m2`),
        opening: spread(one['opening_s'], `${at}/opening_s`),
        file_drag_area_m2: spread(one['file_drag_area_m2'], `${at}/file_drag_area_m2`).value,
        file_opening_s: spread(one['file_opening_s'], `${at}/file_opening_s`).value,
      };
    }),
    vehicle: maybe(from, 'vehicle', 'performance', object),
    reasons: new Map(
      Object.entries(object(from['reasons'] ?? {}, 'performance/reasons')).map(([what, why]) => [what, String(why)]),
    ),
  };
}

export interface Smoothed {
  key: string;
  title: string;
  unit: string;
  t_s: readonly number[];
  value: readonly number[];
  sigma: readonly number[];
  filter_value: readonly number[];
  filter_sigma: readonly number[];
}

export function read_smoothed(value: unknown): Smoothed[] {
  return list(object(value, 'smooth'), 'series', 'smooth', (entry, at) => {
    const one = object(entry, at);
    return {
      key: text(one, 'key', at),
      title: text(one, 'title', at),
      unit: text(one, 'unit', at, '1'),
      t_s: numbers(one, 't_s', at),
      value: numbers(one, 'value', at),
      sigma: numbers(one, 'sigma', at),
      filter_value: numbers(one, 'filter_value', at),
      filter_sigma: numbers(one, 'filter_sigma', at),
    };
  });
}
