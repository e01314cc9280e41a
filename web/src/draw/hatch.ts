/** Hatching: nothing was received, or what is shown is old. */
import type { Palette } from './palette';

let hatch: { pattern: CanvasPattern | null; version: number } | undefined;

export function hatching(context: CanvasRenderingContext2D, colours: Palette): CanvasPattern | string {
  if (hatch?.version !== colours.version) {
    const tile = document.createElement('canvas');
    tile.width = tile.height = 8;
    const pen = tile.getContext('2d');
    if (pen) {
      pen.fillStyle = colours.surface;
      pen.fillRect(0, 0, 8, 8);
      pen.strokeStyle = colours.hatch;
      pen.lineWidth = 2;
      pen.beginPath();
      for (const shift of [-8, 0, 8]) {
        pen.moveTo(shift, 8);
        pen.lineTo(shift + 8, 0);
      }
      pen.stroke();
    }
    hatch = { pattern: context.createPattern(tile, 'repeat'), version: colours.version };
  }
  return hatch.pattern ?? colours.hatch;
}
