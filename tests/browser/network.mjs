// Bad lines, other clocks and sleep: a slow and lossy line, a device whose clock is hours off, a page that was frozen, two tabs.
// Nothing may be old without saying so, and everybody sees a countdown change at the same moment.
//
//   node tests/browser/network.mjs --turnstone BIN --simulate BIN --out FOLDER
//
// Needs web/node_modules (npm ci) and Chromium; with tc netem and the rights for it, one part more. Ends with "N passed, N failed"
// and exit code 1 when anything failed.
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { namespace, relay } from './bad_line.mjs';
import { api, check, check_soon, fly, folder, open_page, picture, run_in_browser, sleep, start_server, station, stop, until } from './harness.mjs';

// Every page counts as seen, as on devices of their own.
const kFlags = ['--disable-backgrounding-occluded-windows', '--disable-renderer-backgrounding', '--disable-background-timer-throttling'];
const kDelay_ms = 150; // each way: 300 ms there and back
const kLoss = 0.05;
const kTogether_ms = 50;
const kTicks = 8;
const kAhead_ms = 5 * 3600_000;

const sentence = async (page) => (await page.getByTestId('sentence').innerText()).replaceAll(/[\n\u00a0]/g, ' ');
const clock = (page) => page.getByTestId('clock-flight').innerText();
const largest = (page) => page.locator('.one .fig').innerText();

/** Writes down when the clock in the header changes, by the one clock that all pages of this computer share. */
const watch_clock = (page) => page.evaluate(() => {
  const clock = document.querySelector('[data-testid=clock-flight]');
  globalThis.changes = new Map();
  new MutationObserver(() => {
    const text = clock.textContent;
    if (!globalThis.changes.has(text)) globalThis.changes.set(text, performance.timeOrigin + performance.now());
  }).observe(clock, { childList: true, characterData: true, subtree: true });
});
const changes_of = async (page) => new Map(await page.evaluate(() => [...globalThis.changes]));

const median = (numbers) => numbers.toSorted((a, b) => a - b)[numbers.length >> 1];

/** Runs the countdown, and compares when each page showed its seconds. */
async function together(pages, server) {
  const session = await fetch(new URL('/api/session', server.address), { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ key: server.key }) });
  const cookie = session.headers.get('set-cookie').split(';')[0];
  await fetch(new URL('/api/live/countdown', server.address), { method: 'POST', headers: { 'Content-Type': 'application/json', cookie }, body: JSON.stringify({ step: 'run', left_s: 600 }) });
  for (const [name, page] of Object.entries(pages)) await until(`the countdown, ${name}`, async () => /T−/.test(await clock(page)));
  await sleep(6000); // clocks are compared when a page comes, twelve times at most
  for (const page of Object.values(pages)) await watch_clock(page);
  await until('the countdown to go on', async () => (await changes_of(pages.near)).size > kTicks, 30_000);
  await sleep(2000);
  const near = await changes_of(pages.near);
  for (const [name, page] of Object.entries(pages)) {
    if (name === 'near') continue;
    const apart = [...(await changes_of(page))].flatMap(([text, at_ms]) => (near.has(text) ? [Math.abs(at_ms - near.get(text))] : []));
    check(`the countdown changes within ${kTogether_ms} ms, near and ${name}`, apart.length >= kTicks - 2 && median(apart) <= kTogether_ms, `${apart.map((ms) => ms.toFixed(0)).join(' ')} ms`);
  }
}

/** What is shown is as old as it says: never older than a few seconds without hatching and an age. */
async function honest(page, name, id) {
  await check_soon(`${name}: what is shown is fresh, or says how old it is`, async () => {
    const head_s = (await api('recordings')).recordings.find((one) => one.id === id).t_end_s;
    const shown_s = await page.evaluate(() => Number(document.querySelector('[data-testid=tape]')?.getAttribute('aria-valuenow') ?? NaN));
    const stale = /old/.test(`${await sentence(page)} ${await largest(page)}`);
    const fresh = Number.isNaN(shown_s) || Math.abs(shown_s - head_s) < 4;
    return [fresh || stale, `cursor ${shown_s}, station ${head_s}, ${await largest(page)}`];
  });
}

/** The phone slept: what was on screen is said to be old at once, and is fresh again by itself. */
async function asleep(page, name) {
  const session = await page.context().newCDPSession(page);
  await session.send('Page.setWebLifecycleState', { state: 'frozen' });
  await sleep(8000);
  await session.send('Page.setWebLifecycleState', { state: 'active' });
  await check_soon(`${name}: after a sleep it is fresh again by itself`, async () => {
    const words = `${await sentence(page)} ${await largest(page)}`;
    const troubled = await page.locator('.connection').count();
    return [!/old/.test(words) && troubled === 0, words];
  });
}

async function fresh(page, name) {
  await check_soon(`${name}: figures are fresh`, async () => [!/old/.test(`${await sentence(page)} ${await largest(page)}`), `${await sentence(page)} ${await largest(page)}`]);
}

async function in_the_kernel(browser, errors) {
  const line = namespace('tslossy', { delay_ms: kDelay_ms, loss_percent: 100 * kLoss });
  if (line.why !== '') {
    console.log(`skipped  a line that the kernel delays and thins out: this kernel or these rights do not have it (${line.why})`);
    return;
  }
  try {
    const server = await start_server(0, [], 'kernel', undefined, line.enter, line.inside);
    const simulator = fly('on-the-rail', { radio: 'kernel', seed: 12, impairment: 'clean', before_ignition_s: 300 });
    const page = await open_page(browser, errors, 'kernel', 390, 844, 'light');
    await page.goto(`${server.address}#/watch`);
    await until('the rail over the line of the kernel', async () => /rail/i.test(await largest(page)), 60_000);
    await fresh(page, 'a line that the kernel delays and thins out');
    await stop(simulator);
    await stop(server.child);
  } finally {
    line.remove();
  }
}

await run_in_browser(async (browser) => {
  const errors = [];
  const server = await start_server(0);
  station.address = server.address;
  const simulator = fly('nominal', { impairment: 'clean', before_ignition_s: 45 });
  await until('the pseudo-terminal', () => existsSync(join(folder, 'radio')));
  const far = await relay(server.address, { delay_ms: kDelay_ms });
  const lossy = await relay(server.address, { delay_ms: kDelay_ms, loss: kLoss });
  const open = (name) => open_page(browser, errors, name, 390, 844, 'light');
  const pages = { near: await open('near'), far: await open('far'), lossy: await open('lossy'), 'clock hours ahead': await open('ahead'), 'clock hours behind': await open('behind') };
  for (const [name, sign] of [['clock hours ahead', 1], ['clock hours behind', -1]])
    await pages[name].addInitScript((ms) => {
      const now = Date.now.bind(Date);
      Date.now = () => now() + ms;
    }, sign * kAhead_ms);
  for (const [name, page] of Object.entries(pages)) {
    const address = name === 'far' ? far.address : name === 'lossy' ? lossy.address : server.address;
    await page.goto(`${address}#/watch`);
  }
  for (const [name, page] of Object.entries(pages)) {
    await until(`a figure, ${name}`, async () => /rail/i.test(await largest(page).catch(() => '')), 40_000);
    await fresh(page, name);
  }
  const id = (await api('recordings')).live;
  await together(pages, server);

  // In the air
  await until('liftoff', async () => /T\+/.test(await clock(pages.near)), 90_000);
  for (const [name, page] of Object.entries(pages)) {
    await until(`liftoff, ${name}`, async () => /T\+/.test(await clock(page)));
    await fresh(page, `in the air, ${name}`);
    await honest(page, `in the air, ${name}`, id);
  }
  await picture(pages.lossy, 'network-lossy');
  await asleep(pages.near, 'near');
  await asleep(pages.lossy, 'lossy');

  // Two tabs of one browser: one looks back, the other stays live
  const second = await open('second tab');
  await second.goto(`${server.address}#/watch`);
  await until('the second tab', () => second.getByTestId('tape-strip').isVisible());
  await second.getByTestId('tape-strip').click();
  await until('the tape', () => second.getByTestId('tape').isVisible());
  await second.keyboard.press('Home');
  await check_soon('two tabs: one is behind live and says so', async () => [/behind live/.test(await second.locator('header').innerText())]);
  check('two tabs: the other stays live', !/behind/.test(await pages.near.locator('header').innerText()));

  // A line that breaks is said on every page that hangs on it, and on no other
  far.stop();
  await check_soon('a broken line: the figure says how old it is', async () => [/old/.test(`${await sentence(pages.far)} ${await largest(pages.far)}`), await largest(pages.far)]);
  await fresh(pages.near, 'a broken line of somebody else, near');
  lossy.stop();
  await stop(simulator);
  await stop(server.child);
  await in_the_kernel(browser, errors);
  check('no errors in the console', errors.length === 0, errors.join('\n        '));
}, kFlags);
