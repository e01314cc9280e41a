/** Shapes that stand for events. Each level has its own outline, so that meaning never rests on colour alone. */
import type { FlightEvent, Level } from '../stream/messages';
import type { Palette } from './palette';

export type Mark = Exclude<Level, 'note'> | 'marker' | 'event';

export function mark_of(event: FlightEvent): Mark {
  if (event.kind === 'marker' || event.kind === 'note') return 'marker';
  return event.level === 'note' || event.kind === 'alert_cleared' ? 'event' : event.level;
}

/** Triangle: warning. Diamond: caution. Ring: advisory. Pennant: an operator's mark. Dot: any other event. */
export function draw_mark(context: CanvasRenderingContext2D, colours: Palette, mark: Mark, x: number, y: number): void {
  context.beginPath();
  switch (mark) {
    case 'warning':
      context.moveTo(x, y - 7);
      context.lineTo(x + 7, y + 6);
      context.lineTo(x - 7, y + 6);
      context.closePath();
      context.fillStyle = colours.warning;
      context.fill();
      break;
    case 'caution':
      context.moveTo(x, y - 7);
      context.lineTo(x + 6, y);
      context.lineTo(x, y + 7);
      context.lineTo(x - 6, y);
      context.closePath();
      context.fillStyle = colours.caution;
      context.fill();
      break;
    case 'advisory':
      context.arc(x, y, 4.5, 0, 2 * Math.PI);
      context.strokeStyle = colours.advisory;
      context.lineWidth = 2;
      context.stroke();
      break;
    case 'marker':
      context.moveTo(x, y + 7);
      context.lineTo(x, y - 7);
      context.lineTo(x + 9, y - 3.5);
      context.lineTo(x, y);
      context.strokeStyle = colours.ink;
      context.lineWidth = 1.5;
      context.stroke();
      context.fillStyle = colours.ink;
      context.fill();
      break;
    case 'event':
      context.arc(x, y, 2.5, 0, 2 * Math.PI);
      context.fillStyle = colours.note;
      context.fill();
      break;
    default:
      mark satisfies never;
  }
}
