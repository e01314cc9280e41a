/** What a walker is told: rounded to what is known, and nothing that is not. */
import { describe, expect, it } from 'vitest';
import { place_at } from '../../src/places/geodesic';
import { format_direction, format_distance, toward_words, walk_to } from '../../src/recover/walk';

const pad = { latitude_deg: -21.3846, longitude_deg: 23.1752 };
const from = (sigma_m: number) => ({ ...pad, sigma_m });
const away = (distance_m: number, bearing_deg: number) => place_at(pad, { distance_m, bearing_deg });

describe('a walk', () => {
  it('to a found place is said to 1 m and 1°, magnetic by the declination', () => {
    const walk = walk_to(from(0), away(331.6, 52.8), 1, -9.6);
    expect(walk.distance).toEqual({ text: '332', unit: 'm' });
    expect([walk.true_text, walk.magnetic_text, walk.toward]).toEqual(['053°', '062°', 'north-east']);
    expect(walk.near).toBe(false);
  });
  it('between places less well known is rounded further', () => {
    const walk = walk_to(from(9), away(331.6, 52.8), 8, 12);
    expect(walk.distance).toEqual({ text: '330', unit: 'm' });
    expect([walk.true_text, walk.magnetic_text]).toEqual(['053°', '041°']);
    expect(walk_to(from(30), away(331.6, 52.8), 30, 12).magnetic_text).toBe('040°');
  });
  it('inside what is not known has no direction', () => {
    const walk = walk_to(from(5), away(9, 200), 4, 0);
    expect(walk.near).toBe(true);
    expect([walk.true_text, walk.magnetic_text, walk.toward]).toEqual(['', '', '']);
  });
  it('from a sender that gives no accuracy is near within common GNSS errors', () => {
    expect(walk_to(from(0), away(15, 200), NaN, 0).near).toBe(true);
    expect(walk_to(from(0), away(25, 200), NaN, 0).near).toBe(false);
  });
  it('without a declination has no magnetic bearing', () => {
    const walk = walk_to(from(0), away(500, 90), 1, NaN);
    expect([walk.true_text, walk.magnetic_text]).toEqual(['090°', '']);
  });
  it('to nowhere gives no walk', () => {
    const walk = walk_to(from(0), { latitude_deg: NaN, longitude_deg: NaN }, 1, 0);
    expect([walk.distance.text, walk.true_text, walk.near]).toEqual(['–', '', false]);
  });
});

describe('figures', () => {
  it.each([
    [331.6, 0, '332', 'm'],
    [331.6, 3, '332', 'm'],
    [331.6, 6, '330', 'm'],
    [331.6, 60, '350', 'm'],
    [9999.4, 0, '9999', 'm'],
    [9999.6, 0, '10.0', 'km'],
    [12_345, 4, '12.3', 'km'],
    [0.2, 0, '0', 'm'],
    [NaN, 1, '–', ''],
  ])('%d m ± %d m is "%s %s"', (distance_m, sigma_m, text, unit) =>
    expect(format_distance(distance_m, sigma_m)).toEqual({ text, unit }),
  );
  it.each([
    [359.7, 0.5, '000°'],
    [358, 5, '000°'],
    [43, 4.9, '043°'],
    [43, 5, '045°'],
    [43, 40, '040°'],
  ])('%d° ± %d° is %s', (deg, sigma_deg, text) => expect(format_direction(deg, sigma_deg)).toBe(text));
  it.each([
    [0, 'north'],
    [22.6, 'north-east'],
    [337.6, 'north'],
    [202.4, 'south'],
    [NaN, ''],
  ])('%d° is "%s"', (deg, words) => expect(toward_words(deg)).toBe(words));
});
