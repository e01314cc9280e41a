// What the browser tests share: the real server on a pseudo-terminal fed by the flight simulator, a real browser, and what the
// recording holds, by the API.
import { spawn } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

const kSource = resolve(dirname(fileURLToPath(import.meta.url)), '../..');
const require = createRequire(join(kSource, 'web/package.json'));
const { chromium } = require('playwright-core');
const axe_path = require.resolve('axe-core/axe.min.js');

const option = (name, fallback) => {
  const place = process.argv.indexOf(`--${name}`);
  return place < 0 ? fallback : resolve(process.argv[place + 1]);
};
export const kTurnstone = option('turnstone', join(kSource, 'build/release/bin/turnstone'));
export const kSimulate = option('simulate', join(kSource, 'build/release/bin/simulate'));
/** A build of the dashboard for the stand-in server; undefined: the real server. */
export const kDist = option('stand-in', undefined);
export const kShots = join(option('out', join(kSource, 'build/release')), 'screenshots');
export const kDemo = join(kSource, 'tools/demo');
const kFlags = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'];
const kPatience_ms = 20_000; // a shared two-core machine under sanitizers is slow; nothing here waits longer than it must

let passed = 0;
const failures = [];
const children = [];
export const folder = mkdtempSync(join(tmpdir(), 'turnstone-browser-'));
mkdirSync(kShots, { recursive: true });

export function check(what, good, detail = '') {
  const line = `${good ? 'ok' : 'FAILED'}  ${what}${good || detail === '' ? '' : `: ${detail}`}`;
  if (good) passed++;
  else failures.push(line);
  console.log(line);
}

export const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

/** Polls until `probe` gives something other than undefined, null or false; fails with `what` after the patience. */
export async function until(what, probe, patience_ms = kPatience_ms) {
  const end = Date.now() + patience_ms;
  for (;;) {
    const found = await probe();
    if (found !== undefined && found !== null && found !== false) return found;
    if (Date.now() > end) throw new Error(`waited ${patience_ms / 1000} s in vain for ${what}`);
    await sleep(50);
  }
}

/** Checks what `probe` says is good, as soon as it is or, at the latest, after the patience. */
export async function check_soon(what, probe, patience_ms = kPatience_ms) {
  const end = Date.now() + patience_ms;
  for (;;) {
    const [good, detail] = await probe();
    if (good || Date.now() > end) return check(what, good, detail);
    await sleep(50);
  }
}

export function start(command, args) {
  const child = spawn(command, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  child.text = '';
  for (const stream of [child.stdout, child.stderr]) stream.on('data', (part) => (child.text += part));
  children.push(child);
  return child;
}

export async function stop(child, signal = 'SIGTERM') {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = new Promise((done) => child.once('exit', done));
  child.kill(signal);
  await Promise.race([ended, sleep(8000).then(() => child.kill('SIGKILL'))]);
}

/** A copy of the demo vehicle under another name, in this test's folder; `change` alters the text of its dictionary. */
export function other_vehicle(name, title, change = (text) => text) {
  const other = join(folder, name);
  cpSync(join(kDemo, 'sanderling'), other, { recursive: true });
  const text = readFileSync(join(other, 'dictionary.json'), 'utf8');
  writeFileSync(join(other, 'dictionary.json'), change(text.replace('"vehicle": "sanderling"', `"vehicle": "${name}"`).replace('"title": "Sanderling"', `"title": "${title}"`)));
  writeFileSync(join(other, 'vehicle.json'), readFileSync(join(other, 'vehicle.json'), 'utf8').replace('"name": "sanderling"', `"name": "${name}"`));
  return other;
}

/** The demo site with its pad so many degrees farther east: what flies from there lies elsewhere. */
export function site_farther_east(degrees) {
  const site = JSON.parse(readFileSync(join(kDemo, 'site.json'), 'utf8'));
  site.pad.longitude_deg += degrees;
  delete site.$schema;
  const file = join(folder, 'farther_east.json');
  writeFileSync(file, JSON.stringify(site));
  return file;
}

/** Starts the simulator on the pseudo-terminal `radio` of this test's folder. */
export function fly(scenario, { radio = 'radio', seed = 7, impairment = 'mild', before_ignition_s = 12, after_touchdown_s = 15, vehicle = join(kDemo, 'sanderling'), site = join(kDemo, 'site.json') } = {}) {
  return start(kSimulate, [
    '--scenario', scenario, '--to', `pty:${join(folder, radio)}`, '--speed', '1', '--seed', String(seed), '--impairment', impairment,
    '--before-ignition-s', String(before_ignition_s), '--after-touchdown-s', String(after_touchdown_s), '--vehicle', vehicle, '--site', site,
  ]);
}

/** Listens to the pseudo-terminal `radio` of this test's folder, and records beside it. `before`: what starts it, `host`: where it is reached. */
export async function start_server(port, more = [], radio = 'radio', site = join(kDemo, 'site.json'), before = [], host = '127.0.0.1') {
  const [command, ...args] = [...before, kTurnstone];
  const child = start(command, [
    ...args, 'serve', '--vehicle', join(kDemo, 'sanderling'), '--site', site, '--link', `serial:${join(folder, radio)}?baud=57600`,
    '--listen', host, '--port', String(port), '--recordings', join(folder, `${radio}-recordings`), ...more,
  ]);
  const address = await until('the server to say its address', () => {
    if (child.exitCode !== null) throw new Error(`the server ended:\n${child.text}`);
    return /listening on (http:\/\/\S+)/.exec(child.text)?.[1];
  });
  const key = await until('the operator key', () => /operator key: (\S+)/.exec(child.text)?.[1]);
  return { child, address, key };
}

// What the recording holds

/** The station's address; a test that starts another one says so here. */
export const station = { address: '' };
export const api = async (path) => {
  const answer = await fetch(new URL(`/api/${path}`, station.address));
  if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
  return answer.json();
};
/** Of a recording, first to last. */
export async function events_of(id) {
  const all = [];
  for (let next = ''; next !== null; ) {
    const page = await api(`recordings/${id}/events${next === '' ? '' : `?after=${encodeURIComponent(next)}`}`);
    all.push(...page.events);
    next = page.next ?? null;
  }
  return all;
}

export async function recorded(id, t_s, table_name, column_name) {
  const { tables } = await api(`recordings/${id}/description`);
  const table = tables.find((t) => t.name.endsWith(table_name));
  const column = table?.columns.findIndex((c) => c.name === column_name) ?? -1;
  if (!table || column < 0) throw new Error(`the recording has no ${table_name} ${column_name}`);
  const { latest } = await api(`recordings/${id}/latest?t_s=${t_s}`);
  return { column: table.columns[column], value: latest.find((row) => row.table === table.id)?.values[column] };
}
export const recorded_value = async (...where) => (await recorded(...where)).value;
export async function recorded_word(...where) {
  const { column, value } = await recorded(...where);
  return column.enumeration[value];
}

export async function inspect(page, what) {
  await page.evaluate(axe_source);
  const result = await page.evaluate(() => globalThis.axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
  const found = result.violations.map((v) => `${v.id} (${v.nodes.map((n) => n.target.join(' ')).join('; ')})`);
  check(`${what}: no accessibility violations`, found.length === 0, found.join('\n        '));
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  check(`${what}: nothing reaches over the edge of the page`, wide <= 0, `${wide} pixels too wide`);
  const cut = await page.evaluate(() => [...document.querySelectorAll('button, a, select')]
    .filter((control) => {
      const { left, right, width } = control.getBoundingClientRect();
      return width > 0 && (left < -0.5 || right > innerWidth + 0.5 || control.scrollWidth > control.clientWidth + 1);
    })
    .map((control) => control.textContent.trim()));
  check(`${what}: every control is whole`, cut.length === 0, cut.join(', '));
}
const axe_source = readFileSync(axe_path, 'utf8');

export async function picture(page, name) {
  await page.screenshot({ path: join(kShots, `${name}.png`) });
}

/** Values of a column over a time, whole where they are not too many. */
export async function recorded_rows(id, table_name, column_name, from_s, to_s) {
  const { tables } = await api(`recordings/${id}/description`);
  const table = tables.find((t) => t.name.endsWith(table_name));
  const query = `table=${table.id}&columns=${column_name}&from_s=${from_s}&to_s=${to_s}&points=8192`;
  const answer = await (await fetch(new URL(`/api/recordings/${id}/series?${query}`, station.address))).arrayBuffer();
  const rows = new DataView(answer).getUint32(8, true);
  return [...new Float64Array(answer.slice(16 + 8 * rows, 16 + 16 * rows))];
}

/** Opens pages whose errors are kept. */
export async function open_page(browser, errors, name, width, height, scheme) {
  const page = await browser.newPage();
  await page.setViewportSize({ width, height });
  await page.emulateMedia({ colorScheme: scheme });
  page.on('console', (message) => {
    // A dropped connection is part of the tests, and so are plain http and a recording that is not on the disk yet; the browser itself reports them.
    if (message.type() === 'error' && !/503 \(Service Unavailable\)|ERR_CONNECTION_REFUSED|ERR_CONNECTION_RESET|ERR_SOCKET_NOT_CONNECTED|ERR_EMPTY_RESPONSE|ERR_FAILED|ERR_INTERNET_DISCONNECTED|WebSocket connection|Cross-Origin-Opener-Policy header has been ignored/.test(message.text())) errors.push(`${name}: ${message.text()} ${message.location().url}`);
  });
  page.on('pageerror', (error) => errors.push(`${name}: ${error.message}`));
  return page;
}

/** A browser with cookies and storage of its own, as on another computer. Whoever opens it closes it. */
export async function open_another_browser(name, flags = []) {
  const browser = await chromium.launchPersistentContext(join(folder, name), { executablePath: '/usr/bin/chromium', headless: true, args: [...kFlags, ...flags], acceptDownloads: true });
  browser.setDefaultTimeout(kPatience_ms);
  return browser;
}

/** Runs a test in a browser of its own, says how it ended, and leaves nothing behind. */
export async function run_in_browser(run, flags = []) {
  const browser = await open_another_browser('profile', flags);
  try {
    await run(browser);
  } catch (error) {
    failures.push(`FAILED  ${error.stack}`);
    for (const [i, page] of browser.pages().entries()) await page.screenshot({ path: join(kShots, `failure-${i}.png`) }).catch(() => undefined);
    for (const child of children) console.log(child.text.split('\n').slice(-12).join('\n'));
  } finally {
    await browser.close();
    for (const child of children) await stop(child);
    rmSync(folder, { recursive: true, force: true });
  }
  for (const line of failures) console.log(line); // once more, at the end of a long log
  console.log(`${passed} passed, ${failures.length} failed`);
  process.exitCode = failures.length === 0 ? 0 : 1;
}
