/** What to do when nothing, or nothing useful, arrives: each line says what is and what comes next. */

export const kStartWords = {
  title: 'What to do next',
  no_link: {
    what: 'This station has no link.',
    next: 'Start it with --link serial:/dev/ttyUSB0?baud=57600, or add a link to the settings file.',
  },
  no_vehicle: {
    what: 'No vehicle is described.',
    next: 'Start the station with --vehicle FOLDER, the folder with dictionary.json.',
  },
  no_site: {
    what: 'No site file: no boundary, no antenna angles, and heights above the first fix only.',
    next: 'Start the station with --site site.json. The guide has an example.',
  },
  empty: { what: 'This recording holds no rows.', next: 'Choose another one under Flights.' },
} as const;

const kOpenNext: Readonly<Record<string, string>> = {
  cannot_open: 'Check that the receiver is plugged in and that the link names its path.',
  lost: 'Plug the receiver in again. The station goes on trying.',
  no_data: 'Check that the vehicle is switched on, and the receiver’s frequency and baud rate.',
  opening: 'Wait a moment.',
  end_of_file: 'The file was read to its end. Open its recording under Flights.',
};

/** Of a link from which no packet has come. */
export const link_next = (state: string): string =>
  kOpenNext[state] ?? 'Bytes arrive but no packet yet. Check the baud rate and the vehicle folder.';
export const link_what = (link: string, state: string, detail: string): string =>
  `Link ${link}: ${state.replaceAll('_', ' ')}${detail === '' ? '' : ` (${detail})`}.`;
