/** The next step on a first run and in the cases that go wrong: no link, no data, garbage, another dictionary, no site. */
import type { Status } from '../../stream/messages';
import { last_packet_s, link_table } from '../../tape/links';
import type { Tape } from '../../tape/tape';
import { kStartWords, link_next, link_what } from './wording';

export interface Hint {
  what: string;
  next: string;
}

/** Empty when all is as it should be. `status`: what the station last said of its links; undefined: nothing yet. */
export function select_hints(tape: Tape, vehicle: number, status: Status | undefined): Hint[] {
  const { links, vehicles, site, tables } = tape.description;
  const no_site =
    vehicles[vehicle]?.rocket === true && !Number.isFinite(site.pad.latitude_deg) ? [kStartWords.no_site] : [];
  if (!tape.live) return tape.head_s <= 0 ? [kStartWords.empty] : no_site;
  if (vehicles.length === 0 || tables.length === 0) return [kStartWords.no_vehicle];
  if (links.length === 0) return [kStartWords.no_link];
  const own = links.filter((link) => link.vehicle === vehicle);
  // One link that works is enough.
  const silent = own.every(({ name }) => Number.isNaN(last_packet_s(tape, link_table(tape.description, name))));
  const hints = own.flatMap(({ name }) => {
    // The station's own diagnosis where it has one: it has seen the bytes.
    const trouble = tape.log
      .alerts_at(tape.cursor_s)
      .find(({ event }) => event.event === 'link_trouble' && event.data['link'] === name)?.event;
    if (trouble) return { what: trouble.text, next: trouble.advice || link_next('open') };
    const now = silent && status?.links.find((link) => link.name === name);
    return now ? { what: link_what(name, now.state, now.detail), next: link_next(now.state) } : [];
  });
  return [...hints, ...no_site];
}
