/** Words of the readouts. */

export const kReadoutTitles = {
  altitude: 'Altitude AGL',
  vertical_speed: 'Vertical speed',
  phase: 'Phase',
  battery: 'Battery',
  last_packet: 'Last packet',
  packet_loss: 'Packet loss',
} as const;

/** Of a channel that the vehicle lacks: "Needs battery voltage". */
export const needs_words = (role: string, roles: ReadonlyMap<string, string>): string =>
  `Needs ${roles.get(role) ?? role}`;

export const kReadoutWords = {
  no_value: 'No value yet',
  no_packets: 'No packets yet',
  no_recent_packets: 'No packets for 10 s',
  no_link: 'No link',
  navigation: 'navigation',
  vertical: 'vertical filter',
  on_board: 'on board',
  ago: 'ago',
  below: 'below range',
  above: 'above range',
} as const;
