/**
 * The rail's figures at the cursor. The greatest belongs to what matters in this stage of the flight, and nothing that is
 * over keeps it: the pad check, then height, then the fall, then the place. Each is rounded to its ± and as old as the
 * newest measurement behind it.
 */
import { stage_of, type Stage } from '../../strips/arrangement';
import type { TapeSeconds } from '../../stream/clocks';
import { kFixOld_s } from '../../tape/age';
import { deployment_at, next_parachute, open_parachute, type Deployment } from '../../tape/flight/deployment';
import { estimate } from '../../tape/estimates';
import { find_event } from '../../tape/events';
import { bearing_deg, likeliest_landing } from '../../places/landing';
import { fix_s, landing_age, measured_place, predicted_s } from '../../tape/flight/measured';
import { motion_at, type Motion, type Reading } from '../../tape/motion';
import type { Tape } from '../../tape/tape';
import { format_since, zero_of } from '../../tape/zero';
import { landing_old_words, old_words } from '../../text/age';
import {
  format_bearing,
  format_countdown,
  format_fixed,
  format_interval,
  format_to_go,
  kNoValue,
} from '../../text/format';
import { rounded, rounded_number, sigma_words } from '../../text/rounding';
import { select_checks } from '../readiness/readiness';
import { why_missing } from '../../tape/missing';
import { due_words, kRailWords, source_words } from './wording';

export interface RailFigure {
  name: string;
  /** 1 what matters now, 2 primary, 3 stepped back, 4 two in a row. */
  size: 1 | 2 | 3 | 4;
  title: string;
  text: string;
  unit: string;
  notes: string[];
  /** Its measurement is old: hatched. */
  old: boolean;
  /** The number behind the text, for tests; NaN for words. */
  number: number;
}

const kPlaceStep_m = 10;
const kWhole = 100; // from here on nobody reads a decimal
const kBearingStep_deg = 5;

interface Scene {
  tape: Tape;
  vehicle: number;
  cursor_s: TapeSeconds;
  stage: Stage;
  deployment: Deployment | undefined;
}

const figure = (
  name: string,
  size: RailFigure['size'],
  title: string,
  text: string,
  unit: string,
  more: Partial<RailFigure> = {},
): RailFigure => ({ name, size, title, text, unit, notes: [], old: false, number: NaN, ...more });

export function select_rail(tape: Tape, vehicle: number): RailFigure[] {
  const { cursor_s } = tape;
  const stage = stage_of(tape.log.phase_at(vehicle, cursor_s)?.phase ?? '');
  const scene: Scene = { tape, vehicle, cursor_s, stage, deployment: deployment_at(tape, vehicle) };
  const by_stage: Readonly<Record<Stage, () => (RailFigure | undefined)[]>> = {
    rail: () => [...ready(scene), apogee(scene, 3), landing(scene, 3), altitude(scene, 4), tilt(scene)],
    ascent: () => [
      altitude(scene, 1),
      speed(scene, 2),
      apogee(scene, 2),
      landing(scene, 3),
      antenna(scene),
      tilt(scene),
    ],
    descent: () => [
      speed(scene, 1),
      altitude(scene, 2),
      due(scene),
      landing(scene, 3),
      apogee(scene, 4),
      antenna(scene),
    ],
    down: () => [place(scene, 1), coordinates(scene), apogee(scene, 3), fastest(scene), flight_time(scene)],
  };
  return by_stage[stage]().filter((one) => one !== undefined);
}

/** A countdown is what everybody waits for: it has the greatest figure, and the pad check steps back behind it. */
function ready(scene: Scene): (RailFigure | undefined)[] {
  const count = countdown(scene);
  return count ? [count, checks(scene, 2)] : [checks(scene, 1)];
}

function countdown({ tape, cursor_s }: Scene): RailFigure | undefined {
  const found = tape.log.countdown_at(cursor_s);
  if (!found) return undefined;
  const title = found.held ? kRailWords.countdown_held : kRailWords.countdown;
  return figure('countdown', 1, title, format_countdown(found.left_s), '', {
    notes: found.reason === '' ? [] : [found.reason],
    number: found.left_s,
  });
}

function checks(scene: Scene, size: RailFigure['size']): RailFigure | undefined {
  const all = select_checks(scene.tape, scene.vehicle);
  if (all.length === 0) return undefined;
  const failing = all.filter((check) => !check.holds);
  return figure('checks', size, kRailWords.checks, `${all.length - failing.length} of ${all.length}`, kRailWords.good, {
    notes: failing.map((check) => `${check.title}: ${check.text}`),
  });
}

/** With its ±, its age where it is old and, where it is not navigation's, whose it is. */
function motion_figure(
  scene: Scene,
  blank: RailFigure,
  { source }: Motion,
  { value, sigma, measured_s, hold_s }: Reading,
  sign: 1 | -1,
): RailFigure {
  const shown = rounded_number(sign < 0 ? Math.max(0, -value) : value, sigma, Math.abs(value) < kWhole ? 1 : 0);
  const age_s = Math.max(0, scene.cursor_s - measured_s);
  const old = age_s > hold_s;
  const notes = [
    sigma_words(shown, blank.unit),
    old ? old_words(age_s) : '',
    source === 'navigation' || source === 'none' ? '' : source_words[source],
  ];
  return { ...blank, text: shown.text, notes: [notes.filter((note) => note !== '').join(', ')], old, number: value };
}

function altitude(scene: Scene, size: RailFigure['size']): RailFigure {
  const motion = motion_at(scene.tape, scene.vehicle);
  const blank = figure('altitude', size, kRailWords.altitude, kNoValue, 'm');
  if (Number.isFinite(motion.altitude_m.value)) return motion_figure(scene, blank, motion, motion.altitude_m, 1);
  const why = why_missing(scene.tape.log, scene.vehicle, 'vertical');
  return { ...blank, unit: '', notes: [why || kRailWords.no_value] };
}

/** Upwards while it climbs; a fall is told without a sign, by its title. */
function speed(scene: Scene, size: RailFigure['size']): RailFigure {
  const motion = motion_at(scene.tape, scene.vehicle);
  const falls = scene.stage === 'descent';
  const blank = figure('vertical_speed', size, falls ? kRailWords.falling : kRailWords.climbing, kNoValue, 'm/s');
  const reading = motion.vertical_speed_mps;
  if (!Number.isFinite(reading.value)) return { ...blank, unit: '', notes: [kRailWords.no_value] };
  const shown = motion_figure(scene, blank, motion, reading, falls ? -1 : 1);
  const under = open_parachute(scene.deployment);
  const expected = falls && under ? format_interval(under.rate_low_mps, under.rate_high_mps, '').trim() : '';
  return expected === '' ? shown : { ...shown, notes: [`${shown.notes[0]}, ${kRailWords.expected} ${expected}`] };
}

/** A prediction on the way up; afterwards what was reached. */
function apogee(scene: Scene, size: RailFigure['size']): RailFigure | undefined {
  const { tape, vehicle, cursor_s } = scene;
  const reached = find_event(tape.log.happened(vehicle, cursor_s), 'apogee');
  if (reached) {
    const derived = estimate(tape, vehicle, 'derived');
    const column = derived.column('altitude_max_m');
    const value = derived.value('altitude_max_m');
    if (!column || Number.isNaN(value)) return undefined;
    const shown = rounded(column, value, derived.sigma('altitude_max_m'));
    const text = shown.sigma === '' ? format_fixed(value, 0) : shown.text;
    const notes = size === 4 ? [] : [format_since(zero_of(tape, vehicle), reached.t_s)];
    return figure('apogee', size, kRailWords.apogee, text, 'm', {
      notes: [sigma_words(shown, 'm'), ...notes].filter((note) => note !== ''),
      number: value,
    });
  }
  const ascent = estimate(tape, vehicle, 'ascent');
  const value = ascent.value('apogee_m');
  const column = ascent.column('apogee_m');
  if (Number.isNaN(value) || !column) return undefined;
  const shown = rounded(column, value, ascent.sigma('apogee_m'));
  const made_s = predicted_s(tape, vehicle, ascent.t_s);
  const { measured_s, hold_s } = motion_at(tape, vehicle).altitude_m;
  const age_s = cursor_s - Math.min(made_s, measured_s || made_s);
  const flying = scene.stage === 'ascent';
  const old = flying && age_s > hold_s;
  const in_s = flying && !old ? format_to_go(ascent.value('apogee_in_s') - (cursor_s - made_s)) : '';
  return figure('apogee', size, kRailWords.apogee_predicted, shown.text, 'm', {
    notes: [[sigma_words(shown, 'm'), old ? old_words(age_s) : in_s].filter((part) => part !== '').join(', ')],
    old,
    number: value,
  });
}

/** Of the case that fits best what is seen; a prediction is as coarse as its ellipse: 10 m, 5°. */
function landing(scene: Scene, size: RailFigure['size']): RailFigure | undefined {
  const { tape, vehicle, cursor_s } = scene;
  const row = estimate(tape, vehicle, 'landing');
  const name = likeliest_landing(tape, vehicle, row);
  const [east_m, north_m] = [row.value(`${name}_east_m`), row.value(`${name}_north_m`)];
  if (Number.isNaN(east_m)) return undefined;
  const distance_m = Math.hypot(east_m, north_m);
  const bearing = Math.round(bearing_deg(east_m, north_m) / kBearingStep_deg) * kBearingStep_deg;
  const in_flight = scene.stage !== 'rail';
  const age = landing_age(tape, vehicle, row.t_s);
  const old = in_flight && age.old;
  const left_s = row.value(`${name}_in_s`) - (cursor_s - predicted_s(tape, vehicle, row.t_s));
  const in_s = in_flight && !old && left_s > 0 ? `in ${format_fixed(left_s, 0)} s` : '';
  const axes = [row.value(`${name}_semi_major_m`), row.value(`${name}_semi_minor_m`)].map((axis) =>
    format_fixed(axis, 0),
  );
  return figure(
    'landing',
    size,
    old && age.of === 'fix' ? kRailWords.landing_old : kRailWords.landing_predicted,
    format_fixed(Math.round(distance_m / kPlaceStep_m) * kPlaceStep_m, 0),
    'm',
    {
      notes: [
        [`bearing ${format_bearing(bearing)} true`, in_s, old ? landing_old_words(age) : '']
          .filter((part) => part !== '')
          .join(', '),
        `${kRailWords.with_ellipse} ${axes.join(' × ')} m`,
      ],
      old,
      number: distance_m,
    },
  );
}

/** The next parachute or, when none carries, the impact. */
function due(scene: Scene): RailFigure | undefined {
  const { deployment, tape, vehicle, cursor_s } = scene;
  const next = next_parachute(deployment);
  const unbraked = deployment?.parachutes.some((one) => one.out === 'failed' || one.out === 'late') === true;
  if (deployment && unbraked && Number.isFinite(deployment.impact_in_s)) {
    const [east_m, north_m] = [deployment.impact_east_m, deployment.impact_north_m];
    const place = `about ${format_fixed(Math.round(Math.hypot(east_m, north_m) / kPlaceStep_m) * kPlaceStep_m, 0)} m`;
    const at = Number.isFinite(east_m) ? `${place} at ${format_bearing(bearing_deg(east_m, north_m))}` : '';
    return figure('due', 2, kRailWords.impact, format_fixed(Math.max(0, deployment.impact_in_s), 0), 's', {
      notes: at === '' ? [] : [at],
      number: deployment.impact_in_s,
    });
  }
  if (!next || !(next.expected_in_s > 0)) return undefined;
  const zero = zero_of(tape, vehicle);
  return figure('due', 2, due_words(next.name), format_fixed(next.expected_in_s, 0), 's', {
    notes: [`about T${format_since(zero, cursor_s + next.expected_in_s, 0)}`],
    number: next.expected_in_s,
  });
}

function antenna(scene: Scene): RailFigure | undefined {
  const angles = estimate(scene.tape, scene.vehicle, 'look_angles');
  const azimuth = angles.value('azimuth_deg');
  if (Number.isNaN(azimuth)) return undefined;
  const elevation = `el ${format_fixed(angles.value('elevation_deg'), 0)}°`;
  const old = scene.cursor_s - fix_s(scene.tape, scene.vehicle) > kFixOld_s;
  return figure('antenna', 4, kRailWords.antenna, format_bearing(azimuth).slice(0, -1), '° true', {
    notes: [old ? `${elevation}, ${kRailWords.old_fix}` : elevation],
    number: azimuth,
  });
}

function tilt(scene: Scene): RailFigure | undefined {
  const row = estimate<string>(scene.tape, scene.vehicle, 'navigation');
  const value = row.value('tilt_deg');
  if (Number.isNaN(value)) return undefined;
  const heading = row.value('tilt_heading_deg');
  return figure('tilt', 4, kRailWords.tilt, format_fixed(value, 0), '°', {
    notes: Number.isNaN(heading) ? [] : [`to ${format_bearing(heading)} true`],
    number: value,
  });
}

function place(scene: Scene, size: RailFigure['size']): RailFigure {
  const one = measured_place(scene.tape, scene.vehicle);
  if (!one) return figure('place', size, kRailWords.place, '–', '', { notes: [kRailWords.no_place] });
  const distance_m = Math.hypot(one.east_m, one.north_m);
  const shown = rounded_number(distance_m, one.sigma_m, 0);
  const age_s = scene.cursor_s - one.t_s;
  return figure('place', size, age_s > kFixOld_s ? kRailWords.place : kRailWords.place_found, shown.text, 'm', {
    notes: [
      `bearing ${format_bearing(bearing_deg(one.east_m, one.north_m))} true`,
      [sigma_words(shown, 'm'), old_words(age_s)].filter((part) => part !== '').join(', '),
    ],
    number: distance_m,
  });
}

function coordinates(scene: Scene): RailFigure | undefined {
  if (!measured_place(scene.tape, scene.vehicle)) return undefined;
  const kept = estimate(scene.tape, scene.vehicle, 'last_place');
  const row = kept.known ? kept : estimate<string>(scene.tape, scene.vehicle, 'navigation');
  const [latitude, longitude] = [row.value('latitude_deg'), row.value('longitude_deg')];
  if (Number.isNaN(latitude) || Number.isNaN(longitude)) return undefined;
  return figure('coordinates', 3, kRailWords.coordinates, format_fixed(latitude, 5), '', {
    notes: [format_fixed(longitude, 5)],
  });
}

function fastest(scene: Scene): RailFigure | undefined {
  const value = estimate(scene.tape, scene.vehicle, 'derived').value('vertical_speed_max_mps');
  return Number.isNaN(value)
    ? undefined
    : figure('fastest', 4, kRailWords.fastest, format_fixed(value, 0), 'm/s', { number: value });
}

function flight_time(scene: Scene): RailFigure | undefined {
  const happened = scene.tape.log.happened(scene.vehicle, scene.cursor_s);
  const [from, to] = [find_event(happened, 'liftoff'), find_event(happened, 'touchdown')];
  if (!from || !to) return undefined;
  return figure('flight_time', 4, kRailWords.flight_time, format_fixed(to.t_s - from.t_s, 0), 's', {
    number: to.t_s - from.t_s,
  });
}
