/** How old something is, in words: the same in every view. */
import { format_age } from './format';

/** Whose age a predicted landing has: a fix since liftoff, none though there is a receiver, or the prediction alone. */
export type AgeOf = 'fix' | 'no_fix' | 'prediction';

export const old_words = (age_s: number): string => `${format_age(age_s)} old`;

export const landing_old_words = ({ of, age_s }: { of: AgeOf; age_s: number }): string =>
  of === 'no_fix' ? 'no fix since liftoff' : `${of === 'fix' ? 'fix ' : ''}${old_words(age_s)}`;
