/** What every view says of safety. */
export const kReceivesOnly =
  'Turnstone only receives: it cannot command, arm or fire anything. The range safety officer decides.';
