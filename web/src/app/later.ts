/** What every view has and nobody waits for, fetched once the first figures stand. */
import { station } from '../station/station.svelte';

export { default as LinkLine } from '../draw/LinkLine.svelte';
export { default as Away } from '../offline/Away.svelte';
export { absence } from '../offline/absence.svelte';
export { start_keeping } from '../offline/start';
export { default as FlightControls } from './FlightControls.svelte';
export { default as Foot } from './Foot.svelte';
export { connection_words, kConnectionLine } from './menu_wording';
export { default as Tape } from './tape/Tape.svelte';
export { wake } from '../device/wake.svelte';

/** To the next or previous packet: in replay the server knows which; live there is no next one. */
function step(packets: -1 | 1): void {
  if (station.tape?.live === false) station.step(packets);
}

/** Keys that move on the tape. */
export function on_key(event: KeyboardEvent): void {
  const target = event.target as HTMLElement | null;
  if (event.ctrlKey || event.metaKey || event.altKey || target?.closest('input, textarea, select')) return;
  const tape = station.tape;
  if (!tape) return;
  const step_s = 0.01 * tape.span_s;
  switch (event.key) {
    case 'End':
      station.to_live();
      break;
    case 'Home':
      station.seek(0);
      break;
    case 'ArrowLeft':
      if (event.shiftKey) step(-1);
      else station.seek(tape.cursor_s - step_s);
      break;
    case 'ArrowRight':
      if (event.shiftKey) step(1);
      else station.seek(tape.cursor_s + step_s);
      break;
    case 'PageUp':
      station.seek(tape.cursor_s - tape.span_s / 2);
      break;
    case 'PageDown':
      station.seek(tape.cursor_s + tape.span_s / 2);
      break;
    case '+':
    case '=':
      tape.zoom(1 / 1.5);
      break;
    case '-':
      tape.zoom(1.5);
      break;
    case '0':
      tape.zoom_out();
      break;
    case ' ':
      if (tape.live || target?.closest('button, a, [role=slider]:not(.tape)')) return;
      station.toggle_play();
      break;
    default:
      return;
  }
  event.preventDefault();
}
