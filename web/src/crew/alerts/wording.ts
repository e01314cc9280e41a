/** Words of the alerts. */

export const kAlertWords = {
  title: 'Alerts',
  active: 'active',
  none: 'No active alerts',
  acknowledge: 'Acknowledge',
  shelve: 'Shelve 10 min',
  unshelve: 'Unshelve',
  acknowledged: 'acknowledged',
  shelved: 'Shelved',
} as const;

export const kShelve_s = 600;

export const shelved_words = (left_s: number): string =>
  Number.isFinite(left_s) ? `for ${Math.max(1, Math.ceil(left_s / 60))} min more` : 'until unshelved';
