/** Words of the view for those who watch. */
import type { Countdown } from '../tape/events';

export const kFigureLabels = {
  rail: 'Now',
  altitude: 'Altitude AGL',
  climbing: 'Climbing',
  falling: 'Falling',
  apogee_predicted: 'Predicted apogee',
  apogee_expected: 'Expected apogee',
  apogee: 'Apogee AGL',
  impact: 'Predicted impact',
  landing_in: 'Predicted landing',
  down: 'Down, from the pad',
  presumed_down: 'Last place, from the pad',
  speed_max: 'Maximum speed',
  wind: 'Wind',
} as const;

export const kWatchWords = {
  no_value: 'No value yet',
  on_the_rail: 'On the rail',
  on_the_stand: 'On the stand',
  down: 'Down',
  presumed_down: 'Presumed down',
  /** Of a place that is not known. */
  somewhere: 'place not known',
  in_about: 'in',
  after_liftoff: 'after liftoff',
  look_up:
    'At liftoff look up, not at this page. Tap “Read aloud” and it speaks. If it says “Heads up”, find the rocket and point at it.',
  look_up_heard:
    'At liftoff look up, not at this page: it speaks. If it says “Heads up”, find the rocket and point at it.',
  stay: 'Stay behind the line until the range safety officer opens the range.',
} as const;

export const kWhereTitles = {
  expected: 'Expected landing',
  predicted: 'Predicted landing',
  impact: 'Predicted impact',
  down: 'Lies here',
  last: 'Last place',
} as const;

/** "Countdown held: aircraft in range"; empty while it runs. */
export const held_words = (countdown: Countdown | undefined): string =>
  countdown?.held ? `Countdown held${countdown.reason && `: ${countdown.reason}`}` : '';

export const from_pad_words = (distance: string): string => `${distance} from the pad`;
export const bearing_words = (bearing: string): string => `bearing ${bearing} true`;
export const in_air_words = (duration: string): string => `In the air ${duration}.`;
export const ellipse_words = (major: string, minor: string): string => `95 % ellipse ${major} × ${minor} (semi-axes)`;
export const at_words = (bearing: string, word: string): string => `at ${bearing} true, ${word}`;

export const kCurveWords = { apogee: 'apogee', liftoff: 'liftoff' } as const;

export const goal_words = {
  apogee: (altitude: string): string => `${altitude} predicted`,
  landing: (clock: string): string => `down ${clock}`,
  impact: (clock: string): string => `impact ${clock}`,
} as const;

/** The curve for who does not see it. */
export const curve_words = (now: string, goal: string): string =>
  [`Altitude over time, now ${now}`, goal].filter((part) => part !== '').join(', ');
