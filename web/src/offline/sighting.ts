/** Everything a recovery team needs of one vehicle, in plain values: what a device keeps, and what `#/recover` shows. */
import { utc_at, type UtcMs } from '../stream/clocks';
import type { GeoPoint } from '../stream/description';
import type { Level } from '../stream/messages';
import type { LandingCaseName } from '../tape/estimates';
import { live_charges, type LiveCharge } from '../places/hazards';
import { last_packet_s, newest_link } from '../tape/links';
import { landing_area, last_place, measured_after_touchdown } from '../places/place';
import { is_of_flight } from '../tape/flight/measured';
import { find_role } from '../tape/roles';
import type { Tape } from '../tape/tape';

/** Ages are seconds before the moment the sighting is of. */
export interface SeenPlace extends GeoPoint {
  altitude_msl_m: number;
  altitude_agl_m: number;
  sigma_m: number;
  age_s: number;
  utc_ms: UtcMs;
  /** The vehicle has flown since. */
  before_flight: boolean;
  /** Measured after the touchdown: the vehicle lies there. */
  at_rest: boolean;
}

export interface SeenArea extends GeoPoint {
  name: LandingCaseName;
  semi_major_m: number;
  semi_minor_m: number;
  bearing_deg: number;
  age_s: number;
}

/** What the band said of it. */
export interface SeenSentence {
  text: string;
  level: Level;
  /** Since anything was received. */
  age_s: number;
}

/** Where to look for it first. */
export interface Goal extends GeoPoint {
  /** 1-sigma, along the longer axis of an area. */
  sigma_m: number;
  /** The middle of the predicted area; else where it was measured. */
  predicted: boolean;
}

export interface SeenSite {
  pad: GeoPoint;
  station: GeoPoint;
  declination_deg: number;
}

export interface Sighting {
  /** Name of the vehicle; one vehicle has one sighting, the newest. */
  vehicle: string;
  title: string;
  recording: string;
  site: SeenSite;
  flown: boolean;
  sentence: SeenSentence | undefined;
  place: SeenPlace | undefined;
  area: SeenArea | undefined;
  charges: readonly LiveCharge[];
  battery_v: number;
  packet_age_s: number;
}

/** What the tape says of a vehicle at its cursor. */
export function sighting_of(tape: Tape, vehicle: number): Sighting {
  const { recording, site, vehicles } = tape.description;
  const now_s = tape.cursor_s;
  const place = last_place(tape, vehicle);
  const flown = tape.log.liftoff_s(vehicle, now_s) !== undefined;
  const area = flown ? landing_area(tape, vehicle) : undefined;
  const sentence = tape.log.sentence_at(vehicle, now_s);
  const packet_age_s = last_packet_s(tape, newest_link(tape, vehicle));
  const battery = find_role(tape.description, 'battery_voltage', vehicle);
  return {
    vehicle: vehicles[vehicle]?.name ?? '',
    title: vehicles[vehicle]?.title ?? '',
    recording: recording.id,
    site: { pad: site.pad, station: site.station, declination_deg: site.declination_deg },
    flown,
    sentence: sentence && { text: sentence.text, level: sentence.level, age_s: packet_age_s || 0 },
    place: place && {
      latitude_deg: place.latitude_deg,
      longitude_deg: place.longitude_deg,
      altitude_msl_m: place.altitude_msl_m,
      altitude_agl_m: place.altitude_agl_m,
      sigma_m: place.sigma_m,
      age_s: Math.max(0, now_s - place.t_s),
      utc_ms: utc_at(recording.utc_start_ms, place.t_s),
      before_flight: !is_of_flight(tape, vehicle, place.t_s),
      at_rest: measured_after_touchdown(tape, vehicle),
    },
    area: area && {
      latitude_deg: area.latitude_deg,
      longitude_deg: area.longitude_deg,
      name: area.name,
      semi_major_m: area.semi_major_m,
      semi_minor_m: area.semi_minor_m,
      bearing_deg: area.bearing_deg,
      age_s: Math.max(0, now_s - area.t_s),
    },
    charges: live_charges(tape, vehicle),
    battery_v: battery ? tape.value_at_cursor(battery.table.id, battery.column).value : NaN,
    packet_age_s,
  };
}

const kSemiAxes95 = Math.sqrt(-2 * Math.log(0.05)); // sigmas; of two dimensions, in closed form

/** The last place, unless the vehicle has flown away from it and it is known where to: then the middle of that area. */
export function goal_of({ place, area }: Sighting): Goal | undefined {
  if (place && !(place.before_flight && area)) return { ...place, predicted: false };
  return area && { ...area, sigma_m: area.semi_major_m / kSemiAxes95, predicted: true };
}

/** The same, so much later. */
export const aged = (sighting: Sighting, by_s: number): Sighting => ({
  ...sighting,
  sentence: sighting.sentence && { ...sighting.sentence, age_s: sighting.sentence.age_s + by_s },
  place: sighting.place && { ...sighting.place, age_s: sighting.place.age_s + by_s },
  area: sighting.area && { ...sighting.area, age_s: sighting.area.age_s + by_s },
  packet_age_s: sighting.packet_age_s + by_s,
});
