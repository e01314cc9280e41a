/** The hold that the station's countdown stands in. Apart from the log: who only watches reads it in the event's text. */
import type { TapeSeconds } from '../stream/clocks';
import type { EventLog } from '../tape/events';

export interface Hold {
  since_s: TapeSeconds;
  /** Empty: nobody has said why. */
  reason: string;
}

/** Undefined while no countdown is held. A reason said later, or another one, leaves the hold as old as it is. */
export function hold_at(log: EventLog, t_s: TapeSeconds): Hold | undefined {
  const steps = log.events.filter((event) => event.t_s <= t_s && event.event.startsWith('countdown_'));
  const newest = steps.at(-1);
  if (newest?.event !== 'countdown_held') return undefined;
  const before = steps.findLastIndex(
    ({ event, data }) => event !== 'countdown_held' || data['left_s'] !== newest.data['left_s'],
  );
  const { reason } = newest.data;
  return { since_s: (steps[before + 1] ?? newest).t_s, reason: typeof reason === 'string' ? reason : '' };
}
