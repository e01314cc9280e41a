/** Titles inside sentences. */

/** A title in the middle of a sentence; one that begins with an abbreviation stays. */
export const lower = (title: string): string =>
  /^[A-Z][a-z]/.test(title) ? title.charAt(0).toLowerCase() + title.slice(1) : title;
