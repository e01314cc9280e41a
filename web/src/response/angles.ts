/** Angles are recorded in radians and looked at in degrees. */
import { numbers } from '../stream/json_lists';

export const kDegree = Math.PI / 180;

/** Numbers of a member in radians, in degrees. */
export const degrees = (from: object, name: string, path: string): number[] =>
  numbers(from as Record<string, unknown>, name, path).map((angle_rad) => angle_rad / kDegree);
