/** Units as typeset. */
import { describe, expect, it } from 'vitest';
import { shown_decimals, shown_unit, shown_value, spoken_unit } from '../../src/text/units';

describe('units', () => {
  // SI Brochure, 9th edition, 5.4.1 and table 8; UCUM 2.1 for the spelling on the left.
  it.each([
    ['m/s2', 'm/s²'],
    ['rad/s', '°/s'],
    ['K', '°C'],
    ['deg', '°'],
    ['1', ''],
    ['kg.m2', 'kg·m²'],
    ['Pa', 'hPa'],
    ['m/s', 'm/s'],
    ['dB{mW}', 'dBm'],
    ['{rev}/min', 'rev/min'],
    ['deg/s', '°/s'],
  ])('%s is shown as %s', (unit, symbol) => expect(shown_unit(unit).symbol).toBe(symbol));
  it('shows kelvin as degrees Celsius and pascal as hectopascal, with their digits', () => {
    expect(shown_value('K', 273.15)).toBeCloseTo(0, 12);
    expect(shown_value('Pa', 101325)).toBeCloseTo(1013.25, 9);
    expect(shown_decimals('Pa', 0)).toBe(2);
    expect(shown_decimals('m', 1)).toBe(1);
  });
  it('shows every turn rate in degrees per second', () => {
    // 180° are pi radians: SI Brochure, 9th edition, table 8.
    expect(shown_value('rad/s', Math.PI)).toBeCloseTo(180, 12);
    expect(shown_decimals('rad/s', 3)).toBe(1);
    expect(spoken_unit('rad/s')).toBe('degrees per second');
  });
});
