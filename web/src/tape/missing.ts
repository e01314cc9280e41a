import type { TapeEvent } from '../stream/messages';
import type { EventLog } from './events';

/** Why a vehicle has no such estimate, in the server's sentence; empty when the recording does not say. */
export function why_missing(log: EventLog, vehicle: number, estimate: string): string {
  const is_it = (event: TapeEvent): boolean =>
    event.event === 'estimate_missing' && event.vehicle === vehicle && event.data['estimate'] === estimate;
  return log.events.findLast(is_it)?.text ?? '';
}
