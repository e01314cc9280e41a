/** The open strips as one picture with their titles and the time axis, drawn by the same code as on the page. */
import { draw_axis } from '../../draw/strip/axis';
import { Kept } from '../../draw/strip/kept';
import { palette } from '../../draw/palette';
import type { Pen } from '../../draw/pen';
import { draw_strip } from '../../draw/strip/strip';
import { SvgPen } from '../../draw/svg_pen';
import { scene_of } from '../../strips/scene';
import { strip_values } from '../../strips/strip_values';
import type { History } from '../../tape/history';
import type { Strip } from '../../tape/strips';
import type { Tape } from '../../tape/tape';
import { zero_of } from '../../tape/zero';
import { shown_unit } from '../../text/units';

const kGutter_px = 190;
const kPlot_px = 1000;
const kStrip_px = 90;
const kTitle_px = 34;
const kAxis_px = 26;
const kRatio = 2; // pixels of a PNG for each of the picture's

interface Picture {
  tape: Tape;
  history: History;
  vehicle: number;
  strips: readonly Strip[];
}

const size_of = ({ strips }: Picture): { width: number; height: number } => ({
  width: kGutter_px + kPlot_px,
  height: kTitle_px + kStrip_px * strips.length + kAxis_px,
});

/** `part` moves the pen's corner. */
function draw(picture: Picture, pen: Pen, part: (x: number, y: number) => void): void {
  const { tape, history, vehicle, strips } = picture;
  const colours = palette();
  const window = { from_s: tape.from_s, span_s: tape.span_s };
  const { recording, vehicles } = tape.description;
  part(0, 0);
  pen.textAlign = 'left';
  pen.textBaseline = 'middle';
  pen.font = `bold 15px ${colours.font}`;
  pen.fillStyle = colours.ink;
  pen.fillText([vehicles[vehicle]?.title, recording.name || recording.id].join(' · '), 8, kTitle_px / 2);
  strips.forEach((strip, i) => {
    const top = kTitle_px + i * kStrip_px;
    part(kGutter_px, top);
    pen.fillStyle = colours.surface;
    pen.fillRect(0, 0, kPlot_px, kStrip_px);
    draw_strip(pen, colours, kPlot_px, kStrip_px, scene_of(tape, history, vehicle, strip, window, i === 0, new Kept()));
    part(0, top);
    pen.fillStyle = colours.edge;
    pen.fillRect(0, 0, kGutter_px + kPlot_px, 1);
    pen.textAlign = 'left';
    pen.textBaseline = 'middle';
    pen.font = `13px ${colours.font}`;
    pen.fillStyle = colours.muted;
    pen.fillText(strip.title, 8, 14);
    pen.font = `bold 14px ${colours.font}`;
    strip_values(tape, history, strip, NaN).forEach((value, k) => {
      const unit = strip.words ? '' : shown_unit(strip.unit).symbol;
      pen.fillStyle = strip.series.length > 1 ? (colours.series[k] ?? colours.ink) : colours.ink;
      pen.fillText([value.label, value.text, unit, value.spread].join(' ').trim(), 8, 34 + 16 * k);
    });
  });
  part(kGutter_px, kTitle_px + strips.length * kStrip_px);
  draw_axis(pen, colours, kPlot_px, kAxis_px, window, zero_of(tape, vehicle));
}

export function svg_of(picture: Picture): Blob {
  const { width, height } = size_of(picture);
  const pen = new SvgPen(width, height);
  draw(picture, pen, (x, y) => pen.move_to_part(x, y));
  return new Blob([pen.picture(palette().ground)], { type: 'image/svg+xml' });
}

export async function png_of(picture: Picture): Promise<Blob> {
  const { width, height } = size_of(picture);
  const canvas = document.createElement('canvas');
  canvas.width = width * kRatio;
  canvas.height = height * kRatio;
  const context = canvas.getContext('2d');
  if (!context) throw new Error('this browser draws no 2D canvas');
  context.fillStyle = palette().ground;
  context.fillRect(0, 0, canvas.width, canvas.height);
  draw(picture, context, (x, y) => context.setTransform(kRatio, 0, 0, kRatio, kRatio * x, kRatio * y));
  return new Promise((done, fail) =>
    canvas.toBlob((blob) => (blob ? done(blob) : fail(new Error('this browser makes no PNG of a picture')))),
  );
}
