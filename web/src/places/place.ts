/**
 * Where a vehicle was last measured to be, and where it is likely to lie after that, at the tape's cursor. The server keeps
 * the last good place in a table of its own; a recording without it still has the fixes.
 */
import type { TapeSeconds } from '../stream/clocks';
import type { GeoPoint } from '../stream/description';
import { estimate, type LandingCaseName } from '../tape/estimates';
import { place_at } from './geodesic';
import { bearing_deg, landing_cases } from './landing';
import { last_heard_s } from '../tape/links';

import { find_role, type ColumnRef } from '../tape/roles';
import type { Tape } from '../tape/tape';

export interface LastPlace extends GeoPoint {
  altitude_msl_m: number;
  /** Altitude AGL at that time; NaN when the page does not hold it any more. */
  altitude_agl_m: number;
  /** 1-sigma, horizontal; NaN when nobody says. */
  sigma_m: number;
  /** When it was measured. */
  t_s: TapeSeconds;
}

/** The 95 % ellipse of the likeliest landing. */
export interface LandingArea extends GeoPoint {
  name: LandingCaseName;
  semi_major_m: number;
  semi_minor_m: number;
  /** Of the longer axis, degrees clockwise from true north. */
  bearing_deg: number;
  /** When it was predicted. */
  t_s: TapeSeconds;
}

const kLeastDimensions = 2; // NMEA 0183 GSA: 1 none, 2 2-D, 3 3-D
const kRowsBack = 2048; // a fix rarely lies further back among the rows of its packet that the page holds

type Place = Omit<LastPlace, 'altitude_agl_m'>;

export function last_place(tape: Tape, vehicle: number): LastPlace | undefined {
  const place = kept_by_server(tape, vehicle) ?? newest_fix(tape, vehicle);
  return place && { ...place, altitude_agl_m: altitude_agl_at(tape, vehicle, place.t_s) };
}

const kNear_s = 2;

function altitude_agl_at(tape: Tape, vehicle: number, t_s: TapeSeconds): number {
  const { data, ref } = estimate(tape, vehicle, 'vertical');
  const column = ref('altitude_m')?.column;
  const i = data?.columns.find(t_s) ?? -1;
  if (!data || column === undefined || i < 0 || t_s - data.columns.time(i) > kNear_s) return NaN;
  return data.columns.value(column, i);
}

function kept_by_server(tape: Tape, vehicle: number): Place | undefined {
  const row = estimate(tape, vehicle, 'last_place');
  const place = {
    latitude_deg: row.value('latitude_deg'),
    longitude_deg: row.value('longitude_deg'),
    altitude_msl_m: row.value('altitude_msl_m'),
    sigma_m: row.value('horizontal_sigma_m'),
    t_s: row.t_s,
  };
  return Number.isFinite(place.latitude_deg) && Number.isFinite(place.longitude_deg) ? place : undefined;
}

/** The newest row at the cursor that has a fix; one without a fix says nothing of the place. */
function newest_fix(tape: Tape, vehicle: number): Place | undefined {
  const latitude = find_role(tape.description, 'latitude', vehicle);
  if (!latitude) return undefined;
  const { table } = latitude;
  const of_role = (role: string): ColumnRef | undefined => {
    const ref = find_role(tape.description, role, vehicle);
    return ref?.table === table ? ref : undefined;
  };
  const [longitude, height, dimensions, accuracy] = [
    'longitude',
    'height_msl',
    'fix_dimensions',
    'fix_accuracy_horizontal',
  ].map(of_role);
  const read = (value: (column: number) => number, t_s: TapeSeconds): Place | undefined => {
    const at = (ref: ColumnRef | undefined): number => (ref ? value(ref.column) : NaN);
    if (at(dimensions) < kLeastDimensions) return undefined;
    const place = {
      latitude_deg: at(latitude),
      longitude_deg: at(longitude),
      altitude_msl_m: at(height),
      sigma_m: at(accuracy),
      t_s,
    };
    return Number.isFinite(place.latitude_deg) && Number.isFinite(place.longitude_deg) ? place : undefined;
  };
  const at_cursor = tape.value_at_cursor(table.id, latitude.column).t_s;
  const newest = read((column) => tape.value_at_cursor(table.id, column).value, at_cursor);
  const columns = tape.tables[table.id]?.columns;
  if (newest || !columns) return newest;
  const last = columns.find(tape.cursor_s);
  for (let i = last; i >= 0 && i > last - kRowsBack; i--) {
    const place = read((column) => columns.value(column, i), columns.time(i));
    if (place) return place;
  }
  return undefined;
}

/** A place given as metres from the pad. */
export function from_local(pad: GeoPoint, east_m: number, north_m: number): GeoPoint {
  const distance_m = Math.hypot(east_m, north_m);
  return distance_m === 0 ? pad : place_at(pad, { distance_m, bearing_deg: bearing_deg(east_m, north_m) });
}

/**
 * As it was predicted when the vehicle was last heard: what is made of silence later only grows. Undefined once the place
 * was measured after the touchdown, for then there is nothing left to predict.
 */
export function landing_area(tape: Tape, vehicle: number): LandingArea | undefined {
  const { pad } = tape.description.site;
  const as_of_s = last_heard_s(tape, vehicle);
  const likeliest = landing_cases(tape, vehicle, as_of_s).find((one) => one.likeliest);
  if (!likeliest || Number.isNaN(pad.latitude_deg) || measured_after_touchdown(tape, vehicle)) return undefined;
  return {
    ...from_local(pad, likeliest.east_m, likeliest.north_m),
    name: likeliest.name,
    semi_major_m: likeliest.semi_major_m,
    semi_minor_m: likeliest.semi_minor_m,
    bearing_deg: likeliest.bearing_deg,
    t_s: estimate(tape, vehicle, 'landing', as_of_s).t_s,
  };
}

export function measured_after_touchdown(tape: Tape, vehicle: number): boolean {
  const touchdown = tape.log.happened(vehicle, tape.cursor_s).find((event) => event.name === 'touchdown');
  const place = last_place(tape, vehicle);
  return touchdown !== undefined && place !== undefined && place.t_s >= touchdown.t_s;
}
