/** Words of what an operator finds in more than one view. */

export const kCancel = 'Cancel';

export const kUnlockWords = {
  unlock: 'Unlock operator controls',
  key: 'Operator key',
  where_key_is: 'It was printed when the ground station started.',
  now: 'Unlock',
} as const;

export const kDeviceLinkWords = { code: 'QR code of the link', copy: 'Copy' } as const;

export const kInitialsWords = { initials: 'Initials' } as const;

export const kCountdownWords = {
  title: 'Countdown',
  none: 'none',
  held: 'held',
  length: 'To T-0',
  run: 'Run',
  set_held: 'Set and hold',
  hold: 'Hold',
  why: 'Why',
  say_why: 'Say why',
  resume: 'Resume',
  off: 'Remove countdown',
  wrong: 'Minutes and seconds, like 10:00, or hours before them.',
  about: 'Everybody sees it. It commands nothing: T+ begins at the liftoff that is found.',
} as const;
