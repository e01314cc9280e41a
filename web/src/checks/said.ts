/** How a verdict and the vehicle's sentence share the band. */
import type { Said, Says } from '../station/said';
import type { Level } from '../stream/messages';
import { sentence_in, type Units } from '../text/viewer';

const kRank: Readonly<Record<Level, number>> = { note: 0, advisory: 1, caution: 2, warning: 3 };

/** The verdict alone; behind the alert that leads a more urgent sentence. */
export const verdict_beside =
  (verdict: Said | undefined, units: Units): Says =>
  (sentence) => {
    if (!verdict || !sentence || kRank[sentence.level] <= kRank[verdict.level]) return verdict;
    const alert = sentence.data['alert_text'];
    if (typeof alert !== 'string') return undefined;
    const ended = /[.!?]$/.test(alert) ? alert : `${alert}.`;
    return {
      text: `${sentence_in(ended, units)} ${verdict.text}`,
      level: sentence.level,
      form: `${String(sentence.data['alert'])} ${verdict.form}`,
    };
  };
