import { describe, expect, it } from 'vitest';
import { ways_of } from '../../src/join/ways';

const at = (address: string) => ({ address, link: `${address}#/watch`, encrypted: address.startsWith('https') });

describe('addresses that others are led to', () => {
  const cases: [string, string[], string[], string[]][] = [
    ['a station that listens to this computer alone', ['http://127.0.0.1:8321/', 'https://127.0.0.1:8322/'], [], []],
    ['the same in IPv6', ['http://[::1]:8321/'], [], []],
    [
      'plain and encrypted ones, apart',
      [
        'http://127.0.0.1:1/',
        'https://127.0.0.1:2/',
        'http://192.0.2.7:1/',
        'https://192.0.2.7:2/',
        'http://[fd00::7]:1/',
      ],
      ['http://192.0.2.7:1/', 'http://[fd00::7]:1/'],
      ['https://192.0.2.7:2/'],
    ],
    ['an address that begins like its own', ['http://128.0.0.1:1/'], ['http://128.0.0.1:1/'], []],
  ];
  it.each(cases)('%s', (_, given, plain, encrypted) => {
    const ways = ways_of(given.map(at));
    expect(ways.plain.map((one) => one.address)).toEqual(plain);
    expect(ways.encrypted.map((one) => one.address)).toEqual(encrypted);
    expect(ways.alone).toBe(plain.length + encrypted.length === 0);
  });
});
