/** Words of the map. */
import type { LandingCaseName } from '../../tape/estimates';

export const kLandingCaseWords: Readonly<Record<LandingCaseName, string>> = {
  nominal: 'nominal',
  drogue_fails: 'drogue fails',
  no_parachute: 'no parachute',
};
