/**
 * What the estimates say about the flight at the tape's cursor: predicted apogee and landing, navigation, where to point
 * the antenna, ground against on-board, and whether the estimators can be believed. Numbers are those of the newest row
 * at the cursor; times to go are counted down from it.
 */
import { flight_time, type TapeSeconds } from '../../stream/clocks';
import { kFixOld_s, kRailFigures_s } from '../../tape/age';
import { estimate, kModeWords, type ColumnOf, type Estimate, type Estimator } from '../../tape/estimates';
import { find_event, type FlightEvent } from '../../tape/events';
import { bearing_deg, likeliest_landing } from '../../places/landing';
import { measured_place, predicted_s } from '../../tape/flight/measured';
import type { Tape } from '../../tape/tape';
import {
  capital,
  format_age,
  format_bearing,
  format_clock,
  format_fixed,
  format_fraction,
  format_interval,
  format_sigma,
  format_to_go,
  format_value,
  kNoValue,
  plus_minus,
} from '../../text/format';
import { shown_unit } from '../../text/units';
import { kLandingCaseWords } from '../map/wording';
import { why_missing } from '../../tape/missing';
import { health_rank, kHealthWords, type HealthWord } from './health';
import { beam_words, kCardTitles, kCardWords } from './wording';

export type CardName = 'apogee' | 'landing' | 'navigation' | 'antenna' | 'comparison' | 'health';

export interface Figure {
  /** Short name before it; empty when the title says it. */
  label: string;
  text: string;
  unit: string;
  /** "± 1.2", in the figure's unit; empty when the table gives none. */
  sigma: string;
  /** The number behind the text; NaN for words. */
  number: number;
}

export interface Card {
  name: CardName;
  title: string;
  /** Empty: `missing` says why. */
  figures: Figure[];
  notes: string[];
  /** Said beside a fraction that only a person may act on. */
  advisory: string;
  missing: string;
  /** Age in words when the row is too old to be believed; else empty. */
  stale: string;
  /** Wants attention: marked, and said in words. */
  caution: boolean;
}

const kModeCautions: readonly string[] = [kModeWords.dead_reckoning, kModeWords.lost];
const kHealthCautions: readonly string[] = ['overconfident', 'do not trust'] satisfies HealthWord[];

interface Scene {
  tape: Tape;
  vehicle: number;
  cursor_s: TapeSeconds;
  liftoff_s: TapeSeconds | undefined;
  apogee: FlightEvent | undefined;
  touchdown: FlightEvent | undefined;
}

function card(name: CardName, title: string, more: Partial<Card> = {}): Card {
  return { name, title, figures: [], notes: [], advisory: '', missing: '', stale: '', caution: false, ...more };
}

const of = <E extends Estimator>(scene: Scene, estimator: E): Estimate<E> =>
  estimate(scene.tape, scene.vehicle, estimator);

function word_figure(text: string, number = NaN): Figure {
  return { label: '', text: capital(text), unit: '', sigma: '', number };
}

const sigma_text = (unit: string, sigma: number): string => (Number.isFinite(sigma) ? format_sigma(unit, sigma) : '');

function figure<E extends Estimator>(from: Estimate<E>, name: ColumnOf<E>, label = ''): Figure {
  const column = from.column(name);
  if (!column) return { label, text: kNoValue, unit: '', sigma: '', number: NaN };
  const value = from.value(name);
  return {
    label,
    text: format_value(column, value),
    unit: shown_unit(column.unit).symbol,
    sigma: sigma_text(column.unit, from.sigma(name)),
    number: value,
  };
}

/** An altitude says over what: above ground level at the pad. */
function altitude<E extends Estimator>(from: Estimate<E>, name: ColumnOf<E>): Figure {
  const plain = figure(from, name);
  return { ...plain, unit: `${plain.unit} AGL` };
}

/** A difference says its sign: "+3.2", but "0.0". */
function difference<E extends Estimator>(from: Estimate<E>, name: ColumnOf<E>): Figure {
  const plain = figure(from, name);
  return Number(plain.text) > 0 ? { ...plain, text: `+${plain.text}` } : plain;
}

/** Without a value: what the vehicle lacks for it, or that it is still to come. */
function without<E extends Estimator>(
  scene: Scene,
  empty: Card,
  estimator: E,
  waiting: string = kCardWords.nothing_yet,
): Card {
  const why = why_missing(scene.tape.log, scene.vehicle, estimator);
  return { ...empty, missing: why || (of(scene, estimator).known ? waiting : kCardWords.no_table) };
}

function age_when_stale(scene: Scene, t_s: TapeSeconds): string {
  const age_s = scene.cursor_s - t_s;
  const hold_s = scene.liftoff_s === undefined ? kRailFigures_s : kFixOld_s;
  return age_s > hold_s ? format_age(age_s) : '';
}

/** Counted down from a prediction; a stale one counts nothing down. */
function to_go_words(scene: Scene, in_s: number, t_s: TapeSeconds): string {
  const made_s = predicted_s(scene.tape, scene.vehicle, t_s);
  return age_when_stale(scene, made_s) === '' ? format_to_go(in_s - (scene.cursor_s - made_s)) : '';
}

/** "at T+0:12.50 ± 0.060 s"; without a liftoff there is no T. */
function when(scene: Scene, event: FlightEvent): string[] {
  if (scene.liftoff_s === undefined) return [];
  const spread = event.sigma_s > 0 ? ` ${plus_minus(event.sigma_s, 's')}` : '';
  return [`at T${format_clock(flight_time(scene.liftoff_s, event.t_s), 2)}${spread}`];
}

function apogee_card(scene: Scene): Card {
  if (scene.apogee) {
    const reached = card('apogee', kCardTitles.apogee_reached, { notes: when(scene, scene.apogee) });
    const maximum = altitude(of(scene, 'derived'), 'altitude_max_m');
    return Number.isNaN(maximum.number)
      ? { ...reached, missing: [kCardWords.altitude_unknown, ...reached.notes].join(', ') }
      : { ...reached, figures: [maximum] };
  }
  const predicted = card('apogee', kCardTitles.apogee);
  const ascent = of(scene, 'ascent');
  const apogee = altitude(ascent, 'apogee_m');
  if (Number.isNaN(apogee.number)) return without(scene, predicted, 'ascent', kCardWords.no_prediction);
  const in_s = ascent.value('apogee_in_s');
  const to_go =
    scene.liftoff_s === undefined
      ? Number.isFinite(in_s)
        ? `${format_fixed(in_s, 1)} s after ignition`
        : ''
      : to_go_words(scene, in_s, ascent.t_s);
  const interval = `90 %: ${format_interval(ascent.value('apogee_low_m'), ascent.value('apogee_high_m'), 'm')}`;
  return {
    ...predicted,
    figures: [apogee],
    notes: [interval, to_go].filter((note) => note !== ''),
    stale: age_when_stale(scene, ascent.t_s),
  };
}

/** 1-sigma of a horizontal position as one number: root mean square over east and north. */
export function horizontal_sigma(east: number, north: number): number {
  return Math.sqrt((east * east + north * north) / 2);
}

/** Distance and true bearing from the pad, as two figures. */
function from_pad(east_m: number, north_m: number, sigma_m: number): Figure[] {
  const bearing = bearing_deg(east_m, north_m);
  const distance_m = Math.hypot(east_m, north_m);
  return [
    { label: '', text: format_fixed(distance_m, 0), unit: 'm', sigma: sigma_text('m', sigma_m), number: distance_m },
    { label: 'bearing', text: format_bearing(bearing), unit: 'true', sigma: '', number: bearing },
  ];
}

function touchdown_card(scene: Scene, touchdown: FlightEvent): Card {
  const down = card('landing', kCardTitles.touchdown, { notes: [kCardWords.from_pad, ...when(scene, touchdown)] });
  const place = measured_place(scene.tape, scene.vehicle);
  if (place) return { ...down, figures: from_pad(place.east_m, place.north_m, place.sigma_m) };
  const distance = figure(of(scene, 'derived'), 'ground_distance_m');
  return Number.isNaN(distance.number)
    ? { ...down, missing: [kCardWords.place_unknown, ...when(scene, touchdown)].join(', ') }
    : { ...down, figures: [distance] };
}

function landing_card(scene: Scene): Card {
  if (scene.touchdown) return touchdown_card(scene, scene.touchdown);
  const predicted = card('landing', kCardTitles.landing);
  const landing = of(scene, 'landing');
  const name = likeliest_landing(scene.tape, scene.vehicle, landing);
  const east_m = landing.value(`${name}_east_m`);
  if (Number.isNaN(east_m)) return without(scene, predicted, 'landing', kCardWords.no_prediction);
  const stale = age_when_stale(scene, landing.t_s);
  const no_place = scene.liftoff_s === undefined ? '' : why_missing(scene.tape.log, scene.vehicle, 'navigation');
  if (stale !== '' && no_place !== '') return { ...predicted, missing: no_place };
  const axes = [landing.value(`${name}_semi_major_m`), landing.value(`${name}_semi_minor_m`)];
  const over_all = landing.value('outside'); // older recordings have it by case only
  const outside = Number.isNaN(over_all) ? landing.value(`${name}_outside`) : over_all;
  const fraction = format_fraction(outside);
  return {
    ...predicted,
    figures: from_pad(east_m, landing.value(`${name}_north_m`), NaN),
    notes: [
      name === 'nominal' ? '' : `what is seen fits best: ${kLandingCaseWords[name]}`,
      scene.liftoff_s === undefined ? '' : to_go_words(scene, landing.value(`${name}_in_s`), landing.t_s),
      fraction === '' ? kCardWords.no_boundary : `${fraction} outside the boundary`,
      `95 % ellipse ${axes.map((axis) => format_fixed(axis, 0)).join(' × ')} m (semi-axes)`,
    ].filter((note) => note !== ''),
    advisory: outside > 0 ? kCardWords.officer_decides : '',
    stale,
  };
}

function navigation_card(scene: Scene): Card {
  const empty = card('navigation', kCardTitles.navigation);
  const navigation = of(scene, 'navigation');
  const mode = navigation.word('mode');
  if (mode === '') return without(scene, empty, 'navigation');
  const horizontal = horizontal_sigma(navigation.sigma('east_m'), navigation.sigma('north_m'));
  return {
    ...empty,
    figures: [word_figure(mode, navigation.value('mode'))],
    notes: Number.isFinite(horizontal)
      ? [`${plus_minus(horizontal, 'm')} horizontal`, `${plus_minus(navigation.sigma('up_m'), 'm')} vertical`]
      : [kCardWords.no_position],
    stale: age_when_stale(scene, navigation.t_s),
    caution: kModeCautions.includes(mode),
  };
}

function antenna_card(scene: Scene): Card {
  const empty = card('antenna', kCardTitles.antenna);
  const angles = of(scene, 'look_angles');
  const azimuth = figure(angles, 'azimuth_deg', 'az');
  const elevation = figure(angles, 'elevation_deg', 'el');
  if (Number.isNaN(azimuth.number) && Number.isNaN(elevation.number)) return without(scene, empty, 'look_angles');
  const half_beams = angles.value('pointing_half_beams');
  const range = figure(angles, 'slant_range_m');
  return {
    ...empty,
    figures: [
      { ...azimuth, text: format_bearing(azimuth.number, 1), unit: 'true' },
      { ...elevation, text: `${elevation.text}°`, unit: '' },
    ],
    notes: [
      `slant range ${range.text} m ${range.sigma}`.trim(),
      `${format_bearing(angles.value('azimuth_magnetic_deg'), 1)} magnetic`,
      beam_words(half_beams),
    ].filter((note) => note !== ''),
    stale: age_when_stale(scene, angles.t_s),
    caution: half_beams >= 1,
  };
}

/** Undefined when the vehicle sends no estimate of its own. */
function comparison_card(scene: Scene): Card | undefined {
  const comparison = of(scene, 'onboard_comparison');
  if (!comparison.known) return undefined;
  const empty = card('comparison', kCardTitles.comparison);
  const figures = [difference(comparison, 'altitude_m'), difference(comparison, 'vertical_speed_mps')].filter(
    (one) => !Number.isNaN(one.number),
  );
  if (figures.length === 0) return { ...empty, missing: kCardWords.nothing_yet };
  const axis = figure(comparison, 'long_axis_deg');
  return {
    ...empty,
    figures,
    notes: [
      Number.isNaN(axis.number)
        ? kCardWords.altitude_and_speed
        : `pointing differs by ${axis.text}°${axis.sigma === '' ? '' : ` ${axis.sigma}°`}`,
    ],
    stale: age_when_stale(scene, comparison.t_s),
  };
}

interface Check {
  title: string;
  value: number;
  /** The estimator's own word for the value; empty without one. */
  word: string;
}

function check<E extends Estimator>(from: Estimate<E>, name: ColumnOf<E>): Check {
  return { title: from.column(name)?.title ?? '', value: from.value(name), word: from.word(name) };
}

function health_card(scene: Scene): Card {
  const empty = card('health', kCardTitles.health);
  const navigation = of(scene, 'navigation');
  const checks = [
    check(of(scene, 'vertical'), 'health'),
    check(navigation, 'fix_health'),
    check(navigation, 'height_health'),
  ].filter((one) => one.word !== '');
  checks.sort((a, b) => health_rank(b.word) - health_rank(a.word));
  const [worst] = checks;
  if (!worst) return without(scene, empty, 'vertical');
  const titles = (word: string): string => checks.flatMap((one) => (one.word === word ? [one.title] : [])).join(', ');
  const others = [...new Set(checks.map((one) => one.word))].slice(1);
  return {
    ...empty,
    figures: [word_figure(worst.word, worst.value)],
    notes: [titles(worst.word), ...others.map((word) => `${word}: ${titles(word)}`)],
    caution: kHealthCautions.includes(worst.word),
  };
}

/** The worst word of the estimators' health; empty without one. */
export function worst_health(tape: Tape, vehicle: number): HealthWord | '' {
  const [vertical, navigation] = [estimate(tape, vehicle, 'vertical'), estimate(tape, vehicle, 'navigation')];
  const words = [vertical.word('health'), navigation.word('fix_health'), navigation.word('height_health')];
  const known = kHealthWords.filter((word) => words.includes(word));
  return known.at(-1) ?? '';
}

/** Cards of a flying vehicle at the cursor, in the order they are shown; none for one that does not fly. */
export function select_cards(tape: Tape, vehicle: number): Card[] {
  if (tape.description.vehicles[vehicle]?.rocket !== true) return [];
  const cursor_s = tape.cursor_s;
  const happened = tape.log.happened(vehicle, cursor_s);
  const scene: Scene = {
    tape,
    vehicle,
    cursor_s,
    liftoff_s: find_event(happened, 'liftoff')?.t_s,
    apogee: find_event(happened, 'apogee'),
    touchdown: find_event(happened, 'touchdown'),
  };
  const comparison = comparison_card(scene);
  return [
    apogee_card(scene),
    landing_card(scene),
    navigation_card(scene),
    antenna_card(scene),
    ...(comparison ? [comparison] : []),
    health_card(scene),
  ];
}
