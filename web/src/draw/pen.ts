/** What drawing code asks of a canvas. A picture as SVG is drawn by the same code with a pen that writes it down. */
export type Pen = Pick<
  CanvasRenderingContext2D,
  | 'fillStyle'
  | 'strokeStyle'
  | 'lineWidth'
  | 'lineJoin'
  | 'font'
  | 'textAlign'
  | 'textBaseline'
  | 'setLineDash'
  | 'beginPath'
  | 'moveTo'
  | 'lineTo'
  | 'closePath'
  | 'fill'
  | 'stroke'
  | 'fillRect'
  | 'strokeText'
  | 'fillText'
  | 'measureText'
>;

/** Stroke from one point to another. */
export function line(pen: Pen, x0: number, y0: number, x1: number, y1: number): void {
  pen.beginPath();
  pen.moveTo(x0, y0);
  pen.lineTo(x1, y1);
  pen.stroke();
}

/** Text on a plate of the ground's colour, so that lines under it do not cross it. */
export function write(pen: Pen, text: string, x: number, y: number, colour: string, plate: string): void {
  pen.lineWidth = 3;
  pen.lineJoin = 'round';
  pen.strokeStyle = plate;
  pen.strokeText(text, x, y);
  pen.fillStyle = colour;
  pen.fillText(text, x, y);
}

const kHatchStep_px = 7;

/** Oblique strokes over a box: what is missing or old. Each is cut at the box's edges by itself, so no clip is needed. */
export function hatch(pen: Pen, colour: string, x: number, y: number, width: number, height: number): void {
  pen.strokeStyle = colour;
  pen.lineWidth = 1.2;
  pen.beginPath();
  for (let d = -height; d < width; d += kHatchStep_px) {
    const begin = Math.max(0, -d);
    const end = Math.min(height, width - d);
    if (end <= begin) continue;
    pen.moveTo(x + d + begin, y + height - begin);
    pen.lineTo(x + d + end, y + height - end);
  }
  pen.stroke();
}
