/** Words of the links. */

/** What people call each state of a link (protocol/STREAM.md, section 2). */
export const kLinkStateWords: Readonly<Record<string, string>> = {
  opening: 'opening',
  open: 'open',
  no_data: 'no data',
  lost: 'lost, retrying',
  cannot_open: 'cannot open',
  end_of_file: 'end of file',
};
