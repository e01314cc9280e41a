/** Coordinates written and read: against outside values, and against everything a hurried thumb may type. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { format_decimal, format_minutes, parse_coordinates, plain_coordinates } from '../../src/text/coordinates';

interface Minutes {
  id: string;
  degrees: string;
  axis: 'lat' | 'lon';
  text: string;
}
const { degrees_minutes } = JSON.parse(readFileSync(new URL('../reference/places.json', import.meta.url), 'utf8')) as {
  degrees_minutes: Minutes[];
};

const at = (latitude_deg: number, longitude_deg: number) => ({ latitude_deg, longitude_deg });

describe('written coordinates', () => {
  it.each(degrees_minutes)('$id: degrees and minutes of $degrees', ({ degrees, axis, text }) => {
    const deg = Number(degrees);
    const written = format_minutes(at(axis === 'lat' ? deg : 0, axis === 'lon' ? deg : 0));
    const plain = (axis === 'lat' ? written.latitude : written.longitude).replaceAll(/[°′]/g, '');
    expect(plain).toBe(text);
  });
  it('in degrees say the half of the earth', () =>
    expect(format_decimal(at(-41.305591, -14.883332))).toEqual({ latitude: '41.30559° S', longitude: '14.88333° W' }));
  it('of no place is a dash', () => {
    expect(format_decimal(at(NaN, NaN)).latitude).toBe('–');
    expect(format_minutes(at(NaN, NaN)).longitude).toBe('–');
  });
});

describe('typed coordinates', () => {
  it.each([
    ['-41.30559, -14.88333', -41.30559, -14.88333],
    ['-41.30559 -14.88333', -41.30559, -14.88333],
    ['−41.30559;−14.88333', -41.30559, -14.88333],
    ['+41.3,14', 41.3, 14],
    ['41.30559° S 14.88333° W', -41.30559, -14.88333],
    ['41.30559S,14.88333w', -41.30559, -14.88333],
    ['N 41.5 E 14.25', 41.5, 14.25],
    ['14.25 E, 41.5 N', 41.5, 14.25],
    ['41 18.3 S, 14 30 W', -41.305, -14.5],
    ["41°18.3'S 14°30′W", -41.305, -14.5],
    ['S41 18.3 W014 30.0', -41.305, -14.5],
    ['90 N, 180 E', 90, 180],
    ['0 0', 0, 0],
  ])('%s', (typed, latitude_deg, longitude_deg) => {
    const parsed = parse_coordinates(typed);
    expect(parsed).toHaveProperty('point');
    if (!('point' in parsed)) return;
    expect(parsed.point.latitude_deg).toBeCloseTo(latitude_deg, 9);
    expect(parsed.point.longitude_deg).toBeCloseTo(longitude_deg, 9);
  });

  it.each([
    ['', 'for example'],
    ['here', 'type them as'],
    ['41.3', 'type them as'],
    ['41,30559 14,88333', 'Write decimals with a point'],
    ['41 18.335, 14 53.000', 'The latitude is in degrees and minutes: add N or S'],
    ['41 18.3 S, 14 53', 'The longitude is in degrees and minutes: add E or W'],
    ['41°18\'20"S, 14°53\'00"W', 'Seconds are not read'],
    ['41 60 S, 14 53 W', 'The latitude has 60 minutes'],
    ['41.5 18 S, 14 53 W', 'its degrees must be a whole number'],
    ['-41.3 S, 14.8 W', 'a sign and a letter'],
    ['91, 0', 'The latitude is 91°: it must be at most 90'],
    ['0, 180.001', 'The longitude is 180.001°: it must be at most 180'],
    ['89 59.9 N, 180 0.1 E', 'The longitude is 180°: it must be at most 180'],
    ['41.3 N, 14.8 N', 'Both are latitudes'],
    ['41.3 E, 14.8 E', 'Both are longitudes'],
    ['14.8 E, 41.3', 'the latitude needs N or S'],
    ['1e1, 2', 'type them as'],
    ['41.3, 14.8, 3', 'Write decimals with a point'],
    ['.5, 2', 'type them as'],
    ['N41.3S, 2E', 'type them as'],
  ])('"%s" is refused with words that help', (typed, words) => {
    const parsed = parse_coordinates(typed);
    expect('error' in parsed ? parsed.error : `read as ${JSON.stringify(parsed)}`).toContain(words);
  });

  it('read back what is shown and what is copied', () => {
    for (const point of [at(-41.30559, -14.88333), at(0.00001, 179.99999), at(-0.5, 0), at(67.8936, -21.1061)]) {
      for (const written of [format_decimal(point), format_minutes(point)]) {
        const parsed = parse_coordinates(`${written.latitude} ${written.longitude}`);
        expect('point' in parsed && Math.abs(parsed.point.latitude_deg - point.latitude_deg)).toBeLessThan(1e-5);
        expect('point' in parsed && Math.abs(parsed.point.longitude_deg - point.longitude_deg)).toBeLessThan(1e-5);
      }
      const copied = parse_coordinates(plain_coordinates(point));
      expect('point' in copied && copied.point.latitude_deg).toBeCloseTo(point.latitude_deg, 5);
    }
  });

  it('never give a place that does not exist, whatever is typed', () => {
    let seed = 20261;
    const next = (below: number): number => {
      seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0; // Numerical Recipes' generator: repeatable
      return Math.floor((seed / 2 ** 32) * below);
    };
    const letters = '0123456789..,,;; \t°\'′"+-−NSEWnsew abc\u0000\ud83d';
    let read = 0;
    for (let i = 0; i < 50_000; i++) {
      const typed = Array.from({ length: next(24) }, () => letters[next(letters.length)]).join('');
      const parsed = parse_coordinates(typed);
      if ('error' in parsed) {
        expect(parsed.error.length).toBeGreaterThan(10);
        continue;
      }
      read++;
      expect(Math.abs(parsed.point.latitude_deg)).toBeLessThanOrEqual(90);
      expect(Math.abs(parsed.point.longitude_deg)).toBeLessThanOrEqual(180);
    }
    expect(read).toBeGreaterThan(20);
  });
});
