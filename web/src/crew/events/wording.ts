/** Words of the event log. */

export const kEventWords = {
  title: 'Event log',
  order: 'newest first',
  change: 'Change',
  text: 'Text of the marker or note',
  save: 'Save',
  take_back: 'Take back',
  cancel: 'Cancel',
  none: 'No events yet',
} as const;
