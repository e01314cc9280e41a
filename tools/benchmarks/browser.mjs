// What the dashboard costs a browser: frames, the main thread, processor time and heap, beside one bare page that draws the
// same strips from the same stream without anything around them; how long a byte takes to be seen; and when the first number
// stands on a slow phone over a slow line.
//
//   node tools/benchmarks/browser.mjs --dist FOLDER [--seconds 20]
//
// FOLDER is a built dashboard (build/release/web/dist). Needs web/node_modules and Chromium.
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { createServer } from 'node:http';
import { createRequire } from 'node:module';
import { loadavg, tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';

const kSource = resolve(dirname(fileURLToPath(import.meta.url)), '../..');
const require = createRequire(join(kSource, 'web/package.json'));
const { chromium } = require('playwright-core');
const { WebSocketServer } = require('ws');

const option = (name, fallback) => {
  const place = process.argv.indexOf(`--${name}`);
  return place < 0 ? fallback : process.argv[place + 1];
};
const kDist = resolve(option('dist', join(kSource, 'build/release/web/dist')));
const kSeconds = Number(option('seconds', '20'));
const kStrips = 12;
const kSeries = 4;
const kRows_hz = 50;
const kTick_ms = 50; // the stream leaves at the latest this often
const kLaptopMost_ms = 17; // 95 of 100 frames of the dashboard come within this
const kPhoneMost_ms = 33;
const kSeenMost_ms = 50; // from the newest byte's leaving the station to its paint, 95 of 100
const kFirstMost_ms = 1000;
const kFirstLine_bps = 1.6e6;
const kFirstThrottle = 4;
const kBefore_s = 70; // of the recording when a page comes: the window is full
const kTypes = { html: 'text/html; charset=utf-8', js: 'text/javascript', css: 'text/css', svg: 'image/svg+xml', webmanifest: 'application/manifest+json' };

// A recording of twelve tables, each one strip of four lines

const column = (title, name, line) => ({
  name, title: name, description: '', unit: 'm/s2', group: 'Bench', decimals: 2, range: null, enumeration: null, role: null,
  sigma_column: null, interval: null, strip: { title, line }, text: false,
});
const tables = Array.from({ length: kStrips }, (_, id) => ({
  id, name: `bench/strip${id}`, title: `Strip ${id + 1}`, kind: 'packet', vehicle: 0, period_s: 1 / kRows_hz,
  columns: ['a', 'b', 'c', 'd'].slice(0, kSeries).map((line) => column(`Strip ${id + 1}`, `value_${line}`, line)),
}));
// What #/watch shows a number of
tables.push({
  id: kStrips, name: 'bench/estimate/ascent', title: 'Ascent', kind: 'estimate', vehicle: 0, period_s: 0.5,
  columns: ['apogee_m', 'apogee_in_s'].map((name) => ({ ...column('', name, ''), strip: null })),
});
const latest = () => [{ table: kStrips, t_s: now_s(), values: [1107, 15] }];
const value = (t, strip, line) => Math.sin(t * (0.3 + 0.1 * line) + strip) * (1 + line) + 0.2 * Math.sin(t * 41 + line * 7 + strip * 3);
const started_ms = Date.now() - 1000 * kBefore_s;
const now_s = () => (Date.now() - started_ms) / 1000;
const description = () => ({
  version: 1,
  recording: { id: 'bench', name: '', notes: '', t_start_ns: `${started_ms}000000`, utc_start_ns: `${started_ms}000000`, t_end_s: now_s(), live: true, closed: false, file_bytes: 0, damage: '' },
  software: '0', site: { name: 'Bench', pad: { latitude_deg: 10, longitude_deg: 10, height_m: 0 }, station: { latitude_deg: 10, longitude_deg: 10, height_m: 0 }, declination_deg: 0, boundary: [], has_terrain: false },
  vehicles: [{ name: 'bench', title: 'Bench', dictionary_version: '1', has_rocket: true }], links: [], tables,
});

function row_times(from, to) {
  const times = [];
  for (let k = Math.ceil(from * kRows_hz); k / kRows_hz < to; k++) times.push(k / kRows_hz);
  return times;
}

/** protocol/STREAM.md, section 2. */
function block_message(from, to, seq) {
  const times = row_times(from, to);
  const bytes = Buffer.alloc(24 + kStrips * (8 + 8 * times.length * (1 + kSeries)));
  bytes.writeUInt8(1, 0);
  bytes.writeUInt8(1, 1);
  bytes.writeUInt32LE(kStrips, 4);
  bytes.writeBigUInt64LE(BigInt(seq), 8);
  bytes.writeDoubleLE(to, 16);
  let at = 24;
  const put = (number) => (at = bytes.writeDoubleLE(number, at));
  for (let strip = 0; strip < kStrips; strip++) {
    bytes.writeUInt16LE(strip, at);
    bytes.writeUInt16LE(kSeries, at + 2);
    bytes.writeUInt32LE(times.length, at + 4);
    at += 8;
    for (const t of times) put(t);
    for (let line = 0; line < kSeries; line++) for (const t of times) put(value(t, strip, line));
  }
  return bytes;
}

/** Section 4, not decimated. */
function series(table, from, to) {
  const times = row_times(Math.max(0, from), Math.min(to, now_s()));
  const bytes = Buffer.alloc(16 + 8 * times.length * (1 + kSeries));
  bytes.write('TSS1', 0, 'ascii');
  bytes.writeUInt16LE(table, 4);
  bytes.writeUInt16LE(kSeries, 6);
  bytes.writeUInt32LE(times.length, 8);
  let at = 16;
  for (const t of times) at = bytes.writeDoubleLE(t, at);
  for (let line = 0; line < kSeries; line++) for (const t of times) at = bytes.writeDoubleLE(value(t, table, line), at);
  return bytes;
}

/** Twelve canvases that draw their four lines point by point, twenty times a second. */
const kBarePage = `<!doctype html><meta charset="utf-8"><title>bare</title><style>body{margin:0}canvas{display:block;width:100vw;height:calc(100vh/${kStrips})}</style><script src="/bare.js" type="module"></script>`;
const kBareScript = `
const strips = Array.from({ length: ${kStrips} }, () => ({ t: [], v: [[], [], [], []], canvas: document.body.appendChild(document.createElement('canvas')) }));
const take = (view, at, table, rows) => {
  const strip = strips[table];
  for (let i = 0; i < rows; i++) strip.t.push(view.getFloat64(at + 8 * i, true));
  strip.v.forEach((line, c) => { for (let i = 0; i < rows; i++) line.push(view.getFloat64(at + 8 * rows * (1 + c) + 8 * i, true)); });
  const late = strip.t.length - ${60 * kRows_hz};
  if (late > 0) { strip.t.splice(0, late); strip.v.forEach((line) => line.splice(0, late)); }
};
const socket = new WebSocket('ws://' + location.host + '/api/stream');
socket.binaryType = 'arraybuffer';
socket.onmessage = ({ data }) => {
  if (typeof data === 'string') return;
  const view = new DataView(data);
  let at = 24;
  for (let b = view.getUint32(4, true); b > 0; b--) {
    const rows = view.getUint32(at + 4, true);
    take(view, at + 8, view.getUint16(at, true), rows);
    at += 8 + 8 * rows * (1 + view.getUint16(at + 2, true));
  }
};
const colours = ['#17549c', '#0a5c4d', '#6d318f', '#4d5358'];
let drawn = 0;
requestAnimationFrame(function frame(now) {
  requestAnimationFrame(frame);
  if (now - drawn < 50) return;
  drawn = now;
  for (const { t, v, canvas } of strips) {
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (canvas.width !== width) [canvas.width, canvas.height] = [width, height];
    const context = canvas.getContext('2d');
    context.clearRect(0, 0, width, height);
    const end = t.at(-1) ?? 0;
    v.forEach((line, k) => {
      context.strokeStyle = colours[k];
      context.beginPath();
      for (let i = 0; i < t.length; i++) context.lineTo(width * (1 - (end - t[i]) / 60), height / 2 - line[i] * height / 12);
      context.stroke();
    });
  }
});`;

const server = createServer((request, response) => {
  const url = new URL(request.url, 'http://bench');
  const send = (type, body) => {
    response.writeHead(200, { 'Content-Type': type });
    response.end(body);
  };
  const json = (body) => send('application/json', JSON.stringify(body));
  if (url.pathname === '/bare') return send('text/html', kBarePage);
  if (url.pathname === '/bare.js') return send('text/javascript', kBareScript);
  if (url.pathname === '/api/session') return json({ role: 'viewer', version: '0' });
  if (url.pathname.endsWith('/events')) return json({ events: [], next: null });
  if (url.pathname.endsWith('/latest')) return json({ latest: [] });
  if (url.pathname.endsWith('/series')) {
    const number = (name, otherwise) => Number(url.searchParams.get(name) ?? otherwise);
    return send('application/vnd.turnstone.series', series(number('table', 0), number('from_s', 0), number('to_s', 1e9)));
  }
  const path = join(kDist, url.pathname === '/' ? 'index.html' : url.pathname);
  if (existsSync(path)) {
    response.writeHead(200, { 'Content-Type': kTypes[path.split('.').pop()] ?? 'text/plain', 'Content-Encoding': 'gzip' });
    return response.end(gzipSync(readFileSync(path)));
  }
  response.writeHead(404);
  return response.end();
});
new WebSocketServer({ server, path: '/api/stream' }).on('connection', (socket) => {
  let told = now_s();
  let seq = 0;
  socket.send(JSON.stringify({ type: 'hello', version: 1, role: 'viewer', server_id: 'bench', description: description(), roles: {}, mode: 'live', latest: latest() }));
  const status = () => socket.send(JSON.stringify({ type: 'status', t_s: now_s(), viewers: 1, utc_ns: `${Date.now()}000000`, links: [], recorder: { recording: true } }));
  status();
  const timers = [
    setInterval(() => {
      const now = now_s();
      socket.send(block_message(told, now, seq++));
      told = now;
    }, kTick_ms),
    setInterval(status, 1000),
  ];
  socket.on('close', () => timers.forEach(clearInterval));
});
await new Promise((done) => server.listen(0, '127.0.0.1', done));
const address = `http://127.0.0.1:${server.address().port}`;

// Measuring

const part = (sorted, p) => sorted[Math.min(sorted.length - 1, Math.floor(p * sorted.length))] ?? NaN;
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

/** Runs in the page: how long ago the newest byte left the station when a painting of what it brought is done. */
function time_paints(started) {
  globalThis.seen_ms = [];
  let newest_s = NaN;
  const add = WebSocket.prototype;
  const receive = Object.getOwnPropertyDescriptor(add, 'onmessage');
  Object.defineProperty(add, 'onmessage', {
    ...receive,
    set(handler) {
      receive.set.call(this, handler && ((event) => {
        if (event.data instanceof ArrayBuffer) newest_s = new DataView(event.data).getFloat64(16, true);
        handler.call(this, event);
      }));
    },
  });
  const clear = CanvasRenderingContext2D.prototype.clearRect;
  const done = new MessageChannel();
  let waiting = NaN;
  done.port1.onmessage = () => {
    globalThis.seen_ms.push(performance.timeOrigin + performance.now() - started - 1000 * waiting);
    waiting = NaN;
  };
  CanvasRenderingContext2D.prototype.clearRect = function (...box) {
    const is_strip = this.canvas.closest('.strip') !== null || this.canvas.parentElement === document.body;
    if (is_strip && !Number.isNaN(newest_s) && Number.isNaN(waiting)) {
      waiting = newest_s;
      newest_s = NaN;
      requestAnimationFrame(() => done.port2.postMessage(0));
    }
    return clear.apply(this, box);
  };
}

/** From the navigation until a figure of #/watch with a digit is painted: nothing is cached, the device and the line are slow. */
async function first_number() {
  const page = await context.newPage();
  const session = await context.newCDPSession(page);
  await page.setViewportSize({ width: 390, height: 844 });
  await session.send('Network.enable');
  await session.send('Network.setCacheDisabled', { cacheDisabled: true });
  await session.send('Network.setBypassServiceWorker', { bypass: true });
  await session.send('Network.emulateNetworkConditions', { offline: false, latency: 0, downloadThroughput: kFirstLine_bps / 8, uploadThroughput: kFirstLine_bps / 8 });
  await session.send('Emulation.setCPUThrottlingRate', { rate: kFirstThrottle });
  await page.addInitScript(() => {
    globalThis.first = new Promise((found) => {
      const look = () => [...document.querySelectorAll('.fig b')].some((one) => /\d/.test(one.textContent));
      new MutationObserver((_, watcher) => {
        if (!look()) return;
        watcher.disconnect();
        requestAnimationFrame(() => setTimeout(() => found(performance.now()), 0));
      }).observe(document, { childList: true, characterData: true, subtree: true });
    });
  });
  await page.goto(`${address}/#/watch`, { waitUntil: 'commit' });
  const ms = await page.evaluate(() => globalThis.first);
  await page.close();
  return ms;
}

async function measure(context, path, width, height, throttle) {
  const page = await context.newPage();
  const session = await context.newCDPSession(page);
  await page.setViewportSize({ width, height });
  await page.addInitScript((ids) => {
    localStorage.setItem('turnstone.strips.bench', JSON.stringify({ pinned: ids, open: [] }));
  }, tables.map((table) => `${table.name}/value_a`));
  await page.addInitScript(time_paints, started_ms);
  await page.goto(address + path);
  await session.send('Performance.enable');
  await session.send('HeapProfiler.enable');
  await session.send('Emulation.setCPUThrottlingRate', { rate: throttle });
  await sleep(5000);
  const metrics = async () => Object.fromEntries((await session.send('Performance.getMetrics')).metrics.map(({ name, value: number }) => [name, number]));
  await session.send('HeapProfiler.collectGarbage');
  const before = await metrics();
  await page.evaluate(() => (globalThis.seen_ms.length = 0));
  const frames = await page.evaluate(
    (seconds) =>
      new Promise((done) => {
        const found = [];
        let last = performance.now();
        const end = last + 1000 * seconds;
        requestAnimationFrame(function frame() {
          const now = performance.now();
          found.push(now - last);
          last = now;
          if (now < end) requestAnimationFrame(frame);
          else done(found);
        });
      }),
    kSeconds,
  );
  const after = await metrics();
  await session.send('HeapProfiler.collectGarbage');
  const heap = await metrics();
  const seen_ms = (await page.evaluate(() => globalThis.seen_ms)).sort((a, b) => a - b);
  await page.close();
  frames.sort((a, b) => a - b);
  const of_time = (name) => (100 * (after[name] - before[name])) / (after.Timestamp - before.Timestamp);
  return {
    p50_ms: part(frames, 0.5), p95_ms: part(frames, 0.95), max_ms: frames.at(-1),
    thread: of_time('TaskDuration'), script: of_time('ScriptDuration'), layout: of_time('LayoutDuration') + of_time('RecalcStyleDuration'),
    process: of_time('ProcessTime'), heap_mb: heap.JSHeapUsedSize / 1e6,
    growth_kb: (heap.JSHeapUsedSize - before.JSHeapUsedSize) / 1e3 / ((after.Timestamp - before.Timestamp) / 60), seen_ms: part(seen_ms, 0.95),
  };
}

const profile = mkdtempSync(join(tmpdir(), 'turnstone-bench-'));
const context = await chromium.launchPersistentContext(profile, {
  executablePath: '/usr/bin/chromium', headless: true,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
try {
  console.log(`load ${loadavg()[0].toFixed(1)} at the start`);
  console.log(`${kStrips} strips of ${kSeries} series at ${kRows_hz} Hz, ${kSeconds} s each; % are of one core`);
  console.log(`page       size       CPU   frame p50   p95  limit     max ms   main thread  script  layout  renderer   heap MB  kB/min  seen p95 ms (limit ${kSeenMost_ms})`);
  const cases = [['bare page', '/bare', 1920, 1080, 1], ['#/crew', '/#/crew', 1920, 1080, 1], ['#/crew', '/#/crew', 1366, 768, 1], ['bare page', '/bare', 390, 844, 4], ['#/crew', '/#/crew', 390, 844, 4]];
  for (const [name, path, width, height, throttle] of cases) {
    const f = await measure(context, path, width, height, throttle);
    const cell = (number, wide, decimals = 0) => number.toFixed(decimals).padStart(wide);
    console.log(
      `${name.padEnd(10)} ${`${width}x${height}`.padEnd(10)} ${throttle === 1 ? '1/1' : `1/${throttle}`} ${cell(f.p50_ms, 9, 1)} ${cell(f.p95_ms, 7, 1)} ${cell(throttle === 1 ? kLaptopMost_ms : kPhoneMost_ms, 6)} ${cell(f.max_ms, 9, 1)} ${cell(f.thread, 11)} % ${cell(f.script, 6)} % ${cell(f.layout, 5)} % ${cell(f.process, 7)} % ${cell(f.heap_mb, 8, 1)} ${cell(f.growth_kb, 7)} ${cell(f.seen_ms, 8)}`,
    );
  }
  const firsts = [];
  for (let i = 0; i < 5; i++) firsts.push(await first_number());
  firsts.sort((a, b) => a - b);
  console.log(`first number on #/watch at 1/${kFirstThrottle} and ${kFirstLine_bps / 1e6} Mbit/s, five times: median ${firsts[2].toFixed(0)} ms, most ${firsts[4].toFixed(0)} ms; limit ${kFirstMost_ms} ms`);
  console.log(`load ${loadavg()[0].toFixed(1)} at the end`);
} finally {
  await context.close();
  server.closeAllConnections();
  server.close();
  rmSync(profile, { recursive: true, force: true });
}
process.exit(0);
