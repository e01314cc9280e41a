/** Words of the page that leads others to the station. */
export const kWords = {
  title: 'Join',
  loading: 'Asking the station for its addresses',
  alone:
    'The station listens to this computer alone. Start it with --share, and everyone on the local network can watch.',
  same_network: 'Phones join the same network as the station, scan the code, and watch. Nothing is installed.',
  no_internet:
    'The phone may say that this network has no internet. Stay in it; if the phone leaves it by itself, switch mobile data off.',
  watching: 'Whoever joins can watch and change nothing. That needs the operator key.',
  encrypted: 'With position, compass and a screen that stays on',
  why: 'Phones give these to encrypted pages alone. For finding the rocket and for the antenna, scan this code.',
  warns:
    'The phone will warn once that it does not know who signed the certificate: the station did, itself. Let the phone show the certificate, compare its SHA-256 fingerprint with the one on the station’s terminal, then go on. If they differ, do not.',
  no_tls:
    'Phones give position, compass and wake lock to encrypted pages alone. Start the station with --tls to offer one. Without it every view works, and says what it leaves out.',
  code: 'Code for',
} as const;
