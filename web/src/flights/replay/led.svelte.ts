/**
 * A led debrief: one leads, others follow the leader's cursor until they let go. Whoever moves the tape alone has let go.
 * `tick` is called some times a second while a flight is replayed.
 */
import { book } from '../../debrief/book.svelte';
import { initials } from '../../operator/initials.svelte';
import { flight_address } from '../../station/flight_addresses';
import { station } from '../../station/station.svelte';
import { page_now, type PageMs } from '../../stream/clocks';
import type { Json } from '../../stream/json';
import { read_led, type Led } from '../../stream/led';
import { next_step, say_words, type Stand } from './led';

const kSayAgain_ms = 2000; // who joins hears where it stands
const kSettle_ms = 500; // until the station has answered what was asked of it

class LedDebrief {
  leading = $state(false);
  following = $state(false);
  private said = '';
  private said_ms: PageMs = -Infinity;
  private heard: Json | undefined;
  private place: Led | undefined;
  private heard_ms: PageMs = 0;
  private acted_ms: PageMs = -Infinity;
  /** Moves of the tape until now: who makes another one has let go. */
  private moves = 0;

  lead(): void {
    this.let_go();
    [this.leading, this.said] = [true, ''];
    this.tick();
  }

  end(): void {
    if (this.leading) station.request({ type: 'lead', end: true });
    this.leading = false;
  }

  follow(): void {
    this.end();
    [this.following, this.moves] = [true, station.moves];
    station.request({ type: 'follow', follow: true });
    this.tick();
  }

  /** The station goes on saying where the leader is, so that one can come back. */
  let_go(): void {
    this.following = false;
  }

  tick(): void {
    const { tape, led } = station;
    if (led !== this.heard) {
      [this.heard, this.heard_ms, this.place] = [led, page_now(), read_led(led)];
      if (this.place) this.leading = false; // whoever says so last leads
    }
    if (station.role !== 'operator') this.leading = false; // logged out
    if (this.leading && tape?.live === false) this.tell(tape);
    else if (this.following && this.place) this.go_along(this.place);
  }

  private tell(stand: Stand): void {
    const words = say_words(stand);
    if (station.connection.state !== 'open') return;
    if (words === this.said && page_now() - this.said_ms < kSayAgain_ms) return;
    [this.said, this.said_ms] = [words, page_now()];
    station.request({ type: 'lead', t_s: stand.cursor_s, playing: stand.playing, rate: stand.rate, by: initials.by });
  }

  private go_along(led: Led): void {
    const tape = station.tape;
    if (tape?.live !== false || tape.description.recording.id !== led.recording) {
      const there = book.entries.flights.filter((flight) => flight.recording === led.recording);
      const flight = there.findLast((one) => one.from_s <= led.t_s) ?? there[0];
      if (flight) location.hash = flight_address(flight.id);
      this.moves = station.moves;
      return;
    }
    if (station.moves !== this.moves) return this.let_go();
    if (page_now() - this.acted_ms < kSettle_ms) return;
    const step = next_step(led, (page_now() - this.heard_ms) / 1000, tape);
    if (!step) return;
    this.acted_ms = page_now();
    station.request(step);
  }
}

export const debrief = new LedDebrief();
