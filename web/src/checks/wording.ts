/** Words that the ground test and the readiness board share. */
import type { TapeEvent } from '../stream/messages';
import type { CheckState, Tally } from './rows';

export const kStateWords: Readonly<Record<CheckState, string>> = {
  waits: 'waits',
  holds: 'holds',
  fails: 'fails',
  not_evaluated: 'not evaluated',
};

export const kNotSaid = '–';

/** "yes, R.K." for a statement. */
export function said_words(said: TapeEvent | undefined): string {
  if (!said) return kNotSaid;
  const by = said.data['by'];
  return `${said.data['holds'] === true ? 'yes' : 'no'}${typeof by === 'string' && by !== '' ? `, ${by}` : ''}`;
}

export const kActWords = {
  initials_first: 'Enter your initials first: they go into the recording.',
  note: 'Note',
  holds: 'It holds',
  does_not: 'It does not',
  enter: 'Enter',
  cancel: 'Cancel',
} as const;

/** `required`: what it is held against. */
export const value_label = (required: string): string => (required === '' ? 'Value' : `Value (${required})`);

/** "16 of 19 good, 2 wait, 1 fails". */
export function tally_words({ all, hold, wait, fail }: Tally): string {
  const more = [
    wait > 0 ? `${wait} ${wait === 1 ? 'waits' : 'wait'}` : '',
    fail > 0 ? `${fail} ${fail === 1 ? 'fails' : 'fail'}` : '',
  ];
  return [`${hold} of ${all} good`, ...more.filter((text) => text !== '')].join(', ');
}

export const kUnreadable = 'What the ground station says of this vehicle could not be read:';
