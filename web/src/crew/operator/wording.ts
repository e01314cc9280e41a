/** Words of the operator's controls. */

export const kOperatorWords = {
  live_only: 'Markers and notes go on the live recording only.',
  key_needed: 'These need the operator key.',
  where_key_is: 'It was printed when the ground station started.',
  new_recording:
    'The current recording is closed. No byte is lost between the two, and a flight under way continues in the new one.',
  text: 'Text of a marker or note',
  /** Of a marker without a text. */
  marker: 'Marker',
} as const;

/** Why markers, notes and new recordings cannot be made; empty when they can. */
export function why_off_words(live: boolean, operator: boolean): string {
  if (!live) return kOperatorWords.live_only;
  return operator ? '' : kOperatorWords.key_needed;
}
