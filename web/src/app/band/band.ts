/** What the band under the header says: the vehicle's sentence, and how old it is when nothing new can arrive. */
import type { Says } from '../../station/said';
import type { CloseReason, ConnectionState } from '../../stream/connection';
import type { Level } from '../../stream/messages';
import type { Tape } from '../../tape/tape';
import { sentence_in, type Units } from '../../text/viewer';
import { kBandWords, silent_words } from '../wording';

export interface Band {
  text: string;
  level: Level;
  /** The sentence's form; what changes only in its figures keeps it. */
  form: string;
  /** An alert of this level stands that nobody has acknowledged: its box blinks. */
  calls: boolean;
  /** How old the sentence is, when the connection that brings a newer one is gone, or nothing comes by it; else empty. */
  old: string;
}

interface Heard {
  status: string;
  alert: string;
  form: string;
}

const kSilence_s = 3; // `status` comes once a second, and so do rows

export function band_of(
  tape: Tape | undefined,
  vehicle: number,
  connection: { state: ConnectionState; reason: CloseReason },
  units: Units,
  says?: Says,
): Band {
  const sentence = tape?.log.sentence_at(vehicle, tape.cursor_s);
  const said = says?.(sentence);
  if (!tape || !(said ?? sentence))
    return { text: kBandWords[tape ? 'nothing' : 'waiting'], level: 'note', form: '', calls: false, old: '' };
  const level = (said ?? sentence)?.level ?? 'note';
  const heard_s = connection.state === 'open' ? tape.newest_s : tape.heard_s;
  const silent_s = tape.following ? tape.head_s - heard_s : 0;
  const calls = tape.log
    .alerts_at(tape.cursor_s)
    .some(
      ({ event, acknowledged, shelved_until_s }) =>
        event.level === level && level !== 'note' && !acknowledged && Number.isNaN(shelved_until_s),
    );
  const text = said?.text ?? sentence_in(sentence?.text ?? '', units);
  const form = said?.form ?? sentence?.data['form'];
  return {
    text,
    level,
    form: typeof form === 'string' ? form : '',
    calls,
    old: silent_s > kSilence_s ? silent_words(silent_s) : '',
  };
}

export function spoken_band(band: Band, before: Heard): Heard {
  const form = `${band.form} ${band.level} ${band.old !== ''}`;
  if (form === before.form) return before;
  const text = [band.text, band.old].join(' ').trim();
  return band.level === 'warning' ? { status: '', alert: text, form } : { status: text, alert: '', form };
}
