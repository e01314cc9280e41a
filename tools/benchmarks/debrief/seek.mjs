// How long a jump in a three-hour replay takes to be seen: from a press on the tape of #/crew until the page has painted a
// figure that the station has for that moment: the altitude, and after touchdown how far away the vehicle lies.
//
//   node tools/benchmarks/debrief/seek.mjs [--turnstone PROGRAM] [--simulate PROGRAM] [--kept FOLDER]
//
// The recording is made once, in some minutes, and kept in FOLDER (build/trials/debrief/three-hours). Prints Markdown. Needs
// web/node_modules and Chromium.
import { cpSync, existsSync, mkdirSync, readdirSync, renameSync, rmSync } from 'node:fs';
import { loadavg } from 'node:os';
import { join, resolve } from 'node:path';
import { api, folder, kDemo, kSimulate, kTurnstone, open_another_browser, open_page, recorded_rows, recorded_word, sleep, start, station, stop, until } from '../../../tests/browser/harness.mjs';

const place = process.argv.indexOf('--kept');
const kKept = resolve(place < 0 ? 'build/trials/debrief/three-hours' : process.argv[place + 1]);
const kLimit_ms = 100;
const kJumps = 40;
const kSettled_ms = 600; // after a jump nothing of it is outstanding
const kMeasured_s = 1.1; // a figure is a row of its source as it was when something was last measured; fixes are a second apart, more or less
const kRail_s = 3600;
const kDown_s = 7130;

const ended = (child) => (child.exitCode === null ? new Promise((done) => child.once('exit', done)) : Promise.resolve());

async function make_recording() {
  if (existsSync(kKept)) return;
  const [log, draft] = [join(folder, 'three-hours.bin'), `${kKept}.draft`];
  rmSync(draft, { recursive: true, force: true });
  mkdirSync(draft, { recursive: true });
  const flown = start(kSimulate, ['--scenario', 'nominal', '--seed', '7', '--impairment', 'mild', '--speed', 'max', '--to', `file:${log}`, '--vehicle', join(kDemo, 'sanderling'), '--site', join(kDemo, 'site.json'), '--before-ignition-s', `${kRail_s}`, '--after-touchdown-s', `${kDown_s}`]);
  await ended(flown);
  const recorded = start(kTurnstone, ['serve', '--vehicle', join(kDemo, 'sanderling'), '--site', join(kDemo, 'site.json'), '--link', `file:${log}?name=capture`, '--exit-at-end', '--port', '0', '--recordings', draft]);
  await ended(recorded);
  if (recorded.exitCode !== 0) throw new Error(`the recording failed:\n${flown.text}${recorded.text}`);
  renameSync(draft, kKept);
}

/** Runs in the page: after each press, every painting of the two figures with how long it took, and what they were before. */
function note_paints() {
  const numbers = () => ['altitude', 'place'].map((name) => Number(document.querySelector(`[data-testid=readout-${name}]`)?.dataset.number ?? NaN));
  globalThis.jump = { began_ms: 0, before: [], seen: [] };
  addEventListener('pointerdown', (event) => (globalThis.jump = { began_ms: event.timeStamp, before: numbers(), seen: [] }), { capture: true });
  const painted = new MessageChannel();
  let waiting = false;
  painted.port1.onmessage = () => {
    waiting = false;
    globalThis.jump.seen.push({ ms: performance.now() - globalThis.jump.began_ms, numbers: numbers() });
  };
  new MutationObserver(() => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => painted.port2.postMessage(0)); // arrives when the frame has been painted
  }).observe(document, { subtree: true, childList: true, characterData: true, attributes: true });
}

/** What the two figures may be at a moment, by the rows just before it. */
async function recorded_figures(id, t_s) {
  const rows = (table, column) => recorded_rows(id, table, column, t_s - kMeasured_s, t_s);
  const aided = (await recorded_word(id, t_s, '/estimate/navigation', 'mode')) === 'GNSS-aided';
  const altitudes = await (aided ? rows('/estimate/navigation', 'up_m') : rows('/estimate/vertical', 'altitude_m'));
  const [east, north] = [await rows('/estimate/last_place', 'east_m'), await rows('/estimate/last_place', 'north_m')];
  return [...altitudes, ...east.map((east_m, k) => Math.hypot(east_m, north[k]))];
}

const close = (a, b) => Math.abs(a - b) <= 1e-9 * Math.max(1, Math.abs(b));
const quantile = (sorted, q) => sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))];

async function jumps(browser, id, width, height, throttle) {
  const page = await open_page(browser, [], 'seek', width, height, 'light');
  await page.addInitScript(note_paints);
  await page.goto(`${station.address}#/crew/${id}`);
  const tape = page.getByTestId('tape');
  await until('the replay', async () => Number(await tape.getAttribute('aria-valuemax')) > 10_000);
  const session = await page.context().newCDPSession(page);
  await session.send('Emulation.setCPUThrottlingRate', { rate: throttle });
  await sleep(3000);
  const { x, y, width: wide, height: high } = await tape.boundingBox();
  const took_ms = [];
  let unclear = 0;
  for (let k = 0; k < kJumps; k++) {
    // Everywhere, and far from the last: steps of the golden ratio.
    await page.mouse.click(x + 16 + (wide - 32) * ((0.1 + k * 0.618034) % 1), y + 0.3 * high);
    await sleep(kSettled_ms * throttle);
    const right = await recorded_figures(id, Number(await tape.getAttribute('aria-valuenow')));
    const { before, seen } = await page.evaluate(() => globalThis.jump);
    const first = seen.find(({ numbers }) => numbers.some((number, which) => number !== before[which] && right.some((one) => close(number, one))));
    if (first) took_ms.push(first.ms);
    else unclear++;
  }
  await page.close();
  took_ms.sort((a, b) => a - b);
  return { took_ms, unclear };
}

await make_recording();
const served = join(folder, 'recordings');
cpSync(kKept, served, { recursive: true });
const server = start(kTurnstone, ['serve', '--vehicle', join(kDemo, 'sanderling'), '--site', join(kDemo, 'site.json'), '--link', `serial:${join(folder, 'none')}?baud=57600`, '--port', '0', '--recordings', served]);
const browser = await open_another_browser('profile');
let good = true;
try {
  station.address = await until('the server to say its address', () => /listening on (http:\/\/\S+)/.exec(server.text)?.[1]);
  const id = readdirSync(kKept).find((name) => name.endsWith('.sqlite')).replace(/(\.rec)?\.sqlite$/, '');
  const { recording } = await api(`recordings/${id}/description`);
  console.log(`\nIn the browser, headless Chromium on the station's own computer: from a press on the tape of \`#/crew\` until a figure of\nthat moment is painted, ${kJumps} jumps over ${(recording.t_end_s / 3600).toFixed(2)} hours. Load ${loadavg()[0].toFixed(1)} at the start.\n`);
  console.log('| a jump in the browser, ms | median | 95 of 100 | worst | at most | never painted |');
  console.log('|---|--:|--:|--:|--:|--:|');
  for (const [width, height, throttle, name] of [[1366, 768, 1, 'a laptop'], [390, 844, 4, 'a phone, a quarter of the processor']]) {
    const { took_ms, unclear } = await jumps(browser, id, width, height, throttle);
    const limited = (ms) => (ms <= kLimit_ms ? ms.toFixed(0) : `**${ms.toFixed(0)}**`);
    good &&= quantile(took_ms, 0.95) <= kLimit_ms && unclear === 0;
    console.log(`| ${width}x${height}, ${name} | ${limited(quantile(took_ms, 0.5))} | ${limited(quantile(took_ms, 0.95))} | ${limited(took_ms.at(-1))} | ${kLimit_ms} | ${unclear === 0 ? 0 : `**${unclear}**`} |`);
  }
} finally {
  await browser.close();
  await stop(server);
  rmSync(folder, { recursive: true, force: true });
}
process.exit(good ? 0 : 1);
