/** A canvas that keeps its pixels in step with its size on the page. Device pixel ratio is capped: above 2 nobody sees it. */
const kRatioMax = 2;

export class Surface {
  readonly context: CanvasRenderingContext2D;
  width = 0;
  height = 0;
  /** Rises when the size changed and everything must be drawn again. */
  version = 0;
  private readonly observer: ResizeObserver;
  private readonly watcher: IntersectionObserver;
  private seen: boolean | undefined;

  constructor(readonly canvas: HTMLCanvasElement) {
    const context = canvas.getContext('2d');
    if (!context) throw new Error('this browser draws no 2D canvas');
    this.context = context;
    this.observer = new ResizeObserver(() => this.fit());
    this.observer.observe(canvas);
    this.watcher = new IntersectionObserver((entries) => (this.seen = entries.at(-1)?.isIntersecting));
    this.watcher.observe(canvas);
    this.fit();
  }

  stop(): void {
    this.observer.disconnect();
    this.watcher.disconnect();
  }

  /** A busy browser is late to say what is in view: until then it is looked for. */
  get in_view(): boolean {
    if (this.seen !== undefined) return this.seen;
    const { top, bottom } = this.canvas.getBoundingClientRect();
    return bottom > 0 && top < window.innerHeight;
  }

  /**
   * Clears and sets CSS pixels as the unit. A canvas that is given its new size loses its picture; here, where the next one
   * is drawn at once, nobody sees it empty.
   */
  begin(): CanvasRenderingContext2D {
    const ratio = Math.min(kRatioMax, window.devicePixelRatio || 1);
    const width = Math.max(1, Math.round(this.width * ratio));
    const height = Math.max(1, Math.round(this.height * ratio));
    if (this.canvas.width !== width || this.canvas.height !== height) {
      this.canvas.width = width;
      this.canvas.height = height;
    }
    this.context.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.context.clearRect(0, 0, this.width, this.height);
    return this.context;
  }

  private fit(): void {
    this.width = this.canvas.clientWidth;
    this.height = this.canvas.clientHeight;
    this.version++;
  }
}
