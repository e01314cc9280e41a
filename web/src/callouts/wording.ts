/** Every word that is spoken or shown as a caption. Another language is another table of these. */
import type { FlightEventName } from '../tape/events';
import type { Units } from '../text/viewer';

export const kSpokenLanguage = 'en';

export const kCallOutWords = {
  begun: 'Reading aloud.',
  liftoff: 'Liftoff.',
  burnout: 'Burnout.',
  drogue_out: 'Drogue out.',
  main_out: 'Main out.',
  altitude: (altitude: string): string => `${altitude}.`,
  apogee: (altitude: string): string => (altitude === '' ? 'Apogee.' : `Apogee, ${altitude}.`),
  falling: (speed: string): string => `Falling ${speed}.`,
  touchdown: (distance: string, bearing: string): string =>
    distance === ''
      ? 'Touchdown.'
      : `Touchdown, ${distance} from the pad${bearing === '' ? '' : `, bearing ${bearing}`}.`,
  alert: { caution: 'Caution.', warning: 'Warning.' },
} as const satisfies Partial<Record<FlightEventName, unknown>> & Record<string, unknown>;

export const kNoVoice = 'This device has no voice of its own; call-outs are shown as captions.';

const kAloud: Readonly<Record<Units, readonly (readonly [RegExp, string])[]>> = {
  metric: [
    [/[ \u00a0\u202f]m\/s(?!\w)/g, ' metres a second'],
    [/[ \u00a0\u202f]m(?![\w/])/g, ' metres'],
  ],
  feet: [
    [/[ \u00a0\u202f]mph(?!\w)/g, ' miles an hour'],
    [/[ \u00a0\u202f]ft(?!\w)/g, ' feet'],
  ],
};
const kAloudAlways: readonly (readonly [RegExp, string])[] = [
  [/ AGL/g, ' above ground'],
  [/[ \u00a0\u202f]s(?!\w)/g, ' seconds'],
  [/ GNSS /g, ' G N S S '],
];

/** A bearing as it is read out: digit by digit. */
export const digits_aloud = (digits: string): string => [...digits].join(' ');

/** A sentence of the page as it is spoken: units as words, bearings digit by digit. */
export function aloud(text: string, units: Units): string {
  const read = [...kAloud[units], ...kAloudAlways].reduce((said, [what, as]) => said.replace(what, as), text);
  return read.replace(/(\d{1,3})°/g, (_, digits: string) => `${digits_aloud(digits.padStart(3, '0'))} degrees`);
}
