/** The sentence band: what it says, when it is old, and what of it a screen reader hears. */
import { describe, expect, it } from 'vitest';
import { band_of, spoken_band } from '../../src/app/band/band';
import { verdict_beside } from '../../src/checks/said';
import type { TapeEvent } from '../../src/stream/messages';
import { Tape } from '../../src/tape/tape';
import { description, event, replay_at } from '../support/builders';

const open = { state: 'open', reason: 'unknown' } as const;
const tape = (text: string, level: 'note' | 'warning', t_s = 10): ReturnType<typeof replay_at> =>
  replay_at(20, description([]), {}, [event(1, t_s, 'sentence', 'sentence', { text, level, data: { form: 'x' } })]);

describe('the band', () => {
  it('says the sentence at the cursor with its level', () => {
    expect(band_of(tape('No parachute seen.', 'warning'), 0, open, 'metric')).toEqual({
      text: 'No parachute seen.',
      level: 'warning',
      form: 'x',
      calls: false,
      old: '',
    });
  });
  it('calls while nobody has acknowledged an alert of its level', () => {
    const raised = event(2, 10, 'alert_raised', 'a', { level: 'warning' });
    const said = event(1, 10, 'sentence', 'sentence', { text: 'No parachute seen.', level: 'warning' });
    const known = event(3, 12, 'alert_acknowledged', 'a');
    const calls = (events: TapeEvent[]): boolean =>
      band_of(replay_at(20, description([]), {}, events), 0, open, 'metric').calls;
    expect([calls([said]), calls([said, raised]), calls([said, raised, known])]).toEqual([false, true, false]);
  });
  it('is old after a restart of the station until rows come again', () => {
    const old_at = (rows_s: number, now_s: number): string => {
      const about = description([]);
      const live = new Tape({ ...about, recording: { ...about.recording, t_end_s: rows_s } }, 'live', []);
      live.log.add(event(1, 10, 'sentence', 'sentence', { text: 'Under drogue. 1104 m.' }));
      live.set_station_now(now_s);
      return band_of(live, 0, open, 'metric').old;
    };
    expect([old_at(12, 13), old_at(12, 20), old_at(20, 20)]).toEqual(['', '8.0 s old: nothing new arrives.', '']);
  });
  it('waits while there is none', () => {
    expect(band_of(undefined, 0, open, 'metric').text).toBe('Waiting for the ground station.');
    expect(band_of(tape('Later.', 'note', 30), 0, open, 'metric').text).toBe('Nothing is known of this moment.');
  });
});

describe('a screen reader', () => {
  const silent = { status: '', alert: '', form: '' };
  const band = {
    text: 'Coasting. Apogee about 1107 m in 5 s.',
    level: 'note',
    form: 'coasting',
    calls: false,
    old: '',
  } as const;

  it('hears a new form, and no change of its figures alone', () => {
    const first = spoken_band(band, silent);
    expect(first.status).toBe(band.text);
    expect(spoken_band({ ...band, text: 'Coasting. Apogee about 1107 m in 4 s.' }, first)).toBe(first);
    expect(spoken_band({ ...band, form: 'apogee', text: 'Apogee.' }, first).status).toBe('Apogee.');
  });
  it('is interrupted by a warning, and by nothing less', () => {
    expect(spoken_band({ ...band, level: 'warning' }, silent)).toMatchObject({ status: '', alert: band.text });
    expect(spoken_band({ ...band, level: 'caution' }, silent)).toMatchObject({ status: band.text, alert: '' });
  });
  it('hears that a sentence is old', () => {
    expect(spoken_band({ ...band, old: '12 s old: nothing new arrives.' }, spoken_band(band, silent)).status).toContain(
      '12 s old',
    );
  });
});

describe('what a view says', () => {
  const said = { text: 'Not ready: gust 9.4 m/s.', level: 'caution', form: 'board' } as const;
  const says = verdict_beside(said, 'feet');
  it('stands in the band, unless the vehicle’s sentence is more urgent', () => {
    expect(band_of(tape('On the rail.', 'note'), 0, open, 'feet', says)).toMatchObject(said);
    expect(band_of(tape('No parachute seen.', 'warning'), 0, open, 'feet', says).text).toBe('No parachute seen.');
  });
  it('stands there before there is any sentence', () =>
    expect(band_of(tape('Later.', 'note', 30), 0, open, 'feet', says)).toMatchObject(said));
  it.each([
    ['Main igniter is open, expected good', 'Main igniter is open, expected good. Not ready: gust 9.4 m/s.'],
    ['Position lost at 100 m!', 'Position lost at 300 ft! Not ready: gust 9.4 m/s.'],
  ])('is not hidden by an alert: %s', (alert_text, text) => {
    const data = { form: 'on_the_stand', alert: 'a/state/main', alert_text };
    const sentence = event(1, 10, 'sentence', 'sentence', {
      text: `${alert_text}. On the stand.`,
      level: 'warning',
      data,
    });
    const band = band_of(replay_at(20, description([]), {}, [sentence]), 0, open, 'feet', says);
    expect(band).toMatchObject({ text, level: 'warning', form: 'a/state/main board' });
  });
});
