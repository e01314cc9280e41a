/**
 * Which way a device points, from what its browser tells of its orientation (W3C Device Orientation and Motion). The angles
 * there count from a north that phones take from their magnetometer, so headings here are magnetic (from memory; the
 * document leaves the choice to the device). iOS has a compass heading of its own, magnetic by its documentation.
 */
import { turned_deg } from '../places/geodesic';

/** What of a DeviceOrientationEvent is used. */
export interface OrientationReading {
  alpha: number | null;
  beta: number | null;
  gamma: number | null;
  absolute: boolean;
  webkitCompassHeading?: number;
  webkitCompassAccuracy?: number;
}

export interface Heading {
  /** Of the upper edge of what the screen shows, degrees clockwise from magnetic north. */
  magnetic_deg: number;
  /** Of the device's own upper end above the horizon. */
  elevation_deg: number;
  /** 1-sigma as the device says; NaN when it does not. */
  sigma_deg: number;
  /** Too far from lying flat for an arrow on the screen to point along the ground. */
  tilted: boolean;
}

const kRadian = Math.PI / 180;
const kTilted_deg = 50;

/** `screen_deg`: how far what is shown is turned against the device, as screen.orientation.angle has it. */
export function heading_of(reading: OrientationReading, screen_deg: number): Heading | undefined {
  const { alpha, beta, gamma } = reading;
  const compass = reading.webkitCompassHeading;
  const has_compass = compass !== undefined && Number.isFinite(compass);
  if (beta === null || gamma === null || (!has_compass && (alpha === null || !reading.absolute))) return undefined;
  // The upper end is the y axis: in the earth's frame (-cos b sin a, cos b cos a, sin b), whatever gamma is.
  const upside_down = Math.cos(beta * kRadian) < 0;
  const top_deg = has_compass ? compass : -(alpha ?? 0) + (upside_down ? 180 : 0);
  const accuracy = reading.webkitCompassAccuracy;
  return {
    magnetic_deg: turned_deg(top_deg + screen_deg),
    elevation_deg: Math.asin(Math.sin(beta * kRadian)) / kRadian,
    sigma_deg: accuracy !== undefined && accuracy >= 0 ? accuracy : NaN,
    tilted: Math.abs(beta) > kTilted_deg || Math.abs(gamma) > kTilted_deg,
  };
}

/** A heading that follows the readings without their shaking; `weight` of the new one. */
export function smoothed_deg(before_deg: number, now_deg: number, weight: number): number {
  if (Number.isNaN(before_deg)) return now_deg;
  const turn = ((((now_deg - before_deg) % 360) + 540) % 360) - 180;
  return turned_deg(before_deg + weight * turn);
}
