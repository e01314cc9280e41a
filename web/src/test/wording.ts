/** Words of the ground test. */
import type { Run, StepRow } from '../checks/run';
import { state_words, tightest, type CheckRow, type Tally } from '../checks/rows';
import { tally_words } from '../checks/wording';
import type { Level } from '../stream/messages';
import type { Said } from '../station/said';
import { lower } from '../text/title';

export const kTestWords = {
  steps: 'Steps',
  none: 'No procedures: put them into the folder procedures of the vehicle’s folder.',
  choose: 'Procedure',
  begin: 'Begin',
  end: 'End the test',
  end_sure: 'End the test now? Steps that are not done stay so.',
  end_now: 'End now',
  more: 'More',
  waive: 'Waive',
  waive_why: 'A step is waived with a reason: write it in the note.',
  repeat: 'Repeat',
  repeat_which: 'Step to repeat',
  note: 'Note',
  caution: 'Caution',
  waived: 'waived',
  check: 'Check',
  measured: 'Measured',
  margin: 'Margin to the limit',
  should: 'should',
  answer: 'Answer',
  enter: 'Enter',
  how_to_read:
    'Thick line: how much of the room to the limit is left; the bar at its left end is the limit. Limits from the procedure, written before the test.',
  report: 'Print report',
  earlier: 'Earlier tests',
  spread: 'Mean, spread',
  difference: 'This − earlier',
  picture: 'Charge picture',
  edges: 'Edges found',
  spectrum: 'Shock response spectrum, m/s² over natural frequency',
  no_spectrum: 'None: the acceleration is too coarse around the firing, or has a hole.',
  no_firing: 'No firing found yet.',
  no_edges: 'none yet',
  loading: 'Loading the milliseconds around it.',
} as const;

/** "Tethered separation test 3". */
export const run_title = ({ procedure, number }: Run): string =>
  Number.isNaN(number) ? procedure.title : `${procedure.title} ${number}`;

export const done_words = ({ number }: StepRow): string => `Step ${number} done`;

/** What a step waits for that nobody can do by hand; empty for any other. */
export function by_itself({ step }: StepRow): string {
  if (step.kind === 'wait_for') return 'Done by itself once its checks hold.';
  return step.kind === 'countdown' ? 'Done by itself at T-0 of the countdown.' : '';
}

export const held_words = ({ reasons }: StepRow): string => `Hold: ${reasons.join('; ')}.`;

/** Steps that people waived: they stand beside every verdict. */
function waived_words(run: Run): string {
  const waived = run.steps.filter((row) => row.state === 'waived').map((row) => row.step.title);
  return waived.length === 0 ? '' : `, waived: ${waived.join('; ')}`;
}

export const verdict_words = (tally: Tally, run: Run): string => `Verdict: ${tally_words(tally)}${waived_words(run)}`;

/** The state of a test in one sentence, for the band and for who cannot see the page. */
export function test_says(
  run: Run | undefined,
  step: StepRow | undefined,
  rows: readonly CheckRow[],
  tally: Tally,
): Said {
  if (!run) return { text: 'No test is under way.', level: 'note', form: 'no_test' };
  const name = `${run_title(run)}.`;
  const failing = tally.in_the_way.filter((row) => row.state === 'fails');
  const ended = Number.isFinite(run.ended_s);
  const where = ended
    ? `Ended${waived_words(run)}.`
    : step
      ? `Step ${step.number} of ${run.steps.length}: ${step.step.title}.`
      : 'Every step is done.';
  if (failing.length > 0)
    return {
      text: [
        name,
        `${list_words(failing.map((row) => row.check.title))} ${failing.length === 1 ? 'fails' : 'fail'}.`,
        where,
      ].join(' '),
      level: 'caution',
      form: `test fails ${failing.map((row) => row.check.id).join(' ')}`,
    };
  const level: Level = 'note';
  const least = tightest(rows);
  if (tally.hold > 0 && (ended || tally.wait === 0)) {
    const room = least ? ` Least margin: ${lower(least.check.title)}, ${least.margin}.` : '';
    return {
      text: `${name} ${tally_words(tally)}${waived_words(run)}.${room}`,
      level,
      form: `test ${ended ? 'ended' : 'holds'} ${tally.hold}`,
    };
  }
  return { text: `${name} ${where}`, level, form: `test step ${step?.step.id ?? ''}` };
}

/** "fails by 3.2 ms". */
export const fails_words = (row: CheckRow): string =>
  row.state === 'fails' && row.margin !== '' ? `${state_words(row)} by ${row.margin}` : state_words(row);

/** "lid off, shock and battery". */
export function list_words(titles: readonly string[]): string {
  const all = titles.map((title, i) => (i === 0 ? title : lower(title)));
  return all.length < 2 ? (all[0] ?? '') : `${all.slice(0, -1).join(', ')} and ${all.at(-1) ?? ''}`;
}
