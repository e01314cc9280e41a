/**
 * Pointer, wheel and pinch on strips, axis and tape. On strips a drag moves the window and a tap puts the cursor; on the
 * tape a drag moves the cursor. A tap with Shift puts the second cursor, from which is measured. Plain wheel zooms on axis and tape; on strips it scrolls the list, so there Ctrl (which
 * is also what a trackpad pinch sends) zooms.
 */
import { station } from '../station/station.svelte';
import { chosen } from './chosen.svelte';

export type Ground = 'strips' | 'axis';

const kTapPx = 5;

/** The plot under the pointer, by which x becomes time: strips and axis share their edges. */
function plot_of(node: HTMLElement): DOMRect {
  const plot = node.matches('[data-plot]') ? node : node.querySelector('[data-plot]');
  return (plot ?? node).getBoundingClientRect();
}

export function drag_window(node: HTMLElement, ground: Ground): { destroy(): void } {
  const pointers = new Map<number, { x: number; y: number }>();
  let moved = false;
  let start = { x: 0, y: 0 };
  let spread = 0;

  const time_at = (x: number): number => {
    const tape = station.tape;
    const plot = plot_of(node);
    return tape ? tape.from_s + ((x - plot.left) / Math.max(1, plot.width)) * tape.span_s : 0;
  };
  const inside = (event: PointerEvent | WheelEvent): boolean => {
    const plot = plot_of(node);
    return event.clientX >= plot.left && event.clientX <= plot.right && !(event.target as Element).closest('button');
  };

  const down = (event: PointerEvent): void => {
    if (event.button !== 0 || !inside(event)) return;
    pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (pointers.size === 1) {
      moved = false;
      start = { x: event.clientX, y: event.clientY };
    } else {
      moved = true;
      spread = distance();
    }
  };
  const distance = (): number => {
    const [a, b] = [...pointers.values()];
    return a && b ? Math.max(20, Math.abs(a.x - b.x)) : 0;
  };
  const move = (event: PointerEvent): void => {
    const before = pointers.get(event.pointerId);
    const tape = station.tape;
    if (!tape) return;
    if (!before) {
      station.hover_s = inside(event) ? time_at(event.clientX) : NaN;
      return;
    }
    if (!moved && Math.abs(event.clientX - start.x) > kTapPx) {
      moved = true;
      node.setPointerCapture(event.pointerId);
    }
    if (!moved) return;
    const plot = plot_of(node);
    if (pointers.size === 1) {
      station.pan((-(event.clientX - before.x) / Math.max(1, plot.width)) * tape.span_s);
    }
    pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (pointers.size === 2) {
      const now = distance();
      const [a, b] = [...pointers.values()];
      if (spread > 0 && now > 0 && a && b) tape.zoom(spread / now, time_at((a.x + b.x) / 2));
      spread = now;
    }
  };
  const up = (event: PointerEvent): void => {
    if (!pointers.delete(event.pointerId)) return;
    if (moved || event.type !== 'pointerup') return;
    if (event.shiftKey) chosen.second_s = time_at(event.clientX);
    else station.seek(time_at(event.clientX));
  };
  const leave = (): void => {
    station.hover_s = NaN;
  };
  const wheel = (event: WheelEvent): void => {
    const tape = station.tape;
    if (!tape || !inside(event)) return;
    if (ground === 'axis' || event.ctrlKey) {
      tape.zoom(Math.exp(event.deltaY * 0.002), time_at(event.clientX));
      event.preventDefault();
    } else if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      station.pan((event.deltaX / Math.max(1, plot_of(node).width)) * tape.span_s);
      event.preventDefault();
    }
  };

  node.addEventListener('pointerdown', down);
  node.addEventListener('pointermove', move);
  node.addEventListener('pointerup', up);
  node.addEventListener('pointercancel', up);
  node.addEventListener('pointerleave', leave);
  node.addEventListener('wheel', wheel, { passive: false });
  return {
    destroy: () => {
      node.removeEventListener('pointerdown', down);
      node.removeEventListener('pointermove', move);
      node.removeEventListener('pointerup', up);
      node.removeEventListener('pointercancel', up);
      node.removeEventListener('pointerleave', leave);
      node.removeEventListener('wheel', wheel);
    },
  };
}
