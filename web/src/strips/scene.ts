/** All that is drawn of a strip at a moment. */
import type { Kept, Layer } from '../draw/strip/kept';
import type { StripScene } from '../draw/strip/strip';
import type { Window } from '../draw/strip/window';
import { estimate_refs } from '../tape/estimates';
import type { FuturePoint } from '../tape/flight/future';
import type { History } from '../tape/history';
import { outlook } from '../tape/flight/outlook';
import type { Strip } from '../tape/strips';
import type { Tape } from '../tape/tape';
import { zero_of } from '../tape/zero';

/** The future is drawn from now on, so only while the cursor rides with the head or a replay's data end there. */
function future_of(tape: Tape, vehicle: number, strip: Strip): readonly FuturePoint[] {
  const first = strip.series[0];
  if (!first || !tape.following) return [];
  const is = (name: 'altitude_m' | 'vertical_speed_mps'): boolean => {
    const [ref] = estimate_refs(tape.description, vehicle, 'vertical', [name]);
    return ref?.table.id === first.table && ref.column === first.column;
  };
  if (is('altitude_m')) return outlook(tape, vehicle).altitude;
  return is('vertical_speed_mps') ? outlook(tape, vehicle).speed : [];
}

export function scene_of(
  tape: Tape,
  history: History,
  vehicle: number,
  strip: Strip,
  window: Window,
  named: boolean,
  kept: Kept,
  layer?: Layer,
): StripScene {
  return {
    tape,
    history,
    strip,
    window,
    named,
    kept,
    layer,
    phases: tape.log.phases(vehicle),
    zero_s: zero_of(tape, vehicle).t_s,
    future: future_of(tape, vehicle, strip),
  };
}
