/** What may be called out, and what each is called where it is chosen. */
export const kCallOutTitles = {
  liftoff: 'Liftoff and burnout',
  altitude: 'Altitude on the way up and down',
  apogee: 'Apogee with its altitude',
  parachutes: 'Parachutes out',
  fall_rate: 'Fall rate',
  touchdown: 'Touchdown with its place',
  alerts: 'Cautions and warnings',
} as const;
export type CallOutKind = keyof typeof kCallOutTitles;
export const kCallOutKinds = Object.keys(kCallOutTitles) as readonly CallOutKind[];
