/** The countdown as an operator types and reads it. */
import type { Countdown } from '../tape/events';
import { format_countdown } from '../text/format';
import { kCountdownWords } from './wording';

const kMost_s = 86_400; // the station's own limit

/** "10:00", "1:30:00" or "90" as seconds; undefined for anything else. */
export function countdown_seconds(typed: string): number | undefined {
  const parts = typed.trim().split(':');
  if (parts.length > 3 || parts.some((part) => !/^\d{1,5}$/.test(part))) return undefined;
  if (parts.slice(1).some((part) => part.length !== 2 || Number(part) > 59)) return undefined;
  const seconds = parts.reduce((sum, part) => 60 * sum + Number(part), 0);
  return seconds <= kMost_s ? seconds : undefined;
}

export function countdown_words(countdown: Countdown | undefined): string {
  if (!countdown) return kCountdownWords.none;
  const clock = format_countdown(countdown.left_s);
  return countdown.held ? `${clock}, ${kCountdownWords.held}` : clock;
}
