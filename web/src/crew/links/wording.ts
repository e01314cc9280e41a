/** Words of the links. */
import type { LinkFrame } from '../../stream/api';

/** A state of a link (protocol/STREAM.md, section 2) as people read it: "no data". */
export const link_state_words = (state: string): string => state.replaceAll('_', ' ');

export const kLinkWords = {
  title: 'Links',
  link: 'Link',
  state: 'State',
  last: 'Last',
  loss: 'Loss',
  good: 'Good',
  bad: 'Bad',
  bytes: 'Bytes received',
  none: 'This recording has no link.',
} as const;

export const kFrames = {
  summary: 'Frames as received',
  good: 'Last good frame',
  bad: 'Last bad frame',
  none: 'None of late',
};

/** A verdict of LINK.md or STREAM.md as people read it. */
const kVerdicts = new Map([
  ['bad_cobs', 'bad byte stuffing'],
  ['bad_escape', 'bad byte stuffing'],
  ['bad_crc', 'bad checksum'],
  ['bad_length', 'bad length field'],
  ['too_long', 'too long for a frame'],
  ['no_checksum', 'without checksum'],
  ['not_text', 'not text'],
  ['outside', 'outside frames'],
  ['combined', 'made of damaged copies'],
  ['not_data', 'another kind of frame'],
  ['uncorrectable', 'too many errors to correct'],
  ['unknown_apid', 'APID not in the dictionary'],
  ['wrong_size', 'size not the dictionary’s'],
  ['no_time', 'without on-board time'],
  ['not_telemetry', 'not telemetry'],
  ['bad_value', 'a value that cannot be'],
]);
const verdict_words = (verdict: string): string => kVerdicts.get(verdict) ?? verdict.replaceAll('_', ' ');

/** What the decoder made of a frame: "APID 16, count 1204, 52 bytes: accepted". */
export function frame_words(frame: LinkFrame): string {
  const parts = [];
  if (!Number.isNaN(frame.apid)) parts.push(`APID ${frame.apid}`);
  if (!Number.isNaN(frame.sequence_count)) parts.push(`count ${frame.sequence_count}`);
  if (frame.frame_verdict !== 'combined') parts.push(`${frame.bytes} bytes`);
  const verdict =
    frame.frame_verdict !== 'good'
      ? frame.frame_verdict
      : frame.packet_verdict === 'undecodable'
        ? frame.decode_verdict
        : frame.packet_verdict;
  return `${parts.join(', ')}: ${verdict_words(verdict)}`;
}

const kHexBytesMax = 64;

/** The first bytes of a frame in pairs of digits; an ellipsis where there are more. */
export function frame_hex(frame: LinkFrame): string {
  const pairs = frame.hex.slice(0, 2 * kHexBytesMax).match(/../g) ?? [];
  return pairs.join(' ').toUpperCase() + (frame.bytes > pairs.length ? ' …' : '');
}
