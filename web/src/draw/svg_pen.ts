/** A pen that writes what is drawn as SVG 1.1: the picture scales without loss, and its words stay words. */
import type { Pen } from './pen';

const kWidthOfEm = 0.58; // of an average letter; only for how far words reach

const escape = (text: string): string =>
  text.replace(/[&<>"]/g, (sign) => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' })[sign] ?? '');
const round = (value: number): string => String(Math.round(value * 100) / 100);

export class SvgPen implements Pen {
  fillStyle: string | CanvasGradient | CanvasPattern = '#000';
  strokeStyle: string | CanvasGradient | CanvasPattern = '#000';
  lineWidth = 1;
  lineJoin: CanvasLineJoin = 'miter';
  font = '10px sans-serif';
  textAlign: CanvasTextAlign = 'left';
  textBaseline: CanvasTextBaseline = 'alphabetic';
  private readonly parts: string[] = [];
  private dash: readonly number[] = [];
  private path = '';
  private moved_x = 0;
  private moved_y = 0;

  constructor(
    readonly width: number,
    readonly height: number,
  ) {}

  /** What is drawn from here on lies this far from the picture's corner. */
  move_to_part(x: number, y: number): void {
    this.moved_x = x;
    this.moved_y = y;
  }

  setLineDash(dash: Iterable<number>): void {
    this.dash = [...dash];
  }
  beginPath(): void {
    this.path = '';
  }
  moveTo(x: number, y: number): void {
    this.path += `M${this.at(x, y)}`;
  }
  lineTo(x: number, y: number): void {
    this.path += `L${this.at(x, y)}`;
  }
  closePath(): void {
    this.path += 'Z';
  }
  fill(): void {
    this.parts.push(`<path d="${this.path}" fill="${this.colour(this.fillStyle)}"/>`);
  }
  stroke(): void {
    this.parts.push(`<path d="${this.path}" fill="none" ${this.pen_words()}/>`);
  }
  fillRect(x: number, y: number, width: number, height: number): void {
    const [left, top] = [round(x + this.moved_x), round(y + this.moved_y)];
    const size = `width="${round(width)}" height="${round(height)}"`;
    this.parts.push(`<rect x="${left}" y="${top}" ${size} fill="${this.colour(this.fillStyle)}"/>`);
  }
  fillText(text: string, x: number, y: number): void {
    this.text(text, x, y, `fill="${this.colour(this.fillStyle)}"`);
  }
  strokeText(text: string, x: number, y: number): void {
    this.text(text, x, y, `fill="none" ${this.pen_words()}`);
  }
  measureText(text: string): TextMetrics {
    return { width: text.length * this.size_px * kWidthOfEm } as TextMetrics;
  }

  /** The picture so far, as a file. */
  picture(ground: string): string {
    const size = `width="${round(this.width)}" height="${round(this.height)}"`;
    const box = `viewBox="0 0 ${round(this.width)} ${round(this.height)}"`;
    const under = `<rect ${size} fill="${escape(ground)}"/>`;
    return `<svg xmlns="http://www.w3.org/2000/svg" ${size} ${box}>\n${[under, ...this.parts].join('\n')}\n</svg>\n`;
  }

  private get size_px(): number {
    return Number(/([\d.]+)px/.exec(this.font)?.[1] ?? 10);
  }
  private at(x: number, y: number): string {
    return `${round(x + this.moved_x)} ${round(y + this.moved_y)}`;
  }
  private colour(style: string | CanvasGradient | CanvasPattern): string {
    return typeof style === 'string' ? escape(style) : 'none';
  }
  private pen_words(): string {
    const dash = this.dash.length > 0 ? ` stroke-dasharray="${this.dash.join(' ')}"` : '';
    const join = this.lineJoin === 'miter' ? '' : ` stroke-linejoin="${this.lineJoin}"`;
    return `stroke="${this.colour(this.strokeStyle)}" stroke-width="${round(this.lineWidth)}"${join}${dash}`;
  }
  private text(text: string, x: number, y: number, paint: string): void {
    const anchor = this.textAlign === 'center' ? 'middle' : this.textAlign === 'right' ? 'end' : 'start';
    const family = escape(this.font.replace(/^.*?px\s*/, ''));
    const weight = /\b(bold|[5-9]00)\b/.test(this.font) ? ' font-weight="bold"' : '';
    const base = this.textBaseline === 'middle' ? ' dominant-baseline="central"' : '';
    const type = `font-family="${family}" font-size="${this.size_px}"${weight} text-anchor="${anchor}"${base}`;
    const [left, top] = [round(x + this.moved_x), round(y + this.moved_y)];
    this.parts.push(`<text x="${left}" y="${top}" ${type} ${paint}>${escape(text)}</text>`);
  }
}
