/** Colours of the canvases, read from the same tokens as the rest of the page (style/tokens.css). */
export interface Palette {
  ink: string;
  muted: string;
  ground: string;
  surface: string;
  rule: string;
  edge: string;
  cursor: string;
  accent: string;
  on_accent: string;
  hover: string;
  /** Ground of each phase of flight, by its word. */
  tints: ReadonlyMap<string, string>;
  band_a: string;
  band_b: string;
  window: string;
  hatch: string;
  range: string;
  profile: string;
  series: readonly string[];
  bands: readonly string[];
  warning: string;
  caution: string;
  advisory: string;
  limit: string;
  font: string;
  version: number;
}

/** On the rail and presumed down, where nothing is seen to fly, have the plain ground. */
export const kTints: Readonly<Record<string, string>> = {
  'under thrust': '--tint-under-thrust',
  coasting: '--tint-coasting',
  'falling (no parachute)': '--tint-falling',
  'under drogue': '--tint-under-drogue',
  'under main': '--tint-under-main',
  down: '--tint-down',
};

/** Limits and boundaries: long, short, long. */
export const kChain: readonly number[] = [14, 3, 3, 3];

let current: Palette | undefined;
let version = 0;

/** Colours are read again when the theme changes. */
function follow_theme(): void {
  new MutationObserver(() => (current = undefined)).observe(document.documentElement, {
    attributeFilter: ['data-theme'],
  });
}

export function palette(): Palette {
  if (current) return current;
  if (version === 0) follow_theme();
  const style = getComputedStyle(document.documentElement);
  const token = (name: string): string => style.getPropertyValue(name).trim();
  current = {
    ink: token('--ink'),
    muted: token('--note'),
    ground: token('--ground'),
    surface: token('--paper'),
    rule: token('--rule'),
    edge: token('--edge'),
    cursor: token('--cursor'),
    accent: token('--accent'),
    on_accent: token('--on-accent'),
    hover: token('--note'),
    tints: new Map(Object.entries(kTints).map(([phase, tint]) => [phase, token(tint)])),
    band_a: token('--word-a'),
    band_b: token('--word-b'),
    window: token('--window'),
    hatch: token('--hatch'),
    range: token('--range'),
    profile: token('--silhouette'),
    series: [1, 2, 3, 4].map((i) => token(`--series-${i}`)),
    bands: [1, 2, 3, 4].map((i) => token(`--band-${i}`)),
    warning: token('--warning'),
    caution: token('--caution'),
    advisory: token('--advisory'),
    limit: token('--limit'),
    font: token('--font'),
    version: ++version,
  };
  return current;
}
