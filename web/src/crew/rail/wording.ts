/** Words of the rail. */

export const kRailWords = {
  altitude: 'Altitude AGL',
  climbing: 'Climbing',
  falling: 'Falling',
  checks: 'Pad check',
  countdown: 'Countdown',
  countdown_held: 'Countdown, held',
  good: 'good',
  apogee_predicted: 'Predicted apogee AGL',
  apogee: 'Apogee AGL',
  landing_predicted: 'Predicted landing',
  landing_old: 'Landing, from the last fix',
  impact: 'Impact in',
  place: 'Last good place, from the pad',
  place_found: 'Down, from the pad',
  coordinates: 'Latitude, longitude',
  antenna: 'Antenna',
  tilt: 'Tilt',
  flight_time: 'Flight time',
  fastest: 'Maximum speed',
  no_value: 'No value yet',
  no_place: 'No place known yet',
  old_fix: 'old fix',
  expected: 'expected',
  with_ellipse: '95\u00a0% ellipse',
} as const;

/** "main due in". */
export const due_words = (parachute: string): string =>
  `${parachute.charAt(0).toUpperCase()}${parachute.slice(1)} due in`;

export const source_words: Readonly<Record<'navigation' | 'vertical' | 'onboard', string>> = {
  navigation: 'navigation',
  vertical: 'vertical filter',
  onboard: 'on board',
};
