/** Since when the station's countdown is held. Apart from the log: who only watches is told why, not for how long. */
import type { TapeSeconds } from '../stream/clocks';
import type { EventLog } from '../tape/events';

/** NaN while no countdown is held. A reason said later, or another one, leaves the hold as old as it is. */
export function held_since_s(log: EventLog, t_s: TapeSeconds): TapeSeconds {
  const steps = log.events.filter((event) => event.t_s <= t_s && event.event.startsWith('countdown_'));
  const newest = steps.at(-1);
  if (newest?.event !== 'countdown_held') return NaN;
  const before = steps.findLastIndex(
    ({ event, data }) => event !== 'countdown_held' || data['left_s'] !== newest.data['left_s'],
  );
  return (steps[before + 1] ?? newest).t_s;
}
