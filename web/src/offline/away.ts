/** What a view shows of the vehicles while the station cannot be reached: what this device kept, each with its age. */
import type { UtcMs } from '../stream/clocks';
import { sentence_in, type Units } from '../text/viewer';
import { since_s, type Kept } from './kept';
import { aged, type Sighting } from './sighting';
import { kept_sentence_words } from './wording';

/** The one that was heard last comes first. */
export function last_seen(kept: readonly Kept[], now_ms: UtcMs): Sighting[] {
  const heard_s = ({ sentence, packet_age_s }: Sighting): number => sentence?.age_s ?? packet_age_s;
  return kept.map((one) => aged(one.sighting, since_s(one, now_ms))).sort((a, b) => heard_s(a) - heard_s(b));
}

/** For the band under the header; undefined: nothing is kept that was said. */
export function kept_band({ title, sentence }: Sighting, units: Units) {
  return (
    sentence && {
      text: sentence_in(sentence.text, units),
      level: sentence.level,
      form: 'kept',
      calls: false,
      old: kept_sentence_words(title, sentence.age_s),
    }
  );
}
