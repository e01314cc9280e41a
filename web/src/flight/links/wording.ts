/** Words of the links. */

/** A state of a link (protocol/STREAM.md, section 2) as people read it: "no data". */
export const link_state_words = (state: string): string => state.replaceAll('_', ' ');

export const kNoLinks = 'This recording has no link.';
