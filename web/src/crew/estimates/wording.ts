/** Words of the estimates. */

export const kEstimatesTitle = 'Estimates';

/** `half_beams`: 1-sigma of the direction in half beamwidths. */
export function beam_words(half_beams: number): string {
  if (!Number.isFinite(half_beams)) return '';
  if (half_beams < 0.5) return 'inside the beam';
  return half_beams < 1 ? 'mostly inside the beam' : 'may be outside the beam';
}

export const kCardTitles = {
  apogee: 'Predicted apogee',
  apogee_reached: 'Apogee reached',
  landing: 'Predicted landing',
  touchdown: 'Touchdown',
  navigation: 'Navigation',
  antenna: 'Antenna pointing',
  comparison: 'Ground − on board',
  health: 'Estimator health',
} as const;

export const kCardWords = {
  no_prediction: 'No prediction yet',
  nothing_yet: 'No value yet',
  no_table: 'Not in this recording',
  no_position: 'no position',
  no_boundary: 'no boundary given',
  from_pad: 'from the pad',
  altitude_unknown: 'Altitude not known',
  place_unknown: 'Place not known',
  altitude_and_speed: 'altitude AGL and vertical speed',
  officer_decides: 'advisory: the range safety officer decides',
} as const;
