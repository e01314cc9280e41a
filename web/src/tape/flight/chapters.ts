/** The flights of a vehicle as chapters of a recording: each lasts until the vehicle is ready for another. */
import type { TapeSeconds } from '../../stream/clocks';
import type { EventLog } from '../events';

export interface Chapter {
  /** From 1. */
  number: number;
  /** What an operator called it; empty: nothing. */
  name: string;
  from_s: TapeSeconds;
  /** NaN: it has not flown, or nobody saw it. */
  liftoff_s: TapeSeconds;
}

/** The last may still be to come. */
export function chapters_of(log: EventLog, vehicle: number): Chapter[] {
  let chapter: Chapter = { number: 1, name: '', from_s: 0, liftoff_s: NaN };
  const chapters = [chapter];
  for (const { event, t_s, data, vehicle: whose } of log.events) {
    if (whose !== vehicle) continue;
    if (event === 'ready_again')
      chapters.push((chapter = { number: chapters.length + 1, name: '', from_s: t_s, liftoff_s: NaN }));
    else if (event === 'liftoff') chapter.liftoff_s = t_s;
    else if (event === 'false_liftoff') chapter.liftoff_s = NaN;
    else if (event === 'flight_named') chapter.name = typeof data['name'] === 'string' ? data['name'] : '';
  }
  return chapters;
}

/** The one that a moment is in. */
export const chapter_at = (chapters: readonly Chapter[], t_s: TapeSeconds): Chapter | undefined =>
  chapters.findLast((chapter) => chapter.from_s <= t_s) ?? chapters[0];

const kBefore_s = 5;

/** Where to begin to look at it. */
export const begin_of = (chapter: Chapter): TapeSeconds =>
  Number.isNaN(chapter.liftoff_s) ? chapter.from_s : Math.max(chapter.from_s, chapter.liftoff_s - kBefore_s);
