// What a test in a real browser stands on: the real server, the flight simulator, Chromium, patience, and checks that count.
//
//   node tests/browser/NAME.mjs --turnstone BIN --simulate BIN --out FOLDER
//
// Needs web/node_modules (npm ci) and Chromium. Ends with "N passed, N failed" and exit code 1 when anything failed.
import { spawn } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

const kSource = resolve(dirname(fileURLToPath(import.meta.url)), '../..');
const require = createRequire(join(kSource, 'web/package.json'));
const { chromium } = require('playwright-core');
const axe_source = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const kAxeRules = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

const option = (name, fallback) => {
  const place = process.argv.indexOf(`--${name}`);
  return place < 0 ? fallback : resolve(process.argv[place + 1]);
};
const kTurnstone = option('turnstone', join(kSource, 'build/release/bin/turnstone'));
const kSimulate = option('simulate', join(kSource, 'build/release/bin/simulate'));
const kShots = join(option('out', join(kSource, 'build/release')), 'screenshots');
const kDemo = join(kSource, 'tools/demo');
const kFlags = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'];
const kPatience_ms = 20_000; // a shared two-core machine is slow; nothing here waits longer than it must

export const folder = mkdtempSync(join(tmpdir(), 'turnstone-browser-'));
mkdirSync(kShots, { recursive: true });
let passed = 0;
let failed = 0;
const children = [];
/** Errors that pages wrote to their consoles. */
const errors = [];

export function check(what, good, detail = '') {
  if (good) passed++;
  else failed++;
  console.log(`${good ? 'ok' : 'FAILED'}  ${what}${good || detail === '' ? '' : `: ${detail}`}`);
}

export const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

/** Polls until `probe` gives something other than undefined or false; fails with `what` after the patience. */
export async function until(what, probe, patience_ms = kPatience_ms) {
  const end = Date.now() + patience_ms;
  for (;;) {
    const found = await probe();
    if (found !== undefined && found !== false) return found;
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

/** Starts the simulator on a pseudo-terminal of this test's folder, and waits for that. */
export async function fly(scenario, { radio = 'radio', seed = 7, impairment = 'clean', before_ignition_s = 12 } = {}) {
  const at = join(folder, radio);
  const child = start(kSimulate, [
    '--scenario', scenario, '--to', `pty:${at}`, '--speed', '1', '--seed', String(seed), '--impairment', impairment,
    '--before-ignition-s', String(before_ignition_s), '--vehicle', join(kDemo, 'sanderling'), '--site', join(kDemo, 'site.json'),
  ]);
  await until("the simulator's pseudo-terminal", () => {
    if (child.exitCode !== null) throw new Error(`the simulator ended:\n${child.text}`);
    return existsSync(at);
  });
  return child;
}

export async function serve(recordings = 'recordings', more = []) {
  const child = start(kTurnstone, [
    'serve', '--vehicle', join(kDemo, 'sanderling'), '--site', join(kDemo, 'site.json'), '--link', `serial:${join(folder, 'radio')}?baud=57600`,
    '--listen', '127.0.0.1', '--port', '0', '--recordings', join(folder, recordings), ...more,
  ]);
  const address = await until('the server to say its address', () => {
    if (child.exitCode !== null) throw new Error(`the server ended:\n${child.text}`);
    return /listening on (http:\/\/\S+)/.exec(child.text)?.[1];
  });
  const key = await until('the operator key', () => /operator key: (\S+)/.exec(child.text)?.[1]);
  return { child, address, key, api: api_of(address) };
}

/** What the recording holds, by the API. */
function api_of(address) {
  const json = async (path) => {
    const answer = await fetch(new URL(`/api/${path}`, address));
    if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
    return answer.json();
  };
  /** Newest rows at a moment, as "estimate/column" and its 1-sigma as "estimate/column ±". */
  const estimates = async (id, t_s) => {
    const { tables } = await json(`recordings/${id}/description`);
    const { latest } = await json(`recordings/${id}/latest?t_s=${t_s}`);
    const values = new Map();
    for (const row of latest) {
      const table = tables[row.table];
      const name = /\/estimate\/(\w+)$/.exec(table.name)?.[1];
      if (!name || table.vehicle !== 0) continue;
      table.columns.forEach((column, i) => {
        values.set(`${name}/${column.name}`, column.enumeration ? column.enumeration[row.values[i]] : (row.values[i] ?? NaN));
        const sigma = table.columns.findIndex((other) => other.name === column.sigma_column);
        if (sigma >= 0) values.set(`${name}/${column.name} ±`, row.values[sigma] ?? NaN);
      });
    }
    return (name) => values.get(name) ?? NaN;
  };
  const events = async (id) => {
    const all = [];
    for (let next = ''; next !== null; ) {
      const page = await json(`recordings/${id}/events${next === '' ? '' : `?after=${encodeURIComponent(next)}`}`);
      all.push(...page.events);
      next = page.next ?? null;
    }
    return all;
  };
  return { json, estimates, events };
}

/** A page of its own size and colours. `prepare` runs in it before the dashboard does. */
export async function open_page(browser, name, width, height, scheme, prepare) {
  const page = await browser.newPage();
  await page.setViewportSize({ width, height });
  await page.emulateMedia({ colorScheme: scheme });
  if (prepare) await page.addInitScript(prepare);
  page.on('console', (message) => {
    // A dropped connection is part of a test, and so is a recording that is not on the disk yet; the browser itself reports them.
    if (message.type() === 'error' && !/503 \(Service Unavailable\)|ERR_CONNECTION_REFUSED|ERR_INTERNET_DISCONNECTED|WebSocket connection/.test(message.text())) errors.push(`${name}: ${message.text()} ${message.location().url}`);
  });
  page.on('pageerror', (error) => errors.push(`${name}: ${error.message}`));
  return page;
}

export const picture = (page, name) => page.screenshot({ path: join(kShots, `${name}.png`) });

/** Accessible at AA, nothing over the edge, every control whole. */
export async function inspect(page, what) {
  await page.evaluate(axe_source);
  const result = await page.evaluate((rules) => globalThis.axe.run(document, { runOnly: rules }), kAxeRules);
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

/** Runs a test with a browser, ends what it started, and says how it went. */
export async function run(test) {
  const browser = await chromium.launchPersistentContext(join(folder, 'profile'), { executablePath: '/usr/bin/chromium', headless: true, args: kFlags, acceptDownloads: true });
  browser.setDefaultTimeout(kPatience_ms);
  try {
    await test(browser);
    check('no errors in the console', errors.length === 0, errors.join('\n        '));
  } catch (error) {
    failed++;
    console.log(`FAILED  ${error.stack}`);
    for (const [i, page] of browser.pages().entries()) await page.screenshot({ path: join(kShots, `failure-${i}.png`) }).catch(() => undefined);
    for (const child of children) console.log(child.text.split('\n').slice(-12).join('\n'));
  } finally {
    await browser.close();
    for (const child of children) await stop(child);
    rmSync(folder, { recursive: true, force: true });
  }
  console.log(`${passed} passed, ${failed} failed`);
  process.exitCode = failed === 0 ? 0 : 1;
}
