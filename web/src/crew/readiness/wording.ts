/** Words of the pad check. */

export const kReadinessWords = {
  title: 'Pad check',
  good: 'good',
  battery: 'Battery',
  gnss: 'GNSS',
  alignment: 'Alignment',
  last_packet: 'Last packet',
  packet_loss: 'Packet loss',
  alerts: 'Alerts',
  no_alerts: 'none',
  oldest: 'Oldest measured',
  no_value: 'no value yet',
  used: 'used',
} as const;
