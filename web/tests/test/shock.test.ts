/** The shock response spectrum of a firing, on two logarithmic axes. */
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { ask_until, read_shock, spectrum_of } from '../../src/test/shock';

const answer = {
  q: 10,
  shocks: [
    { vehicle: 0, charge: 'drogue', t_s: 50, natural_hz: [4, 20, 100], peak_mps2: [10, 100, 40] },
    { vehicle: 0, charge: 'drogue', t_s: 90, natural_hz: [], peak_mps2: [] },
    { vehicle: 1, charge: 'drogue', t_s: 50, natural_hz: [4, 100], peak_mps2: [1, 2] },
  ],
};

describe('shocks', () => {
  const at = (vehicle: number, charge: string, t_s: number) => read_shock(answer, vehicle, charge, t_s)?.peak_mps2;
  it('are told apart by vehicle, charge and time', () => {
    expect(at(0, 'drogue', 50.001)).toEqual([10, 100, 40]);
    expect(at(1, 'drogue', 50.001)).toEqual([1, 2]);
    expect(at(0, 'main', 50)).toBeUndefined();
    expect(at(0, 'drogue', 60)).toBeUndefined();
  });
  it.each([
    ['no list', { q: 10 }],
    ['lists of two lengths', { q: 10, shocks: [{ ...answer.shocks[0], peak_mps2: [1] }] }],
    ['what is not a number', { q: 10, shocks: [{ ...answer.shocks[0], natural_hz: ['a', 'b', 'c'] }] }],
  ])('with %s are refused', (_, wrong) => expect(() => read_shock(wrong, 0, 'drogue', 50)).toThrow());
});

describe('a spectrum', () => {
  const drawn = spectrum_of(read_shock(answer, 0, 'drogue', 50)!)!;
  it('has its greatest with its frequency, and its damping by name', () =>
    // damping as a fraction of critical is 1 / (2 Q): ISO 18431-4, from memory
    expect([drawn.greatest, drawn.damping]).toEqual([
      '100\u00a0m/s² at 20\u00a0Hz',
      'Q = 10, damping 5\u00a0%, ISO 18431-4',
    ]));
  it('is as far across as the logarithm of the frequency says', () => {
    // 20 Hz lies halfway between 4 Hz and 100 Hz
    expect(drawn.path).toMatch(/^M0 [\d.]+L300 [\d.]+L600 [\d.]+$/);
    expect(drawn.marks.map(({ text }) => text)).toEqual(['5', '10', '20', '50', '100']);
    expect(drawn.marks.find(({ text }) => text === '20')?.part).toBeCloseTo(50, 6);
  });
  it('has its heights by the logarithm, too', () => {
    const part = (text: string) => drawn.ticks.find((tick) => tick.text === text)!.part;
    expect(drawn.ticks.map(({ text }) => text)).toEqual(['10', '20', '50', '100']);
    expect(part('20') - part('10')).toBeCloseTo(part('100') - part('50'), 6);
  });
  it('of too coarse a record is none', () => expect(spectrum_of(read_shock(answer, 0, 'drogue', 90)!)).toBeUndefined());
});

describe('what is asked for until it is there', () => {
  beforeEach(() => void vi.useFakeTimers());
  afterEach(() => void vi.useRealTimers());

  it.each([
    ['nothing found', () => Promise.resolve(undefined)],
    ['no answer', () => Promise.reject(new Error('404'))],
  ])('is asked for less and less often: %s', async (_, answered) => {
    const ask = vi.fn(answered);
    const end = ask_until(ask, () => expect.unreachable());
    await vi.advanceTimersByTimeAsync(10_000);
    expect(ask).toHaveBeenCalledTimes(3); // at 0, 3 and 9 s
    await vi.advanceTimersByTimeAsync(3_600_000);
    expect(ask.mock.calls.length).toBeLessThan(14);
    end();
    ask.mockClear();
    await vi.advanceTimersByTimeAsync(36_000_000);
    expect(ask).not.toHaveBeenCalled();
  });
  it('is taken once, and not after the end', async () => {
    const took = vi.fn();
    const answers = [undefined, [7], [8]];
    ask_until(() => Promise.resolve(answers.shift()), took);
    await vi.advanceTimersByTimeAsync(60_000);
    expect(took.mock.calls).toEqual([[[7]]]);
    ask_until(() => Promise.resolve([9]), took)();
    await vi.advanceTimersByTimeAsync(60_000);
    expect(took).toHaveBeenCalledTimes(1);
  });
});
