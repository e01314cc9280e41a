/** Clocks are told apart by the compiler: `npm run check` fails when one of the marked lines is accepted. */
import { expect, it } from 'vitest';
import {
  flight_time,
  page_now,
  SleepWatch,
  utc_at,
  type PageMs,
  type TapeSeconds,
  type UtcMs,
} from '../../src/stream/clocks';
import { format_clock, format_utc_time } from '../../src/text/format';

const t_s: TapeSeconds = 90;
const start_ms: UtcMs = Date.UTC(2026, 4, 17, 14, 32, 5);

it('leads from tape time to UTC and to flight time', () => {
  expect(format_utc_time(utc_at(start_ms, t_s))).toBe('14:33:35');
  expect(format_clock(flight_time(80, t_s))).toBe('+0:10.0');
});

it('takes no clock for another', () => {
  const page_ms: PageMs = page_now();
  // @ts-expect-error seconds on the tape are not UTC
  const utc: UtcMs = t_s;
  // @ts-expect-error the page's clock is not a time on the tape
  const on_tape: TapeSeconds = page_ms;
  // @ts-expect-error T+ counts from liftoff, not from the start of the tape
  format_clock(t_s);
  expect([utc, on_tape]).toEqual([t_s, page_ms]);
});

it('lets the page grow older while the device sleeps, and never younger', () => {
  let [steady, wall] = [1000, 50_000];
  const watch = new SleepWatch(
    () => steady,
    () => wall,
  );
  const pass = (steady_ms: number, wall_ms: number): number => {
    steady += steady_ms;
    wall += wall_ms;
    return watch.now();
  };
  expect(pass(500, 500)).toBe(1500);
  expect(pass(0, 600_000)).toBe(601_500); // asleep: only the wall clock went on
  expect(pass(500, 300)).toBe(602_000); // slowed by its time service
  expect(pass(500, -3_600_000)).toBe(602_500); // set back by an hour
  expect(pass(500, 500)).toBe(603_000);
});
