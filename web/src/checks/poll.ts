/** The poll at the cursor: what each position answered, when, and what it was asked. */
import type { TapeSeconds } from '../stream/clocks';
import type { Position } from '../stream/ground';
import type { Tape } from '../tape/tape';
import { newest_event, text_in } from './rows';

export type Answer = 'not_asked' | 'asked' | 'go' | 'no_go';

export interface PollRow {
  position: Position;
  answer: Answer;
  /** When it answered or was asked; NaN before. */
  t_s: TapeSeconds;
  by: string;
  note: string;
}

export function poll_at(tape: Tape, vehicle: number, positions: readonly Position[]): PollRow[] {
  return positions.map((position): PollRow => {
    const about = { position: position.id };
    const asked = newest_event(tape, vehicle, 'poll_asked', about);
    const answered = newest_event(tape, vehicle, 'poll_answered', about, asked?.t_s);
    if (!answered) return { position, answer: asked ? 'asked' : 'not_asked', t_s: asked?.t_s ?? NaN, by: '', note: '' };
    return {
      position,
      answer: answered.data['go'] === true ? 'go' : 'no_go',
      t_s: answered.t_s,
      by: text_in(answered, 'by'),
      note: text_in(answered, 'note'),
    };
  });
}
