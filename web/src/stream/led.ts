/** Where the one who leads a debrief stands, as the station says it. */
import type { TapeSeconds } from './clocks';
import { flag, number, text, type Json } from './json';

export interface Led {
  recording: string;
  t_s: TapeSeconds;
  playing: boolean;
  rate: number;
  /** Initials. */
  by: string;
}

/** Undefined: nobody leads. */
export function read_led(from: Json | undefined): Led | undefined {
  const recording = from ? text(from, 'recording', 'led', '') : '';
  if (!from || recording === '') return undefined;
  return {
    recording,
    t_s: number(from, 't_s', 'led'),
    playing: flag(from, 'playing', 'led', false),
    rate: number(from, 'rate', 'led', 1),
    by: text(from, 'by', 'led', ''),
  };
}
