/** What columns were taken for, and the next log that has them. */
import { describe, expect, it } from 'vitest';
import { mapping_in, with_mapping } from '../../src/exchange/kept_mapping';
import { kPlainColumn, type FirstLook, type Mapping } from '../../src/stream/imports';

const look = (...names: string[]): FirstLook => ({
  upload: 'u',
  kind: 'columns',
  columns: names.map((name) => ({ name, first: [], is_number: true })),
  separator: ',',
  proposed: undefined,
});
const mapping = (title: string): Mapping => ({
  title,
  separator: ';',
  decimal: 'comma',
  time: { column: 'ms', unit: 'ms', is_onboard: true },
  columns: [{ ...kPlainColumn, column: 'ax', channel: 'imu.samples.accel_body_x', gain: 9.80665 }],
});

describe('a mapping', () => {
  it('comes back whole for a log with the same columns, and for no other', () => {
    const stored = with_mapping('[]', look('ms', 'ax'), mapping('Logger'));
    expect(mapping_in(stored, look('ms', 'ax'))).toEqual(mapping('Logger'));
    expect(mapping_in(stored, look('ax', 'ms'))).toBeUndefined();
    expect(mapping_in(stored, look('ms', 'ax', 'ay'))).toBeUndefined();
    expect(mapping_in(stored, { ...look('ms', 'ax'), separator: ';' })).toBeUndefined();
  });
  it('gives way to the next one for the same columns', () => {
    const first = with_mapping('[]', look('ms', 'ax'), mapping('one'));
    const second = with_mapping(first, look('ms', 'ax'), mapping('two'));
    expect(mapping_in(second, look('ms', 'ax'))?.title).toBe('two');
    expect(JSON.parse(second)).toHaveLength(1);
  });
  it('is one of a few: the oldest goes', () => {
    let stored = '[]';
    for (let i = 0; i < 20; ++i) stored = with_mapping(stored, look(`column ${i}`), mapping(`${i}`));
    expect(mapping_in(stored, look('column 19'))?.title).toBe('19');
    expect(mapping_in(stored, look('column 0'))).toBeUndefined();
  });
  it.each(['', 'x', '{}', 'null', '[1]', '[{"columns":"ms"}]', '[{"columns":"ms","mapping":{"time":3}}]'])(
    'is none where the store holds %s, which is written over',
    (stored) => {
      expect(mapping_in(stored, look('ms'))).toBeUndefined();
      expect(mapping_in(with_mapping(stored, look('ms'), mapping('new')), look('ms'))?.title).toBe('new');
    },
  );
});
