/**
 * What people wrote down before a test or a flight (protocol/STREAM.md, section 1): a vehicle's procedures and its readiness
 * board. Apart from the rest of the description, since few views read it.
 */
import type { Vehicle } from './description';
import { array, fail, flag, number, object, one_of, text, type Json } from './json';

/** A must-check that does not hold stands in the way; a should-check is only said. */
export type Severity = 'must' | 'should';
export type StepKind = 'instruct' | 'wait_for' | 'check' | 'hold' | 'countdown';

export interface Check {
  id: string;
  title: string;
  /** Why it matters. */
  why: string;
  severity: Severity;
  /** "≤ 30 ms": what is asked for, in words. */
  required: string;
  /** A person says whether it holds. */
  statement: boolean;
  /** Name of the value that a person reads from an instrument; empty: none. */
  entered: string;
  /** What it is to be at least and at most, in the unit of the check's column; NaN: it has no such limit. */
  least: number;
  most: number;
  /** Margin that counts as all the room there is, in the unit of the check's column; NaN: not known. */
  room: number;
  /** The column that it looks at; empty when it looks at none. `vehicle` empty: this one. */
  vehicle: string;
  table: string;
  column: string;
}

export interface Step {
  id: string;
  kind: StepKind;
  title: string;
  text: string;
  /** What must be read before the step; empty: it is not hazardous. */
  caution: string;
  /** Ids of checks that decide it. */
  checks: readonly string[];
}

export interface Procedure {
  id: string;
  title: string;
  steps: readonly Step[];
  checks: readonly Check[];
}

export interface CheckGroup {
  title: string;
  checks: readonly Check[];
}

export interface Position {
  id: string;
  title: string;
}

export interface Readiness {
  groups: readonly CheckGroup[];
  positions: readonly Position[];
}

export interface Ground {
  procedures: readonly Procedure[];
  /** Undefined: the vehicle has no board. */
  readiness: Readiness | undefined;
}

type Read<T> = (from: Json, path: string) => T;

function list<T>(from: Json, name: string, path: string, read: Read<T>): T[] {
  return array(from[name] ?? [], `${path}/${name}`).map((entry, i) => {
    const at = `${path}/${name}/${i}`;
    return read(object(entry, at), at);
  });
}

const read_check: Read<Check> = (from, path) => {
  const id = text(from, 'id', path);
  const value = from['value'] === undefined || from['value'] === null ? {} : object(from['value'], `${path}/value`);
  return {
    id,
    title: text(from, 'title', path, id),
    why: text(from, 'why', path, ''),
    severity: one_of(from, 'severity', path, ['must', 'should'] as const),
    required: text(from, 'required', path, ''),
    statement: flag(from, 'statement', path, false),
    entered: text(from, 'entered', path, ''),
    least: number(from, 'least', path, NaN),
    most: number(from, 'most', path, NaN),
    room: number(from, 'room', path, NaN),
    vehicle: text(value, 'vehicle', `${path}/value`, ''),
    table: text(value, 'table', `${path}/value`, ''),
    column: text(value, 'column', `${path}/value`, ''),
  };
};

const read_step: Read<Step> = (from, path) => {
  const id = text(from, 'id', path);
  return {
    id,
    kind: one_of(from, 'kind', path, ['instruct', 'wait_for', 'check', 'hold', 'countdown'] as const),
    title: text(from, 'title', path, id),
    text: text(from, 'text', path, ''),
    caution: text(from, 'caution', path, ''),
    checks: array(from['checks'] ?? [], `${path}/checks`).map((check, i) =>
      typeof check === 'string' ? check : fail(`${path}/checks/${i}`, 'the id of a check', check),
    ),
  };
};

const read_procedure: Read<Procedure> = (from, path) => {
  const id = text(from, 'id', path);
  return {
    id,
    title: text(from, 'title', path, id),
    steps: list(from, 'steps', path, read_step),
    checks: list(from, 'checks', path, read_check),
  };
};

const read_group: Read<CheckGroup> = (from, path) => ({
  title: text(from, 'title', path, ''),
  checks: list(from, 'checks', path, read_check),
});

const read_position: Read<Position> = (from, path) => {
  const id = text(from, 'id', path);
  return { id, title: text(from, 'title', path, id) };
};

export function read_ground(from: Json, path: string): Ground {
  const board = from['readiness'] ?? undefined;
  const at = `${path}/readiness`;
  return {
    procedures: list(from, 'procedures', path, read_procedure),
    readiness:
      board === undefined
        ? undefined
        : {
            groups: list(object(board, at), 'groups', at, read_group),
            positions: list(object(board, at), 'positions', at, read_position),
          },
  };
}

const read = new WeakMap<Vehicle, Ground>();

/** Read once a vehicle. Throws MessageError, naming the member that is wrong. */
export function ground_of(vehicle: Vehicle): Ground {
  const known = read.get(vehicle);
  if (known) return known;
  const ground = read_ground(vehicle.more, `vehicles/${vehicle.name}`);
  read.set(vehicle, ground);
  return ground;
}
