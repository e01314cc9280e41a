/** A log on its way into a recording. */
import { readFileSync } from 'node:fs';
import { afterEach, expect, it, vi } from 'vitest';
import { channels_of, with_column } from '../../src/exchange/mapping';
import { alignment_words, packets_words } from '../../src/exchange/wording';
import { mapping_request, read_first_look, read_import, upload_log, type Mapping } from '../../src/stream/imports';
import { column, description, table } from '../support/builders';

const mapping: Mapping = {
  title: 'log.csv',
  separator: ',',
  decimal: 'point',
  time: { column: 't', unit: 'ms', is_onboard: false },
  columns: [],
};

afterEach(() => vi.unstubAllGlobals());

it('a file goes in pieces below the limit of a request, the last one says so', async () => {
  const asked: { path: string; bytes: number }[] = [];
  vi.stubGlobal('fetch', (path: string, init: { body: Blob }) => {
    asked.push({ path, bytes: init.body.size });
    return Promise.resolve(
      Response.json({ upload: 'u1', bytes: 0, kind: 'columns', columns: [], separator: ',', mapping: null }),
    );
  });
  const look = await upload_log(new File([new Uint8Array(150_000)], 'a b.csv'), 'r~v~1', () => true);
  expect(look?.kind).toBe('columns');
  expect(asked.map(({ path }) => path)).toEqual([
    '/api/import/upload?at=0',
    '/api/import/upload?at=61440&upload=u1',
    '/api/import/upload?at=122880&upload=u1&flight=r~v~1',
  ]);
  expect(asked.reduce((sum, { bytes }) => sum + bytes, 0)).toBe(150_000);
  expect(Math.max(...asked.map(({ bytes }) => bytes))).toBeLessThan(65_536);
});

it('a file that is given up goes no further', async () => {
  let count = 0;
  vi.stubGlobal('fetch', () => Promise.resolve(Response.json({ upload: 'u1', sent: ++count })));
  expect(await upload_log(new File([new Uint8Array(300_000)], 'a'), 'r~v~1', () => false)).toBeUndefined();
  expect(count).toBe(1);
});

it('a first look proposes a mapping', () => {
  const look = read_first_look({
    upload: 'u1',
    kind: 'columns',
    columns: [{ name: 't', first: ['0', '10'], is_number: true }],
    separator: ';',
    mapping: {
      title: 'x',
      separator: ';',
      time: { column: 't', unit: 'us' },
      columns: [{ column: 'p', channel: 'baro.pressure' }],
    },
  });
  expect(look.proposed?.time.unit).toBe('us');
  expect(look.proposed?.columns[0]).toMatchObject({ channel: 'baro.pressure', gain: 1, offset: 0 });
});

it('a mapping goes back as the station reads and writes it: its own tests read the same', () => {
  const file = readFileSync(new URL('../../../tests/golden/exchange/mapping.json', import.meta.url), 'utf8');
  const about = { upload: 'u1', kind: 'columns', columns: [], separator: ';', mapping: JSON.parse(file) as unknown };
  const { proposed } = read_first_look(about);
  expect(proposed && mapping_request(proposed)).toEqual(JSON.parse(file));
});

it('a column is what it was said last to be', () => {
  const once = with_column(mapping, 'p', { channel: 'baro.pressure' });
  const twice = with_column(once, 'p', { gain: 100 });
  expect(twice.columns).toEqual([expect.objectContaining({ column: 'p', channel: 'baro.pressure', gain: 100 })]);
  expect(JSON.stringify(mapping_request(with_column(twice, 'p', { channel: '' })))).not.toContain('"channel"');
});

it('the column that was taken for the time is not another column too', () => {
  const time = { ...mapping.time, column: 'Zeit' };
  const wanted = with_column(with_column({ ...mapping, time }, 'Zeit', {}), 'p', {});
  expect(mapping_request(wanted)).toMatchObject({ time, columns: [{ column: 'p' }] });
});

it('channels are those of the vehicle’s packets', () => {
  const about = description([
    table('v/baro', 'packet', [column('pressure', 'Pa')]),
    table('v/estimate/vertical', 'estimate', [column('altitude_m', 'm')], { id: 1 }),
  ]);
  expect(channels_of(about, 'v').map(({ name }) => name)).toEqual(['baro.pressure']);
});

it('a channel says the unit that a file’s values are multiplied into, not the one that is shown', () => {
  const units = ['Pa', 'K', 'rad/s', 'm/s2', 'deg', '1'];
  const columns = units.map((unit, i) => column(`c${i}`, unit));
  const about = description([table('v/a', 'packet', columns)]);
  expect(channels_of(about, 'v').map(({ unit }) => unit)).toEqual(['Pa', 'K', 'rad/s', 'm/s²', '°', '']);
});

it('the outcome says how well the clocks met', () => {
  const { alignment, gaps } = read_import({
    recording: 'r',
    alignment: { method: 'onboard_time', offset_s: -1.204, sigma_s: 0.0006 },
    packets: { both: 5 },
    gaps: [{ from_s: 1, to_s: 2, packets: 3 }],
    channels: [],
  });
  expect(gaps).toBe(1);
  expect(packets_words(5, 1, 2, 0)).toBe('5 packets in both, 1 only by radio, 2 only in the log; 0 differ.');
  expect(packets_words(0, 8882, 0, 0), 'of a table').toBe('');
  expect(alignment_words(alignment.method, alignment.offset_s, alignment.sigma_s).replace(/[\u202f\u00a0]/g, ' ')).toBe(
    'Matched by on-board time: the log’s zero lies 1.204 s ahead of the recording’s, ± 0.6 ms.',
  );
});
