/** Words of the event log. */

export const kEventWords = {
  title: 'Event log',
  order: 'newest first',
  none: 'No events yet',
} as const;
