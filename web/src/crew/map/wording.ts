/** Words of the map. */
import type { LandingCaseName } from '../../tape/estimates';
import { format_bearing, format_fixed } from '../../text/format';

export const kLandingCaseWords: Readonly<Record<LandingCaseName, string>> = {
  nominal: 'nominal',
  late_opening: 'drogue late',
  drogue_fails: 'drogue fails',
  main_fails: 'main fails',
  main_at_apogee: 'main at apogee',
  no_parachute: 'no parachute',
};

export const kMapWords = {
  title: 'Map',
  landings: 'Predicted landings',
  landing: 'Landing',
  likely: 'likely',
  from_pad: 'from pad',
  outside: 'out',
  profile: 'Side view',
  whole: 'Whole site',
  fix: 'fix',
  no_site: 'No site file: the pad stands in the middle, without boundary or station.',
  flat: 'Flat ground assumed.',
  out: 'Ellipses hold 95\u00a0% of a case. Out: fraction outside the boundary. Advisory: the range safety officer decides.',
  none_yet: 'No landing predicted yet.',
} as const;

/** "312 m, 038°" from the pad. */
export const place_words = (distance_m: number, bearing_deg: number): string =>
  `${format_fixed(distance_m, 0)} m, ${format_bearing(bearing_deg)}`;

/** What the map shows, for who does not see it; `vehicle_m` from the pad, NaN when not known. */
export function map_words(vehicle_m: number, landings: readonly { name: LandingCaseName; text: string }[]): string {
  const vehicle = Number.isNaN(vehicle_m)
    ? 'place of the vehicle not known'
    : `vehicle ${format_fixed(vehicle_m, 0)} metres from the pad`;
  return `Map, north up: ${[vehicle, ...landings.map((one) => `landing, ${kLandingCaseWords[one.name]}: ${one.text}`)].join('; ')}`;
}
