/** A procedure as it stands at the cursor: who has done which step when, from the events since it was begun. */
import type { TapeSeconds } from '../stream/clocks';
import type { Procedure, Step } from '../stream/ground';
import type { TapeEvent } from '../stream/messages';
import type { Tape } from '../tape/tape';
import { text_in, texts_in } from './rows';

export type StepState = 'ahead' | 'under_way' | 'done' | 'waived';

export interface StepRow {
  step: Step;
  /** Counted from 1. */
  number: number;
  state: StepState;
  /** When it was done or waived; NaN otherwise. */
  t_s: TapeSeconds;
  by: string;
  note: string;
  /** Why a hold was not let go, as it was tried last; empty: it was not tried, or holds no longer. */
  reasons: readonly string[];
}

export interface Run {
  procedure: Procedure;
  /** Which run of this procedure in the vehicle's recordings; NaN: not known. */
  number: number;
  begun_s: TapeSeconds;
  /** NaN while it goes on. */
  ended_s: TapeSeconds;
  /** How it ended, in the station's words. */
  verdict: string;
  by: string;
  steps: readonly StepRow[];
}

/** A procedure nobody has begun: every step ahead. */
export const not_begun = (procedure: Procedure): Run => ({
  procedure,
  number: NaN,
  begun_s: NaN,
  ended_s: NaN,
  verdict: '',
  by: '',
  steps: steps_of(procedure, [], false),
});

/** The newest run at the cursor, under way or ended. */
export function run_at(tape: Tape, vehicle: number, procedures: readonly Procedure[]): Run | undefined {
  const past = tape.log.events.filter(
    (event) => event.t_s <= tape.cursor_s && (event.vehicle < 0 || event.vehicle === vehicle),
  );
  const begun = past.findLast((event) => event.event === 'procedure_begun');
  const procedure = procedures.find((one) => one.id === text_in(begun, 'procedure'));
  if (!begun || !procedure) return undefined;
  const since = past.slice(past.indexOf(begun) + 1);
  const ended = since.find((event) => event.event === 'procedure_ended');
  const { run } = begun.data;
  return {
    procedure,
    number: typeof run === 'number' ? run : NaN,
    begun_s: begun.t_s,
    ended_s: ended?.t_s ?? NaN,
    verdict: text_in(ended, 'verdict'),
    by: text_in(begun, 'by'),
    steps: steps_of(procedure, since, ended === undefined),
  };
}

const kStepWords: ReadonlySet<string> = new Set(['step_done', 'step_waived', 'step_repeated', 'step_held']);

/** The first step that is neither done nor waived is under way. */
function steps_of(procedure: Procedure, since: readonly TapeEvent[], goes_on: boolean): StepRow[] {
  const rows = procedure.steps.map((step, i): StepRow => {
    const row = { step, number: i + 1, t_s: NaN, by: '', note: '', reasons: [] };
    const last = since.findLast((event) => kStepWords.has(event.event) && event.data['step'] === step.id);
    if (last?.event === 'step_held') return { ...row, state: 'ahead', reasons: texts_in(last, 'reasons') };
    if (!last || last.event === 'step_repeated') return { ...row, state: 'ahead' };
    const state = last.event === 'step_done' ? 'done' : 'waived';
    return { ...row, state, t_s: last.t_s, by: text_in(last, 'by'), note: text_in(last, 'note') };
  });
  const next = goes_on ? rows.find((row) => row.state === 'ahead') : undefined;
  if (next) next.state = 'under_way';
  return rows;
}

export const under_way = (run: Run): StepRow | undefined => run.steps.find((row) => row.state === 'under_way');
