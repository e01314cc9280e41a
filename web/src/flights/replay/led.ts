/** What a follower does next. Pure. */
import type { TapeSeconds } from '../../stream/clocks';
import type { Led } from '../../stream/led';

export interface Stand {
  cursor_s: TapeSeconds;
  playing: boolean;
  rate: number;
}

export type Step = { type: 'play'; rate: number } | { type: 'pause' } | { type: 'seek'; t_s: TapeSeconds };

const kNear_s = 0.02; // of cursors that stand
const kNearPlaying_s = 0.7; // of cursors that move: what a path through a phone's network takes

/** Told apart to the hundredth of a second: finer is not seen. A cursor that plays goes on by itself. */
export const say_words = ({ cursor_s, playing, rate }: Stand): string =>
  `${playing ? 'plays' : cursor_s.toFixed(2)} ${rate}`;

/** `since_s`: since the leader's word came. What to ask the station for; undefined: nothing. */
export function next_step(led: Led, since_s: number, own: Stand): Step | undefined {
  if (led.playing ? !own.playing || led.rate !== own.rate : own.playing)
    return led.playing ? { type: 'play', rate: led.rate } : { type: 'pause' };
  const there_s = led.playing ? led.t_s + led.rate * since_s : led.t_s;
  const near_s = led.playing ? kNearPlaying_s * Math.max(1, led.rate) : kNear_s;
  return Math.abs(own.cursor_s - there_s) > near_s ? { type: 'seek', t_s: there_s } : undefined;
}
