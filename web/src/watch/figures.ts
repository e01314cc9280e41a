/**
 * The figures of those who watch, at the tape's cursor. The largest is what matters now: the rail, the altitude, the fall
 * rate or the seconds to impact, then the place. What is over steps back.
 */
import { type TapeSeconds } from '../stream/clocks';
import { kFixOld_s, kRailFigures_s } from '../tape/age';
import { estimate } from '../tape/estimates';
import { find_event, type FlightEvent } from '../tape/events';
import { bearing_deg, landing_cases, warns_of_impact, type LandingCase } from '../places/landing';
import { landing_age, measured_place, predicted_s } from '../tape/flight/measured';
import { motion_at, type Motion } from '../tape/motion';
import { find_role } from '../tape/roles';
import type { Tape } from '../tape/tape';
import { landing_old_words, old_words } from '../text/age';
import { format_bearing, format_duration, kNoValue } from '../text/format';
import { compass_word, predicted_bearing, to_go, with_sigma, type Quantity, type Units } from '../text/viewer';
import { at_words, bearing_words, ellipse_words, from_pad_words, held_words, in_air_words } from './wording';
import { kFigureLabels, kWatchWords, kWhereTitles } from './wording';

export type FigureName = keyof typeof kFigureLabels;

export interface Figure {
  name: FigureName;
  label: string;
  text: string;
  unit: string;
  /** What stands under it. */
  note: string;
  /** The note says what stands beside the map as well, and is for where there is no room for one. */
  where_too: boolean;
  /** "± 2 m", for who asks; empty when it is not known. */
  spread: string;
  /** "6.0 s old" when it is older than it should be; else empty. */
  old: string;
  /** Words instead of digits: set smaller. */
  words: boolean;
  /** The number that the text says, in the viewer's unit; NaN for words. */
  number: number;
}

export interface Where {
  title: string;
  lines: string[];
  /** ± in words, for who asks. */
  spread: string;
  old: string;
  /** The case whose ellipse is drawn; undefined: the place itself is known, or nothing is. */
  landing: LandingCase | undefined;
}

export interface WatchScene {
  one: Figure;
  two: Figure[];
  extra: string[];
  where: Where | undefined;
}

const kGround_m = 5;

type Stage = 'rail' | 'climb' | 'fall' | 'impact' | 'down' | 'presumed_down';

interface Moment {
  tape: Tape;
  vehicle: number;
  units: Units;
  stage: Stage;
  cursor_s: TapeSeconds;
  liftoff_s: TapeSeconds | undefined;
  apogee: FlightEvent | undefined;
  touchdown: FlightEvent | undefined;
  motion: Motion;
}

const kStages: Readonly<Record<string, Stage>> = {
  'under thrust': 'climb',
  coasting: 'climb',
  'falling (no parachute)': 'fall',
  'under drogue': 'fall',
  'under main': 'fall',
  down: 'down',
  'presumed down': 'presumed_down',
};
/** An impact is what matters from when the station expects one until the vehicle is down. */
function stage_at(tape: Tape, vehicle: number, phase: string): Stage {
  const stage = kStages[phase] ?? 'rail';
  if (stage !== 'fall') return stage;
  return warns_of_impact(tape, vehicle) ? 'impact' : 'fall';
}

/** The case that every view goes by. */
export const landing_shown = (tape: Tape, vehicle: number): LandingCase | undefined =>
  landing_cases(tape, vehicle).find((one) => one.likeliest);

function blank(name: FigureName, more: Partial<Figure> = {}): Figure {
  const label = kFigureLabels[name];
  return {
    name,
    label,
    text: kNoValue,
    unit: '',
    note: '',
    where_too: false,
    spread: '',
    old: '',
    words: false,
    number: NaN,
    ...more,
  };
}

const old_after = (cursor_s: TapeSeconds, t_s: TapeSeconds, hold_s: number): string =>
  cursor_s - t_s > hold_s ? old_words(cursor_s - t_s) : '';

interface Value {
  value: number;
  sigma?: number;
  /** When it was measured; NaN: it never was, and grows no older. */
  t_s?: TapeSeconds;
  note?: string;
  hold_s?: number;
  least?: number;
}

function figure(name: FigureName, quantity: Quantity, at: Moment, shown: Value): Figure {
  const { value, sigma = NaN, t_s = NaN, note = '', hold_s = NaN, least } = shown;
  if (!Number.isFinite(value)) return blank(name, { text: kWatchWords.no_value, words: true });
  const { text, unit, spread, number } = with_sigma(quantity, value, sigma, at.units, least);
  return blank(name, { text, unit, spread, number, note, old: old_after(at.cursor_s, t_s, hold_s) });
}

/** A little below the ground is on it; far below it is a valley. */
function altitude(at: Moment): Figure {
  const { value, sigma, measured_s: t_s, hold_s } = at.motion.altitude_m;
  const on_ground = value < 0 && value > -Math.max(kGround_m, 3 * sigma || 0);
  return figure('altitude', 'length', at, { value: on_ground ? 0 : value, sigma, t_s, hold_s });
}

/** After apogee it falls, however slowly: at the ground by 0. */
function speed(at: Moment): Figure {
  const { value, sigma, measured_s: t_s, hold_s } = at.motion.vertical_speed_mps;
  const falls = at.stage !== 'climb' || value < -0.5;
  const shown = { value: Math.max(0, falls ? -value : value), sigma, t_s, hold_s };
  return figure(falls ? 'falling' : 'climbing', 'speed', at, shown);
}

/** Counted down from a prediction; one that is old counts nothing down. */
function in_words(at: Moment, in_s: number, row_s: TapeSeconds, old: string): string {
  const left_s = in_s - (at.cursor_s - predicted_s(at.tape, at.vehicle, row_s));
  return old === '' && Number.isFinite(left_s) ? `${kWatchWords.in_about} ${to_go(left_s)}` : '';
}

/** A prediction in flight is as old as what was measured before it: computing on without any makes none younger. */
function of_measured(at: Moment, row_s: TapeSeconds): { t_s: TapeSeconds; hold_s: number } {
  const { measured_s, hold_s } = at.motion.altitude_m;
  const made_s = predicted_s(at.tape, at.vehicle, row_s);
  return { t_s: Math.min(made_s, measured_s || made_s), hold_s };
}

function predicted_apogee(at: Moment): Figure {
  const { tape, vehicle, liftoff_s } = at;
  const ascent = estimate(tape, vehicle, 'ascent');
  const flying = liftoff_s !== undefined;
  const value = {
    value: ascent.value('apogee_m'),
    sigma: ascent.sigma('apogee_m'),
    ...(flying ? of_measured(at, ascent.t_s) : { t_s: ascent.t_s, hold_s: kRailFigures_s }),
  };
  const shown = figure(flying ? 'apogee_predicted' : 'apogee_expected', 'length', at, value);
  const in_s = ascent.value('apogee_in_s');
  const after = Number.isFinite(in_s) ? `${to_go(in_s)} ${kWatchWords.after_liftoff}` : '';
  return { ...shown, note: flying ? in_words(at, in_s, ascent.t_s, shown.old) : after };
}

/** Reached, measured and over. */
function apogee(at: Moment): Figure {
  const derived = estimate(at.tape, at.vehicle, 'derived');
  const value = derived.value('altitude_max_m');
  const note =
    at.apogee && at.liftoff_s !== undefined
      ? `${to_go(at.apogee.t_s - at.liftoff_s)} ${kWatchWords.after_liftoff}`
      : '';
  return figure('apogee', 'length', at, { value, sigma: derived.sigma('altitude_max_m'), note });
}

/** On the rail a prediction holds until the next. */
function landing_old(at: Moment, row_s: TapeSeconds): string {
  if (at.stage === 'rail') return old_after(at.cursor_s, row_s, kRailFigures_s);
  const age = landing_age(at.tape, at.vehicle, row_s);
  return age.old ? landing_old_words(age) : '';
}

/** The seconds to an impact are those of the altitude; where it will be is told while fixes say so. */
function landing_figure(at: Moment, name: 'landing_in' | 'impact'): Figure {
  const one = landing_shown(at.tape, at.vehicle);
  const landing = estimate(at.tape, at.vehicle, 'landing');
  const in_s = one ? landing.value(`${one.name}_in_s`) : NaN;
  const left_s = Math.max(0, in_s - (at.cursor_s - predicted_s(at.tape, at.vehicle, landing.t_s)));
  if (!one || !Number.isFinite(left_s)) return blank(name, { text: kWatchWords.no_value, words: true });
  const place = place_words(at, one.east_m, one.north_m, true);
  const by_fix = landing_old(at, landing.t_s);
  const where_too = name === 'landing_in';
  const { t_s, hold_s } = of_measured(at, landing.t_s);
  const old = where_too ? by_fix : old_after(at.cursor_s, t_s, hold_s);
  const soon = left_s < 99.5;
  const text = soon ? String(Math.round(left_s)) : format_duration(left_s);
  const note = !where_too && by_fix !== '' ? by_fix : place.join(' ');
  return blank(name, { text, unit: soon ? 's' : '', note, where_too, old, number: Math.round(left_s) });
}

/** Distance and direction from the pad: to a metre and a degree where measured, to 10 m and 5° where predicted. */
function place_words(at: Moment, east_m: number, north_m: number, predicted: boolean): [string, string] {
  const bearing = bearing_deg(east_m, north_m);
  const { text, unit } = with_sigma('length', Math.hypot(east_m, north_m), NaN, at.units, predicted ? 10 : 1);
  const turned = predicted ? predicted_bearing(bearing) : format_bearing(bearing);
  return [from_pad_words(`${text}\u00a0${unit}`), Number.isNaN(bearing) ? '' : at_words(turned, compass_word(bearing))];
}

function down_figure(at: Moment): Figure {
  const name = at.stage === 'down' ? 'down' : 'presumed_down';
  const place = measured_place(at.tape, at.vehicle);
  if (!place) {
    const text = at.stage === 'down' ? kWatchWords.down : kWatchWords.presumed_down;
    return blank(name, { text, words: true, note: kWatchWords.somewhere });
  }
  const value = Math.hypot(place.east_m, place.north_m);
  const note = place_words(at, place.east_m, place.north_m, false)[1];
  const { sigma_m: sigma, t_s } = place;
  return figure(name, 'length', at, { value, sigma, t_s, note, hold_s: kFixOld_s });
}

function speed_max(at: Moment): Figure {
  const derived = estimate(at.tape, at.vehicle, 'derived');
  const value = derived.value('vertical_speed_max_mps');
  return figure('speed_max', 'speed', at, { value, sigma: derived.sigma('vertical_speed_max_mps') });
}

/** Of a station that measures wind. */
function wind(at: Moment): Figure | undefined {
  const { tape, vehicle } = at;
  const read = (role: string): { value: number; t_s: TapeSeconds } => {
    const ref = find_role(tape.description, role, vehicle);
    return ref ? tape.value_at_cursor(ref.table.id, ref.column) : { value: NaN, t_s: NaN };
  };
  const { value, t_s } = read('wind_speed');
  const from = read('wind_from').value;
  if (!Number.isFinite(value)) return undefined;
  const note = Number.isFinite(from) ? `from ${predicted_bearing(from)}` : '';
  return figure('wind', 'speed', at, { value, t_s, note, hold_s: 60 });
}

function where_at(at: Moment): Where | undefined {
  const { stage, cursor_s } = at;
  if (stage === 'down' || stage === 'presumed_down') {
    const place = measured_place(at.tape, at.vehicle);
    if (!place) return undefined;
    const title = stage === 'down' ? kWhereTitles.down : kWhereTitles.last;
    const bearing = bearing_words(format_bearing(bearing_deg(place.east_m, place.north_m)));
    const lines = [place_words(at, place.east_m, place.north_m, false)[0], bearing];
    const old = old_after(cursor_s, place.t_s, kFixOld_s);
    const spread = with_sigma('length', 0, place.sigma_m, at.units).spread;
    return { title, lines, spread, old, landing: undefined };
  }
  const one = landing_shown(at.tape, at.vehicle);
  if (!one) return undefined;
  const landing = estimate(at.tape, at.vehicle, 'landing');
  const title = kWhereTitles[stage === 'rail' ? 'expected' : stage === 'impact' ? 'impact' : 'predicted'];
  const old = landing_old(at, landing.t_s);
  const bearing = bearing_words(predicted_bearing(bearing_deg(one.east_m, one.north_m)));
  const axis = (m: number): string => {
    const { text, unit } = with_sigma('length', m, NaN, at.units, 10);
    return `${text}\u00a0${unit}`;
  };
  return {
    title,
    lines: [
      place_words(at, one.east_m, one.north_m, true)[0],
      bearing,
      ...(stage === 'rail' ? [] : [in_words(at, landing.value(`${one.name}_in_s`), landing.t_s, old)]),
    ].filter((line) => line !== ''),
    spread: ellipse_words(axis(one.semi_major_m), axis(one.semi_minor_m)),
    old,
    landing: one,
  };
}

function rail_figure(tape: Tape, phase: string): Figure {
  const text = phase === 'on the stand' ? kWatchWords.on_the_stand : kWatchWords.on_the_rail;
  return phase === ''
    ? blank('rail', { text: kWatchWords.no_value, words: true })
    : blank('rail', { text, words: true, note: held_words(tape.log.countdown_at(tape.cursor_s)) });
}

function in_air(at: Moment): string[] {
  const { liftoff_s, touchdown } = at;
  if (liftoff_s === undefined || !touchdown) return [];
  return [in_air_words(format_duration(touchdown.t_s - liftoff_s))];
}

/** `heard`: whether this device speaks. */
export function select_watch(tape: Tape, vehicle: number, units: Units, heard: boolean): WatchScene {
  const cursor_s = tape.cursor_s;
  const happened = tape.log.happened(vehicle, cursor_s);
  const phase = tape.log.phase_at(vehicle, cursor_s)?.phase ?? '';
  const at: Moment = {
    tape,
    vehicle,
    units,
    stage: stage_at(tape, vehicle, phase),
    cursor_s,
    liftoff_s: find_event(happened, 'liftoff')?.t_s,
    apogee: find_event(happened, 'apogee'),
    touchdown: find_event(happened, 'touchdown'),
    motion: motion_at(tape, vehicle),
  };
  const where = where_at(at);
  switch (at.stage) {
    case 'rail': {
      const second = wind(at);
      const two = [predicted_apogee(at), ...(second ? [second] : [])];
      const extra = phase === '' ? [] : [heard ? kWatchWords.look_up_heard : kWatchWords.look_up];
      return { one: rail_figure(tape, phase), two, extra, where };
    }
    case 'climb':
      return { one: altitude(at), two: [speed(at), predicted_apogee(at)], extra: [], where };
    case 'fall':
      return { one: speed(at), two: [altitude(at), landing_figure(at, 'landing_in')], extra: [], where };
    case 'impact':
      return { one: landing_figure(at, 'impact'), two: [altitude(at), speed(at)], extra: [], where };
    default:
      return {
        one: down_figure(at),
        two: [apogee(at), speed_max(at)],
        extra: [...in_air(at), kWatchWords.stay],
        where,
      };
  }
}
