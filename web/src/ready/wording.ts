/** Words of the readiness board and of the poll. */
import type { Answer, PollRow } from '../checks/poll';
import { tally_of, type CheckRow } from '../checks/rows';
import { tally_words } from '../checks/wording';
import type { Said } from '../station/said';
import { format_age, format_clock, format_countdown, format_duration, format_fixed } from '../text/format';
import type { Countdown } from '../tape/events';

export const kReadyWords = {
  none: 'No readiness board: put readiness.json into the vehicle’s folder.',
  measured: 'Measured',
  required: 'Required',
  state: 'State',
  should: 'should',
  answer: 'Answer',
  enter: 'Enter',
  wind: 'Wind',
  no_wind: 'No wind is measured.',
  poll: 'Poll',
  at: 'at',
  ask: 'Ask',
  ask_again: 'Ask again',
  device: 'Link for a device',
  device_hint:
    'For the device of whoever holds this position: the first that opens it may answer for this position, and do nothing else.',
  close: 'Close',
  go: 'Go',
  no_go: 'No go',
  note: 'Note',
  countdown: 'Countdown',
  held: 'Countdown, held',
  none_set: 'No countdown',
  since_liftoff: 'Since liftoff',
  hold: 'Hold countdown',
  resume: 'Resume countdown',
  set: 'Set time',
  report: 'Print report',
} as const;

export const kAnswerWords: Readonly<Record<Answer, string>> = {
  not_asked: 'not asked',
  asked: 'asked',
  go: 'go',
  no_go: 'no go',
};

export const kPositionWords = {
  opening: 'Giving this device its position.',
  refused: 'This device may not answer: ask the operator for a new link.',
  unknown: 'This vehicle has no such position.',
  not_asked: 'Not asked yet. You may answer before you are asked.',
  asked: 'You are asked: go or no go?',
  note_hint: 'Why, if no go',
} as const;

export const your_answer = (answer: Answer, at: string): string => `You said ${kAnswerWords[answer]} at ${at}.`;

/** What the largest figure says, and what stands over and under it. */
export interface BigClock {
  about: string;
  figure: string;
  /** Of a hold; empty: nobody has said. */
  why: string;
  below: string;
}

export function big_clock(
  countdown: Countdown | undefined,
  held_for_s: number,
  liftoff_s: number,
  time_of_day: (in_s: number) => string,
): BigClock {
  if (Number.isFinite(liftoff_s))
    return { about: kReadyWords.since_liftoff, figure: `T${format_clock(liftoff_s, 0)}`, why: '', below: '' };
  if (!countdown) return { about: kReadyWords.countdown, figure: '', why: '', below: kReadyWords.none_set };
  const { held, left_s, reason: why } = countdown;
  return {
    about: held ? `${kReadyWords.held} for ${format_duration(held_for_s)}` : kReadyWords.countdown,
    figure: format_countdown(left_s),
    why,
    below: left_s > 0 ? `liftoff ${held ? 'not before' : 'at'} ${time_of_day(left_s)}` : '',
  };
}

export function tally_note(rows: readonly CheckRow[], oldest_s: number): string {
  const age = Number.isFinite(oldest_s) ? ` Board made ${format_age(oldest_s)} ago.` : '';
  return `${tally_words(tally_of(rows))}.${age}`;
}

const titles = (rows: readonly { title: string }[]): string => rows.map((row) => row.title).join(', ');

/** "Gust 9.4 m/s, required ≤ 8.9 m/s." of one check, the titles of several. */
function failing_words(rows: readonly CheckRow[]): string {
  const [only] = rows;
  if (!only) return '';
  if (rows.length > 1) return `${titles(rows.map((row) => row.check))} fail.`;
  const { title, required } = only.check;
  if (only.reason !== '') return `${title}: ${only.reason}.`;
  return required === '' ? `${title} fails.` : `${title} ${only.measured}, required ${required}.`;
}

/**
 * The board in one sentence: its state in the station's words where it has said one, and what stands in the way. Never
 * "ready" by what the page itself counts.
 */
export function board_says(
  ready: boolean,
  rows: readonly CheckRow[],
  poll: readonly PollRow[],
  countdown: Countdown | undefined,
  old: boolean,
): Said {
  const where = countdown ? format_countdown(countdown.left_s) : '';
  const hold = countdown?.held ? `Hold at ${where}. ` : '';
  const stopped = tally_of(rows).in_the_way;
  const failing = stopped.filter((row) => row.state === 'fails').map((row) => row.check);
  const waiting = stopped.filter((row) => row.state !== 'fails').map((row) => row.check);
  const against = poll.filter((row) => row.answer === 'no_go').map((row) => row.position);
  const silent = poll.filter((row) => row.answer === 'asked' || row.answer === 'not_asked').map((row) => row.position);
  if (old) return { text: `${hold}The board is old: not ready.`, level: 'caution', form: 'board old' };
  if (failing.length > 0 || against.length > 0) {
    const parts = [
      failing_words(stopped.filter((row) => row.state === 'fails')),
      against.length > 0 ? `${titles(against)} ${against.length === 1 ? 'says' : 'say'} no go.` : '',
    ];
    const form = `board ${[...failing, ...against].map((one) => one.id).join(' ')}`;
    return {
      text: `${hold}${hold === '' ? 'Not ready. ' : ''}${parts.filter((part) => part !== '').join(' ')}`,
      level: 'caution',
      form,
    };
  }
  if (!ready || waiting.length > 0 || silent.length > 0) {
    const parts = [
      waiting.length > 0
        ? `${waiting.length === 1 ? titles(waiting) : `${format_fixed(waiting.length, 0)} checks`} ${waiting.length === 1 ? 'waits' : 'wait'}.`
        : '',
      silent.length > 0 ? `No answer from ${silent.length === poll.length ? 'any position' : titles(silent)}.` : '',
    ];
    return {
      text: `${hold}Not ready. ${parts.filter((part) => part !== '').join(' ')}`.trim(),
      level: 'advisory',
      form: `board waits ${silent.map((one) => one.id).join(' ')}`,
    };
  }
  return { text: `${hold}Ready: every must-check holds, every position says go.`, level: 'note', form: 'board ready' };
}
