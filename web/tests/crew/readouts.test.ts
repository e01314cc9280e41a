/** What the large readouts say, each from known rows and events. */
import { describe, expect, it } from 'vitest';
import { select_readouts, type Readout, type ReadoutName } from '../../src/crew/readouts/readouts';
import type { TapeEvent } from '../../src/stream/messages';
import { kModeWords } from '../../src/tape/estimates';
import { column, description, missing, pair, phase, replay_at, table, words, type Rows } from '../support/builders';

/** Rows are taken at 50 s: 0.5 s old, which is stale for none of these tables. */
const kTables = [
  table('v/nav', 'packet', [column('up', 'm', { role: 'onboard_altitude' })]),
  table('v/health', 'packet', [column('volts', 'V', { role: 'battery_voltage', range: [6.6, 8.6] })]),
  table('v/estimate/vertical', 'estimate', [...pair('altitude_m'), ...pair('vertical_speed_mps', 'm/s')]),
  table('v/estimate/navigation', 'estimate', [
    words('mode', 'Navigation mode', 'aligning', kModeWords.dead_reckoning, kModeWords.aided),
    ...pair('up_m'),
    ...pair('velocity_up_mps', 'm/s'),
  ]),
  table('v/estimate/phase', 'estimate', [words('phase', 'Phase', 'on the rail', 'under thrust')]),
  table('link/radio', 'link', [column('age_s', 's'), column('loss_10s', '1')], { period_s: 0.1 }),
];
const kLinks = [{ name: 'radio', uri: '', vehicle: 0 }];
const kRoles = new Map([['battery_voltage', 'battery voltage']]);

function readout(name: ReadoutName, rows: Rows, events: TapeEvent[] = [], without = ''): Readout {
  const tables = kTables.filter((one) => without === '' || one.name !== without);
  const tape = replay_at(50.5, description(tables, { links: kLinks }), rows, events, kRoles);
  const found = select_readouts(tape, 0).find((one) => one.name === name);
  if (!found) throw new Error(`no readout ${name}`);
  return found;
}

describe('the altitude', () => {
  it("is the ground's estimate with its 1-sigma and age", () => {
    const rows = { 'v/estimate/vertical': { altitude_m: 120.25, altitude_m_sigma: 1.5 }, 'v/nav': { up: 118 } };
    expect(readout('altitude', rows)).toMatchObject({
      title: 'Altitude AGL',
      value: '120.3',
      unit: 'm',
      sigma: '±\u202f1.5',
      source: 'vertical filter',
      age: '0.5 s old',
      stale: false,
      number: 120.25,
    });
  });
  it.each([
    ['navigation while fixes aid it', 2, { value: '123.0', sigma: '±\u202f0.40', source: 'navigation' }],
    ['the filter otherwise', 1, { value: '120.0', source: 'vertical filter' }],
  ])('comes from %s', (_, mode, want) => {
    const rows = {
      'v/estimate/navigation': { mode, up_m: 123, up_m_sigma: 0.4 },
      'v/estimate/vertical': { altitude_m: 120, altitude_m_sigma: 18 },
    };
    expect(readout('altitude', rows)).toMatchObject(want);
  });
  it("is the vehicle's own when the ground has none", () =>
    expect(readout('altitude', { 'v/nav': { up: 118 } })).toMatchObject({ value: '118.0', source: 'on board' }));
  it('says what is missing when there is neither', () => {
    const sentence = 'No vertical estimate: needs static pressure';
    expect(readout('altitude', {}, [missing(1, 'vertical', sentence)])).toMatchObject({ value: '', missing: sentence });
    expect(readout('altitude', {}).missing).toBe('No value yet');
  });
});

describe('the phase', () => {
  const row = { 'v/estimate/phase': { phase: 0 } };
  it('is the word of its value', () => expect(readout('phase', row).value).toBe('On the rail'));
  it('is back-dated by its event', () => {
    const began = phase(1, 48.5, 'under thrust');
    expect(readout('phase', row, [began])).toMatchObject({ value: 'Under thrust', sigma: 'for 2.0 s' });
  });
});

describe('the battery', () => {
  it.each([
    [6.5, 'below range'],
    [7.4, ''],
    [9, 'above range'],
  ])('of %d V is "%s"', (volts, text) => expect(readout('battery', { 'v/health': { volts } }).out_of_range).toBe(text));
  it('needs a channel', () => expect(readout('battery', {}, [], 'v/health').missing).toBe('Needs battery voltage'));
});

describe('the link', () => {
  const rows = { 'link/radio': { age_s: 0.04, loss_10s: 0.047 } };
  it('says how long ago the last packet was, and its loss in percent', () => {
    expect(readout('last_packet', rows)).toMatchObject({ value: '0.0', unit: 's', age: 'ago' });
    expect(readout('packet_loss', rows)).toMatchObject({ title: 'Packet loss', value: '4.7', unit: '%' });
  });
  it('says an old last packet in minutes, and that there is no loss to tell without packets', () => {
    const silent = { 'link/radio': { age_s: 228.1 } };
    expect(readout('last_packet', silent)).toMatchObject({ value: '3', unit: 'min', spoken_unit: 'minutes' });
    expect(readout('packet_loss', silent).missing).toBe('No packets for 10 s');
  });
  it('may have brought no packet yet, or not be there', () => {
    expect(readout('packet_loss', {}).missing).toBe('No packets yet');
    expect(readout('last_packet', {}, [], 'link/radio').missing).toBe('No link');
  });
});
