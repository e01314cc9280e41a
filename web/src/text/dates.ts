/** Days as people write them. */
import type { UtcMs } from '../stream/clocks';
import { format_utc_time, kNoValue, type ClockZone } from './format';

const kMonths = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'] as const;

/** "24 Oct 13:48", UTC. */
export function format_day(ms: UtcMs): string {
  if (!Number.isFinite(ms)) return kNoValue;
  const day = new Date(ms);
  return `${day.getUTCDate()} ${kMonths[day.getUTCMonth()] ?? ''} ${format_utc_time(ms).slice(0, 5)}`;
}

/** What a flight is called, here and by the server: as operators wrote, or by its liftoff, "24 Oct 2026 13:48 UTC". */
export const flight_name = (given: string, liftoff_ms: UtcMs): string =>
  given === '' ? `${format_date(liftoff_ms, 'utc')} ${format_utc_time(liftoff_ms).slice(0, 5)} UTC` : given;

/** "24 Oct 2026", in UTC or as this device's own clock is set. */
export function format_date(ms: UtcMs, zone: ClockZone): string {
  if (!Number.isFinite(ms)) return kNoValue;
  const day = new Date(zone === 'local' ? ms - 60_000 * new Date(ms).getTimezoneOffset() : ms);
  return `${day.getUTCDate()} ${kMonths[day.getUTCMonth()] ?? ''} ${day.getUTCFullYear()}`;
}
