/** Days as people write them. */
import type { UtcMs } from '../stream/clocks';
import { format_day, kNoValue, type ClockZone } from './format';

/** "24 Oct 2026", in UTC or as this device's own clock is set. */
export function format_date(ms: UtcMs, zone: ClockZone): string {
  if (!Number.isFinite(ms)) return kNoValue;
  const day = new Date(zone === 'local' ? ms - 60_000 * new Date(ms).getTimezoneOffset() : ms);
  const [date] = format_day(day.getTime()).split(/ (?=\d\d:)/);
  return `${date ?? ''} ${day.getUTCFullYear()}`;
}
