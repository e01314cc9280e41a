/** What is called out as the cursor moves over a flight. */
import { describe, expect, it } from 'vitest';
import { CallOuts, type Wanted } from '../../src/callouts/select';
import { aloud } from '../../src/callouts/wording';
import type { TapeEvent } from '../../src/stream/messages';
import { kCallOutKinds } from '../../src/text/callouts';
import { Tape } from '../../src/tape/tape';
import { column, description, event, pair, table, words } from '../support/builders';

const about = description([
  table('v/estimate/vertical', 'estimate', [...pair('altitude_m'), ...pair('vertical_speed_mps', 'm/s')]),
  table('v/baro', 'packet', [column('p', 'Pa', { role: 'static_pressure' })]),
  table('v/estimate/derived', 'estimate', [column('altitude_max_m', 'm')]),
  table('v/estimate/navigation', 'estimate', [
    words('mode', 'Mode', 'GNSS-aided'),
    ...pair('east_m'),
    ...pair('north_m'),
  ]),
]);
const all: Wanted = { kinds: new Set(kCallOutKinds), every: 100, units: 'metric' };

interface Moment {
  t_s: number;
  up_m?: number;
  speed_mps?: number;
}

/** Says what is called out at each moment of a replay, with these events on the tape. */
function heard(events: readonly TapeEvent[], moments: readonly Moment[], wanted: Wanted = all): string[] {
  const tape = new Tape(about, 'replay', []);
  for (const one of events) tape.log.add(one);
  const callouts = new CallOuts();
  return moments.map(({ t_s, up_m = 0, speed_mps = 0 }) => {
    tape.set_replay(t_s, false, 1, 1000);
    tape.take_at_cursor([
      { table: 0, t_s, values: Float64Array.of(up_m, 1, speed_mps, 1) },
      { table: 1, t_s, values: Float64Array.of(9e4) },
      { table: 2, t_s, values: Float64Array.of(1107.4) },
      { table: 3, t_s, values: Float64Array.of(0, 102.5, 1, -50, 1) },
    ]);
    return callouts
      .look(tape, 0, wanted)
      .map((one) => one.text)
      .join(' ');
  });
}

const liftoff = event(1, 10, 'flight_event', 'liftoff');
const at = (...times: number[]): Moment[] => times.map((t_s) => ({ t_s }));

describe('call-outs', () => {
  it('say each event once, when it is found', () => {
    const burnout = event(2, 12, 'flight_event', 'burnout', { t_found_s: 12.4 });
    expect(heard([liftoff, burnout], at(9.9, 10.1, 10.2, 12.1, 12.5, 12.6))).toEqual([
      '',
      'Liftoff.',
      '',
      '',
      'Burnout.',
      '',
    ]);
  });
  it('say nothing of what lies behind when the page comes or the cursor jumps', () => {
    const apogee = event(2, 25, 'flight_event', 'apogee');
    expect(heard([liftoff, apogee], at(11, 11.1, 30, 30.1, 24.9, 25.1))).toEqual([
      '',
      '',
      '',
      '',
      '',
      'Apogee, 1107 metres.',
    ]);
  });
  it('come after a pause of the page as long as they are fresh', () => {
    const burnout = event(2, 17, 'flight_event', 'burnout');
    expect(heard([liftoff, burnout], at(9.9, 17.5))).toEqual(['', 'Burnout.']);
  });
  it('name altitudes passed on the way up and down', () => {
    const moments = [
      { t_s: 10.5, up_m: 20 },
      { t_s: 11, up_m: 90 },
      { t_s: 11.5, up_m: 130 },
      { t_s: 12, up_m: 310 },
      { t_s: 12.5, up_m: 302 },
      { t_s: 13, up_m: 290 },
    ];
    expect(heard([liftoff], moments)).toEqual(['', '', '100 metres.', '300 metres.', '', '300 metres.']);
    expect(heard([liftoff], moments, { ...all, units: 'feet', every: 500 }).filter((text) => text !== '')).toEqual([
      '1000 feet.',
      '1000 feet.',
    ]);
    expect(heard([liftoff], moments, { ...all, every: 0 }).join('')).toBe('');
  });
  it('say the fall rate once a parachute has had time to fill', () => {
    const drogue = event(3, 30, 'flight_event', 'drogue_out');
    const fall = { up_m: 850, speed_mps: -24.2 };
    const moments = [29.5, 30.2, 31.5, 33, 33.5, 34].map((t_s) => ({ t_s, ...fall }));
    expect(heard([liftoff, drogue], moments)).toEqual(['', 'Drogue out.', '', '', 'Falling 24 metres a second.', '']);
  });
  it('say where it came down, its bearing digit by digit', () => {
    const down = event(4, 90, 'flight_event', 'touchdown');
    expect(heard([liftoff, down], at(89.5, 90.5))[1]).toBe('Touchdown, 114 metres from the pad, bearing 1 1 6.');
  });
  it('say a warning as the band does, and not one that is acknowledged or put aside', () => {
    const warning = event(5, 20, 'alert_raised', 'no_parachute', { level: 'warning', text: 'No parachute seen' });
    const sentence = event(6, 20, 'sentence', 'sentence', {
      level: 'warning',
      text: 'No parachute seen. 550 m, falling 93 m/s, impact in 5 s, 340 m at 243°. Heads up.',
    });
    expect(heard([liftoff, warning, sentence], at(19.5, 20.2, 20.4))).toEqual([
      '',
      'Warning. No parachute seen. 550 metres, falling 93 metres a second, impact in 5 seconds, 340 metres at 2 4 3 degrees. Heads up.',
      '',
    ]);
    const known = event(7, 20, 'alert_acknowledged', 'no_parachute');
    expect(heard([liftoff, warning, known], at(19.5, 20.2)).join('')).toBe('');
  });
  it('say a caution, and no advisory', () => {
    const caution = event(5, 20, 'alert_raised', 'a', { level: 'caution', text: 'Drogue late by 3 s' });
    const advisory = event(6, 20, 'alert_raised', 'b', { level: 'advisory', text: 'Wind unknown' });
    expect(heard([liftoff, caution, advisory], at(19.5, 20.2))[1]).toBe('Caution. Drogue late by 3 seconds.');
  });
  it('say a caution as briefly as the band that it leads', () => {
    const text = 'Link radio: lost: /dev/ttyUSB0 was unplugged';
    const lost = event(5, 20, 'alert_raised', 'link_down', { level: 'caution', text, key: 'link/radio/down' });
    const data = { alert: 'link/radio/down', alert_text: 'Link radio: lost' };
    const said = { level: 'caution', text: 'Link radio: lost. Coasting.', data } as const;
    const sentence = event(6, 20, 'sentence', 'sentence', said);
    expect(heard([liftoff, lost, sentence], at(19.5, 20.2))[1]).toBe('Caution. Link radio: lost.');
  });
  it('say only what this device wants', () => {
    expect(heard([liftoff], at(9.9, 10.1), { ...all, kinds: new Set(['apogee'] as const) }).join('')).toBe('');
  });
});

it.each([
  ['959 m AGL, climbing 154 m/s', 'metric', '959 metres above ground, climbing 154 metres a second'],
  ['3146 ft, falling 54 mph', 'feet', '3146 feet, falling 54 miles an hour'],
  ['at 007°', 'metric', 'at 0 0 7 degrees'],
] as const)('reads %s aloud', (text, units, words_aloud) => expect(aloud(text, units)).toBe(words_aloud));
