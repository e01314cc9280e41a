/** Pad check, next steps, other vehicles, alerts and log: each from known rows and events. */
import { describe, expect, it } from 'vitest';
import { select_alerts } from '../../src/crew/alerts/alerts';
import { select_events } from '../../src/crew/events/event_log';
import { select_checks } from '../../src/crew/readiness/readiness';
import { select_hints } from '../../src/crew/start/hints';
import { select_others } from '../../src/crew/vehicles/others';
import type { Status } from '../../src/stream/messages';
import { strips_of } from '../../src/tape/strips';
import { Tape } from '../../src/tape/tape';
import { column, description, event, phase, replay_at, table, words } from '../support/builders';

describe('the pad check', () => {
  const kTables = [
    table('v/health', 'packet', [
      column('volts', 'V', { role: 'battery_voltage', range: [6.6, 8.6], decimals: 2 }),
      { ...words('drogue', 'Drogue circuit', 'open', 'closed'), role: 'pyro_continuity' },
      { ...words('dimensions', 'Fix', '?', 'none', '2-D', '3-D'), role: 'fix_dimensions' },
      column('used', '1', { role: 'satellites_used', decimals: 0 }),
    ]),
    table('link/radio', 'link', [column('age_s', 's'), column('loss_10s', '1')]),
  ];
  const good = {
    'v/health': { volts: 8.24, drogue: 1, dimensions: 3, used: 11 },
    'link/radio': { age_s: 0.1, loss_10s: 0.01 },
  };
  const links = [{ name: 'radio', uri: '', vehicle: 0 }];
  const failing = (health: Record<string, number>, link: Record<string, number> = {}): string[] => {
    const rows = { 'v/health': { ...good['v/health'], ...health }, 'link/radio': { ...good['link/radio'], ...link } };
    return select_checks(replay_at(50.5, description(kTables, { links }), rows), 0).flatMap((check) =>
      check.holds ? [] : [check.title],
    );
  };
  it('says each in the words of its channel', () => {
    const checks = select_checks(replay_at(50.5, description(kTables, { links }), good), 0);
    expect(checks.map((check) => [check.title, check.text, check.holds])).toEqual([
      ['Drogue circuit', 'closed', true],
      ['Battery', '8.24 V', true],
      ['GNSS', '3-D, 11 used', true],
      ['Last packet', '0.6 s ago', true],
      ['Packet loss', '1.0\u00a0%', true],
      ['Alerts', 'none', true],
    ]);
  });
  it.each([
    [{ drogue: 0 }, {}, 'Drogue circuit'],
    [{ volts: 6.5 }, {}, 'Battery'],
    [{ volts: NaN }, {}, 'Battery'],
    [{ dimensions: 2 }, {}, 'GNSS'],
    [{}, { loss_10s: 0.2 }, 'Packet loss'],
    [{}, { age_s: 4 }, 'Last packet'],
  ])('%j, link %j: %s does not hold', (health, link, title) => expect(failing(health, link)).toEqual([title]));
});

describe('the next step', () => {
  const link = { name: 'radio', uri: '', vehicle: 0 };
  const pad = { latitude_deg: 10, longitude_deg: 20 };
  const site = { name: 'S', pad, station: pad, declination_deg: NaN, antenna_beamwidth_deg: NaN, boundary: [] };
  const tables = [table('v/a', 'packet', [column('x')]), table('link/radio', 'link', [column('age_s', 's')])];
  const status = (state: string, detail = ''): Status =>
    ({ links: [{ name: 'radio', state, detail, bytes: 0, t_last_s: NaN }] }) as unknown as Status;
  const live = (more: Parameters<typeof description>[1] = {}): Tape =>
    new Tape(description(tables, { links: [link], site, ...more }), 'live', []);
  const said = (tape: Tape, now?: Status): string =>
    select_hints(tape, 0, now)
      .map((hint) => `${hint.what} ${hint.next}`)
      .join('\n');

  it.each([
    ['without a link', live({ links: [] }), undefined, /no link.*--link/],
    ['without a vehicle', live({ vehicles: [] }), undefined, /No vehicle.*--vehicle/],
    [
      'whose path is missing',
      live(),
      status('cannot_open', 'no such file'),
      /cannot open \(no such file\).*plugged in/,
    ],
    ['that hears nothing', live(), status('no_data'), /no data.*baud rate/],
    ['that hears what is none of its frames', live(), status('open'), /no packet yet.*baud rate/],
  ])('of a station %s', (_, tape, now, words_of) => expect(said(tape, now)).toMatch(words_of));
  it('is the station’s own diagnosis where it has one', () => {
    const tape = live();
    tape.log.add(
      event(1, 1, 'alert_raised', 'link_trouble', {
        level: 'caution',
        text: 'Bytes but no frame.',
        advice: 'Check the baud rate (57600).',
        data: { link: 'radio', cause: 'no_frames' },
      }),
    );
    tape.set_station_now(5);
    expect(said(tape, status('open'))).toBe('Bytes but no frame. Check the baud rate (57600).');
  });
  it('is said of frames that the dictionary cannot read, though frames come', () => {
    const tape = live();
    tape.take_latest([{ table: 1, t_s: 0, values: Float64Array.of(0.1) }]);
    tape.log.add(
      event(1, 1, 'alert_raised', 'link_trouble', {
        level: 'caution',
        text: 'Frames that the dictionary cannot read.',
        advice: 'Correct it.',
        data: { link: 'radio', cause: 'unreadable' },
      }),
    );
    tape.set_station_now(5);
    expect(said(tape, status('open'))).toBe('Frames that the dictionary cannot read. Correct it.');
  });
  it('is none once a packet has come, but for the site', () => {
    const heard = live();
    heard.take_latest([{ table: 1, t_s: 0, values: Float64Array.of(0.1) }]);
    expect(said(heard, status('open'))).toBe('');
    const nowhere = { ...site, pad: { latitude_deg: NaN, longitude_deg: NaN } };
    const lost = live({ site: nowhere });
    lost.take_latest([{ table: 1, t_s: 0, values: Float64Array.of(0.1) }]);
    expect(said(lost, status('open'))).toMatch(/No site file.*--site/);
  });
});

describe('another vehicle', () => {
  const about = description(
    [
      table('v/a', 'packet', [column('x')]),
      table('boat/engine', 'packet', [column('speed', 'm/s', { title: 'Speed' })], { vehicle: 1 }),
    ],
    {
      vehicles: [
        { name: 'v', title: 'V', rocket: true, parachutes: [], more: {} },
        { name: 'boat', title: 'Boat', rocket: false, parachutes: [], more: {} },
      ],
    },
  );
  const others = (cursor_s: number) => {
    const alert = event(5, 20, 'alert_raised', 'limit', { vehicle: 1, level: 'caution', text: 'Engine hot' });
    const tape = replay_at(cursor_s, about, { 'boat/engine': { speed: 4.12 } }, [alert]);
    return select_others(tape, 0, (vehicle) => strips_of(about, vehicle));
  };
  it('is a few figures with their age, and its trouble', () =>
    expect(others(52)).toMatchObject([
      {
        title: 'Boat',
        age: '2.0 s old',
        old: false,
        alert: { urgency: 'caution', text: 'Engine hot' },
        figures: [{ text: '4.1', unit: 'm/s' }],
      },
    ]));
  it('is old when nothing comes from it', () => expect(others(70)[0]?.old).toBe(true));
  it('of a rocket says its trouble once, and what it does beside it', () => {
    const rockets = description([], { vehicles: about.vehicles.map((one) => ({ ...one, rocket: true })) });
    const text = 'Battery at 6.4 V';
    const tape = replay_at(52, rockets, {}, [
      event(5, 20, 'alert_raised', 'limit', { vehicle: 1, level: 'caution', text }),
      event(6, 20, 'sentence', 'rail', { vehicle: 1, level: 'caution', text: `${text}. On the rail.` }),
    ]);
    expect(select_others(tape, 0, () => [])).toMatchObject([{ alert: { text }, sentence: 'On the rail.' }]);
  });
  it('of a machine tells its engine before anything else, each by its name', () => {
    const told = description(
      [
        table('v/a', 'packet', [column('x')]),
        table('boat/estimate/vertical', 'estimate', [column('altitude_m', 'm')], { vehicle: 1 }),
        table(
          'boat/engine',
          'packet',
          [column('rpm', '{rev}/min', { role: 'engine_speed', title: 'Engine speed', decimals: 0 })],
          { vehicle: 1 },
        ),
      ],
      { vehicles: about.vehicles },
    );
    const tape = replay_at(52, told, { 'boat/engine': { rpm: 2200 }, 'boat/estimate/vertical': { altitude_m: 0 } });
    expect(select_others(tape, 0, (vehicle) => strips_of(told, vehicle))[0]?.figures).toMatchObject([
      { name: 'Engine speed', text: '2200', unit: 'rev/min' },
    ]);
  });
  it('of a rocket is named only where the unit does not tell', () => {
    const told = description(
      [
        table('v/a', 'packet', [column('x')]),
        table(
          'w/a',
          'packet',
          [
            column('volts', 'V', { role: 'battery_voltage' }),
            column('used', '1', { role: 'satellites_used', title: 'Satellites used', decimals: 0 }),
          ],
          { vehicle: 1 },
        ),
      ],
      { vehicles: about.vehicles.map((one) => ({ ...one, rocket: true })) },
    );
    const tape = replay_at(52, told, { 'w/a': { volts: 8.2, used: 11 } });
    expect(select_others(tape, 0, (vehicle) => strips_of(told, vehicle))[0]?.figures).toMatchObject([
      { name: '', text: '8.2', unit: 'V' },
      { name: 'Satellites used', text: '11', unit: '' },
    ]);
  });
});

describe('alerts', () => {
  const raised = event(1, 40, 'alert_raised', 'no_fix', {
    level: 'caution',
    text: 'no GNSS fix',
    advice: 'Wait for the sky.',
  });
  const rows = (...more: ReturnType<typeof event>[]) =>
    select_alerts(replay_at(60, description([]), {}, [event(9, 30, 'flight_event', 'liftoff'), raised, ...more]), 0);
  it('say what, since when, and what to do', () =>
    expect(rows()).toMatchObject([
      {
        text: 'No GNSS fix',
        since: 'T+0:10.0',
        advice: 'Wait for the sky.',
        acknowledged: false,
        shelved: '',
      },
    ]));
  it('say who knows of them, and for how long they are put aside', () => {
    expect(rows(event(2, 45, 'alert_acknowledged', 'x', { key: 'no_fix' }))[0]?.acknowledged).toBe(true);
    expect(rows(event(3, 50, 'alert_shelved', 'x', { key: 'no_fix', data: { for_s: 430 } }))[0]?.shelved).toBe(
      'for 7 min more',
    );
  });
  it('are gone when they have returned to normal', () =>
    expect(rows(event(4, 55, 'alert_cleared', 'x', { key: 'no_fix' }))).toEqual([]));
});

describe('the log', () => {
  const events = [
    event(1, 5, 'marker', 'marker', { text: 'Range clear' }),
    event(2, 30, 'flight_event', 'liftoff', { text: 'Liftoff' }),
    phase(3, 30, 'under thrust'),
    event(4, 45.2, 'flight_event', 'pressure_pulse', { text: 'Drogue charge' }),
    event(5, 45.3, 'flight_event', 'shock', { text: 'Shock' }),
    event(6, 90, 'flight_event', 'touchdown', { text: 'Touchdown' }),
  ];
  const log = (cursor_s: number) => select_events(replay_at(cursor_s, description([]), {}, events), 0);
  it('is newest first, ends at the cursor, says a thing once, and counts from liftoff on', () =>
    expect(log(60).map((row) => [row.clock, row.text])).toEqual([
      ['T+0:15.2', 'Drogue charge'],
      ['T+0:00.0', 'Liftoff'],
      ['00:00:05', 'Range clear'],
    ]));
});
