/** Where one can jump on the tape of a flight: to all that happened in it, ahead of the cursor too. Pure. */
import type { FlightSeconds, TapeSeconds } from '../../stream/clocks';
import type { TapeEvent } from '../../stream/messages';
import { kFlightEvents } from '../../tape/events';
import { capital, format_clock } from '../../text/format';

export interface Jump {
  id: number;
  t_s: TapeSeconds;
  words: string;
}

export interface JumpGroup {
  title: string;
  jumps: Jump[];
}

const kGroups = ['The flight', 'Bookmarks, markers, notes', 'Alerts', 'Everything else'] as const;
const kOfFlight: ReadonlySet<string> = new Set([
  ...kFlightEvents,
  'signal_lost',
  'signal_reacquired',
  'ready_again',
  'false_liftoff',
]);

/** Place among the groups; undefined: nothing to jump to. */
function group_of({ kind, event }: TapeEvent): number | undefined {
  if (kOfFlight.has(event)) return 0;
  if (kind === 'marker' || kind === 'note') return 1;
  if (kind === 'alert_raised') return 2;
  return kind === 'phase' || kind === 'sentence' || kind.startsWith('alert_') ? undefined : 3;
}

/** `of`: a vehicle; what belongs to the station is everybody's. */
export function jumps_of(
  events: readonly TapeEvent[],
  of: number,
  from_s: TapeSeconds,
  to_s: TapeSeconds,
  liftoff_s: TapeSeconds,
): JumpGroup[] {
  const groups: JumpGroup[] = kGroups.map((title) => ({ title, jumps: [] }));
  for (const event of events) {
    if ((event.vehicle >= 0 && event.vehicle !== of) || event.t_s < from_s || event.t_s > to_s) continue;
    const place = group_of(event);
    if (place === undefined) continue;
    const text = event.text === '' ? event.event.replaceAll('_', ' ') : event.text;
    groups[place]?.jumps.push({
      id: event.id,
      t_s: event.t_s,
      words: `${clock_words(event.t_s - liftoff_s)} ${capital(text)}`,
    });
  }
  return groups.filter(({ jumps }) => jumps.length > 0);
}

/** "T+0:12.3"; before liftoff "T−0:05.0". */
export function clock_words(since_s: FlightSeconds): string {
  return `T${format_clock(since_s)}`;
}

/** A window that is played again and again. */
export interface Loop {
  from_s: TapeSeconds;
  to_s: TapeSeconds;
}

/** Where the cursor has to go so that it stays in the loop; undefined: nowhere. */
export function loop_seek(loop: Loop, cursor_s: TapeSeconds, playing: boolean): TapeSeconds | undefined {
  if (!playing) return undefined;
  return cursor_s >= loop.to_s || cursor_s < loop.from_s - 1 ? loop.from_s : undefined;
}
