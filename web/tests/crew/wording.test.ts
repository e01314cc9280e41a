/** Words of the views of a flight. */
import { describe, expect, it } from 'vitest';
import { beam_words } from '../../src/crew/estimates/wording';
import { frame_hex, frame_words } from '../../src/crew/links/wording';
import { map_words, place_words } from '../../src/crew/map/wording';
import { why_off_words } from '../../src/crew/operator/wording';

it.each([
  [0.1, 'inside the beam'],
  [0.7, 'mostly inside the beam'],
  [1, 'may be outside the beam'],
  [NaN, ''],
])('%d half beams: %s', (half_beams, text) => expect(beam_words(half_beams)).toBe(text));

describe('the map', () => {
  it('is said for who does not see it', () => {
    expect(map_words(NaN, [])).toBe('Map, north up: place of the vehicle not known');
    expect(map_words(312.4, [{ name: 'drogue_fails', text: place_words(41.6, 38) }])).toBe(
      'Map, north up: vehicle 312 metres from the pad; landing, drogue fails: 42 m, 038°',
    );
  });
});

it.each([
  [true, true, ''],
  [true, false, 'These need the operator key.'],
  [false, true, 'Markers and notes go on the live recording only.'],
])('live %s, operator %s: "%s"', (live, operator, text) => expect(why_off_words(live, operator)).toBe(text));

describe('a frame as received', () => {
  const good = {
    t_rx_s: 3,
    bytes: 4,
    hex: '0a1bff00',
    frame_verdict: 'good',
    decode_verdict: 'good',
    packet_verdict: 'accepted',
    apid: 16,
    sequence_count: 1204,
  };
  it.each([
    [{}, 'APID 16, count 1204, 4 bytes: accepted'],
    [{ packet_verdict: 'late' }, 'APID 16, count 1204, 4 bytes: late'],
    [
      { packet_verdict: 'undecodable', decode_verdict: 'unknown_apid', apid: 777 },
      'APID 777, count 1204, 4 bytes: APID not in the dictionary',
    ],
    [
      { frame_verdict: 'bad_crc', packet_verdict: 'bad_frame', apid: NaN, sequence_count: NaN },
      '4 bytes: bad checksum',
    ],
    [{ frame_verdict: 'combined', bytes: 0 }, 'APID 16, count 1204: made of damaged copies'],
    [{ packet_verdict: 'some_new_word' }, 'APID 16, count 1204, 4 bytes: some new word'],
  ])('%o is said "%s"', (part, text) => expect(frame_words({ ...good, ...part })).toBe(text));
  it('is shown in pairs of digits, its first 64 bytes', () => {
    expect(frame_hex(good)).toBe('0A 1B FF 00');
    const long = frame_hex({ ...good, bytes: 70, hex: 'ab'.repeat(70) });
    expect(long).toBe(`${'AB '.repeat(64)}…`);
    expect(frame_hex({ ...good, bytes: 65536, hex: 'ab'.repeat(10) })).toBe(`${'AB '.repeat(10)}…`);
  });
});
