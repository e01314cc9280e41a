/** Who follows a led debrief, and how they let go. */
import { beforeEach, describe, expect, it, vi } from 'vitest';

const station = vi.hoisted(() => ({
  role: 'viewer',
  led: undefined as unknown,
  moves: 0,
  connection: { state: 'open' },
  tape: { live: false, cursor_s: 10, playing: false, rate: 1, description: { recording: { id: 'r' } } },
  request({ type, rate, t_s = 0 }: { type: string; rate?: number; t_s?: number }) {
    if (type === 'seek') this.tape.cursor_s = t_s;
    if (type === 'play') Object.assign(this.tape, { playing: true, rate });
    if (type === 'pause') this.tape.playing = false;
  },
  seek(t_s: number) {
    this.moves++;
    this.tape.cursor_s = t_s;
  },
  toggle_play() {
    this.moves++;
    this.tape.playing = !this.tape.playing;
  },
}));
vi.mock('../../src/station/station.svelte', () => ({ station }));
vi.mock('../../src/station/flight_addresses', () => ({ flight_address: () => '' }));
const { debrief } = await import('../../src/flights/replay/led.svelte');

const leader = (t_s: number, playing: boolean, rate = 1): void => {
  station.led = { recording: 'r', t_s, playing, rate, by: 'AB' };
};
/** Time passes, and the tape plays on. */
const after = (ms: number): void => {
  vi.advanceTimersByTime(ms);
  if (station.tape.playing) station.tape.cursor_s += (station.tape.rate * ms) / 1000;
  debrief.tick();
};

beforeEach(() => {
  vi.useFakeTimers({ toFake: ['performance', 'Date'] });
  debrief.let_go();
  Object.assign(station.tape, { cursor_s: 10, playing: false, rate: 1 });
});

describe('who follows a leader that plays', () => {
  beforeEach(() => {
    leader(50, true, 2);
    debrief.follow();
    for (let i = 0; i < 4; i++) after(600);
  });
  it('plays along', () => {
    expect([debrief.following, station.tape.playing, station.tape.rate]).toEqual([true, true, 2]);
    expect(Math.abs(station.tape.cursor_s - 54.8)).toBeLessThan(1.4);
  });
  it('lets go by moving the tape', () => {
    station.seek(20);
    after(600);
    expect([debrief.following, Math.round(station.tape.cursor_s)]).toEqual([false, 21]);
  });
  it('lets go by a pause that meets the leader’s next word', () => {
    station.toggle_play();
    leader(54.8, true, 2);
    after(600);
    expect([debrief.following, station.tape.playing]).toEqual([false, false]);
  });
  it('comes back', () => {
    station.seek(20);
    after(600);
    debrief.follow();
    after(600);
    expect(debrief.following).toBe(true);
    expect(Math.abs(station.tape.cursor_s - 56)).toBeLessThan(1.4);
  });
  it('goes where the leader jumps', () => {
    leader(5, false, 2);
    for (let i = 0; i < 3; i++) after(600);
    expect([debrief.following, station.tape.playing, station.tape.cursor_s]).toEqual([true, false, 5]);
  });
});
