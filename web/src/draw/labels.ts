/** Words on a drawing, kept off one another: those said later count for more, and push earlier ones aside or out. */

export interface Label {
  text: string;
  x: number;
  y: number;
  align: CanvasTextAlign;
  baseline: CanvasTextBaseline;
  font: string;
}

const kLine_px = 15;
const kEdge_px = 2;
const kApart_px = 8; // else two names read as one

/**
 * Those that are written, each where it has room: its own line, the one below or the one above. What begins on the drawing,
 * `across` wide, stays on it.
 */
export function place_labels(labels: readonly Label[], across: number, width_of: (label: Label) => number): Label[] {
  const kept: { label: Label; left: number; right: number; top: number }[] = [];
  for (const label of labels.toReversed()) {
    const width = width_of(label);
    const at = label.x - (label.align === 'center' ? width / 2 : label.align === 'right' ? width : 0);
    const left = Math.max(kEdge_px, Math.min(at, across - kEdge_px - width));
    if (label.x < 0 || label.x > across) continue;
    const top = label.y - (label.baseline === 'middle' ? kLine_px / 2 : kLine_px);
    const is_free = (down: number): boolean =>
      kept.every(
        (other) =>
          other.left >= left + width + kApart_px ||
          other.right + kApart_px <= left ||
          Math.abs(other.top - top - down) >= kLine_px,
      );
    const down = [0, kLine_px, -kLine_px].find(is_free);
    if (down === undefined) continue;
    kept.push({
      label: { ...label, x: label.x + left - at, y: label.y + down },
      left,
      right: left + width,
      top: top + down,
    });
  }
  return kept.map(({ label }) => label);
}
