/**
 * Markers that were set a moment ago. The moment counts from the key press; for some seconds the text can still be changed
 * or the marker taken back, since what is recorded stays. A page that is left sends what waits.
 */
import { station } from '../../station/station.svelte';
import * as api from '../../stream/api';
import type { TapeSeconds } from '../../stream/clocks';

export interface Pending {
  id: number;
  t_s: TapeSeconds;
  text: string;
}

const kGrace_ms = 5000;

class Markers {
  pending: Pending[] = $state([]);
  private ids = 0;
  private readonly timers = new Map<number, ReturnType<typeof setTimeout>>();

  constructor() {
    window.addEventListener('pagehide', () => this.send_all());
  }

  set(text: string, t_s: TapeSeconds): void {
    const id = ++this.ids;
    this.pending.push({ id, t_s, text });
    this.wait(id);
  }

  /** While somebody types nothing is sent. */
  hold(id: number): void {
    clearTimeout(this.timers.get(id));
  }

  wait(id: number): void {
    this.hold(id);
    this.timers.set(
      id,
      setTimeout(() => this.send(id), kGrace_ms),
    );
  }

  undo(id: number): void {
    this.take(id);
  }

  send(id: number): void {
    const marker = this.take(id);
    if (marker) void station.act(() => api.post_marker(marker.text.trim() || kMarker, marker.t_s), 'marker_added');
  }

  send_all(): void {
    for (const { id } of [...this.pending]) this.send(id);
  }

  private take(id: number): Pending | undefined {
    this.hold(id);
    this.timers.delete(id);
    const found = this.pending.find((one) => one.id === id);
    this.pending = this.pending.filter((one) => one.id !== id);
    return found;
  }
}

const kMarker = 'Marker';
export const markers = new Markers();
