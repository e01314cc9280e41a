// A whole range day: two vehicles, two operators at two computers, forty who watch, one who walks. A countdown, two flights, a
// link that is pulled, a server that is killed in flight and started again, and a recovery out of the station's range. What was
// recorded is then processed again and has to give the same.
//
//   node tests/browser/range_day.mjs --turnstone BIN --simulate BIN --out FOLDER
//
// Takes some four minutes, so it is run by hand. Needs web/node_modules (npm ci) and Chromium. Ends with "N passed, N failed" and
// exit code 1 when anything failed.
import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { api, check, check_soon, events_of, fly, folder, kTurnstone, open_another_browser, open_page, other_vehicle, picture, run_in_browser, site_farther_east, sleep, start_server, station, stop, until } from './harness.mjs';

const { WebSocket } = createRequire(new URL('../../web/package.json', import.meta.url))('ws');

const kViewers = 36; // beside the four pages of people who watch
const kBefore_s = 70;
const kFlags = ['--disable-backgrounding-occluded-windows', '--disable-renderer-backgrounding', '--disable-background-timer-throttling'];
const kFlight = ['liftoff', 'burnout', 'apogee', 'drogue_out', 'main_out', 'touchdown'];

/** One who watches, with no page: takes everything that comes, comes back when the connection breaks, and asks for what it missed. */
class Spectator {
  events = new Map();
  hellos = [];
  rows = 0;
  newest_s = NaN;
  #socket;
  #ended = false;

  constructor(address) {
    this.address = `${address.replace(/^http/, 'ws')}api/stream`;
    this.#open();
  }
  end() {
    this.#ended = true;
    this.#socket.close();
  }
  #open() {
    this.#socket = new WebSocket(this.address, { perMessageDeflate: false });
    this.#socket.on('message', (data, binary) => (binary ? this.#block(data) : this.#text(JSON.parse(String(data)))));
    this.#socket.on('error', () => undefined);
    this.#socket.on('close', () => this.#ended || setTimeout(() => this.#open(), 500));
  }
  #block(data) {
    this.rows++;
    this.newest_s = data.readDoubleLE(16);
  }
  #text(message) {
    if (message.type === 'hello') {
      this.hellos.push(message.description.recording.id);
      if (this.hellos.length > 1) void events_of('live').then((events) => events.forEach((event) => this.events.set(event.id, event)), () => undefined);
    }
    if (message.type === 'event') this.events.set(message.id, message);
  }
  has(event, vehicle) {
    return [...this.events.values()].some((one) => one.event === event && one.vehicle === vehicle);
  }
}

const clock = (page) => page.getByTestId('clock-flight').innerText();
const words = async (locator) => (await locator.innerText()).replaceAll(/[\u00a0\u202f]/g, ' ');
const sentence = (page) => words(page.getByTestId('sentence'));

async function unlock(page, key) {
  await page.getByRole('button', { name: 'Unlock operator controls' }).click();
  await page.locator('#operator-key').fill(key);
  await page.getByRole('button', { name: 'Unlock', exact: true }).click();
  await until('the operator\'s rights', () => page.getByRole('button', { name: /^Marker/ }).isVisible());
}

const told_to_everybody = (spectators, what, event, vehicle) =>
  check_soon(`everybody is told: ${what}`, async () => {
    const told = spectators.filter((one) => one.has(event, vehicle)).length;
    return [told === spectators.length, `${told} of ${spectators.length}`];
  }, 180_000);

/** Both operators work at the rail: a name, a countdown that both see, a marker, an alert's acknowledgement. */
async function prepare(first, second, watcher) {
  await first.getByRole('button', { name: 'More', exact: true }).click();
  await first.locator('#flight-name').fill('Morning flight');
  await first.getByRole('button', { name: 'Name it' }).click();
  await first.locator('#countdown-length').fill('10:00');
  await first.getByRole('button', { name: 'Run', exact: true }).click();
  await first.getByRole('button', { name: 'Close', exact: true }).click();
  await check_soon('the countdown of one operator runs for the other and for who watches', async () => {
    const [there, watched] = [await words(second.getByTestId('readout-countdown')).catch(() => ''), await clock(watcher)];
    return [/T−9:\d\d/.test(there) && /T−9:\d\d/.test(watched), `${there} ${watched}`];
  });
  await check_soon('the name of the flight reaches the other operator', async () => [(await second.getByTestId('chapter').allInnerTexts()).join() === 'Morning flight']);
  await second.getByRole('button', { name: /^Marker/ }).click();
  await second.locator('.pending input').fill('Range clear');
  await second.locator('.pending input').press('Enter');
  await check_soon('the marker of one operator stands in the log of the other', async () => [await first.locator('.events').getByText('Range clear').isVisible()]);
  await second.getByRole('button', { name: 'More', exact: true }).click();
  await second.getByRole('button', { name: 'Remove countdown', exact: true }).click();
  await second.getByRole('button', { name: 'Close', exact: true }).click();
  await check_soon('the other operator takes the countdown off for everybody', async () => [(await first.getByTestId('readout-countdown').count()) === 0 && !/T−/.test(await clock(watcher))]);
  await picture(first, 'range-day-rail-first');
  await picture(second, 'range-day-rail-second');
}

await run_in_browser(async (browser) => {
  const errors = [];
  const second_computer = await open_another_browser('second-operator', kFlags);
  const site_east = site_farther_east(0.003);
  const more = ['--vehicle', other_vehicle('godwit', 'Godwit'), '--link', `serial:${join(folder, 'second')}?baud=57600&vehicle=godwit`];
  const simulators = [
    fly('nominal', { seed: 41, before_ignition_s: kBefore_s }),
    fly('nominal', { radio: 'second', seed: 42, before_ignition_s: kBefore_s + 4, site: site_east }),
  ];
  await until('the pseudo-terminals', () => ['radio', 'second'].every((radio) => existsSync(join(folder, radio))));
  let server = await start_server(0, more);
  station.address = server.address;
  const port = new URL(server.address).port;
  const spectators = Array.from({ length: kViewers }, () => new Spectator(server.address));
  const open = async (name, view, width = 390, height = 844, where = browser) => {
    const page = await open_page(where, errors, name, width, height, 'light');
    await page.goto(`${server.address}#/${view}`);
    return page;
  };
  const first = await open('first operator', 'crew', 1366, 768);
  const second = await open('second operator', 'crew', 1920, 1080, second_computer);
  const watchers = [await open('phone', 'watch'), await open('phone on its side', 'watch', 844, 390), await open('big screen', 'watch', 1920, 1080), await open('holder', 'antenna')];
  const walker = await open('walker', 'recover');
  await unlock(first, server.key);
  await unlock(second, server.key);
  const { live: id } = await api('recordings');
  await check_soon('forty who watch, two operators and one who walks are counted', async () => {
    await first.getByRole('button', { name: 'More', exact: true }).click();
    const told = await words(first.getByTestId('audience'));
    await first.getByRole('button', { name: 'Close', exact: true }).click();
    return [new RegExp(`^${kViewers + watchers.length + 3} viewers are connected, \\d+ operators\\.`).test(told), told];
  });
  await second.getByRole('combobox', { name: 'Vehicle' }).selectOption({ label: 'Godwit' });
  await second.getByRole('combobox', { name: 'Vehicle' }).selectOption({ label: 'Sanderling' });
  await prepare(first, second, watchers[0]);

  // Both fly; the second vehicle's link is pulled
  for (const [vehicle, name] of ['Sanderling', 'Godwit'].entries())
    await told_to_everybody(spectators, `liftoff of ${name}`, 'liftoff', vehicle);
  await stop(simulators[1]);
  await check_soon('a pulled link is told to everybody', async () => {
    const told = spectators.filter((one) => [...one.events.values()].some((event) => event.event === 'link_down' && event.kind === 'alert_raised'));
    return [told.length === kViewers, `${told.length} of ${kViewers}`];
  });
  await check_soon('the crew sees which, and may acknowledge it', async () => [await first.getByTestId('alerts').getByText(/second/i).first().isVisible()]);
  await first.getByTestId('alerts').getByRole('button', { name: 'Acknowledge' }).first().click();
  await check_soon('an acknowledgement of one operator is the other\'s, too', async () => [/acknowledged/.test(await second.getByTestId('alerts').innerText())]);

  // The server is killed in flight and started again
  await told_to_everybody(spectators, 'apogee', 'apogee', 0);
  const before = await clock(watchers[0]);
  await stop(server.child, 'SIGKILL');
  await check_soon('without a server a page says that nothing new arrives', async () => [/old/.test(`${await sentence(watchers[0])} ${await words(watchers[0].locator('.one .fig'))}`), await sentence(watchers[0])]);
  server = await start_server(Number(port), more);
  const rows = spectators.map((one) => one.rows);
  await until('everybody to be back', () => spectators.every((one, i) => one.rows > rows[i] + 5), 60_000);
  check('everybody who watched is back by himself, in the same recording', spectators.every((one) => one.hellos.length >= 2 && one.hellos.every((hello) => hello === id)), JSON.stringify(new Set(spectators.flatMap((one) => one.hellos))));
  for (const page of [first, second, ...watchers.slice(0, 3)])
    await check_soon('after the restart the flight goes on', async () => {
      const [now, said] = [await clock(page), await sentence(page)];
      return [/T\+/.test(now) && !/On the rail/.test(said), `${before}, then ${now}; ${said}`];
    }, 60_000);
  for (const [name, page] of [['first', first], ['second', second]])
    check(`after the restart the ${name} operator needs no key`, (await page.evaluate(async () => (await (await fetch('/api/session')).json()).role)) === 'operator');
  await picture(first, 'range-day-after-restart');

  // To the ground
  await told_to_everybody(spectators, 'touchdown', 'touchdown', 0);
  await check_soon('who watches sees where it lies', async () => [/Down/.test(await sentence(watchers[0])), await sentence(watchers[0])]);
  await picture(watchers[0], 'range-day-down-phone');
  await picture(second, 'range-day-down-second');
  const found = await events_of(id);
  const order = kFlight.map((name) => found.filter((event) => event.event === name && event.vehicle === 0).length);
  check('each event of the flight is in the recording once, the restart notwithstanding', order.every((count) => count === 1), `${order}`);
  const told = found.filter((event) => event.kind === 'flight_event' && event.vehicle === 0 && kFlight.includes(event.event));
  check('what everybody was told is what is recorded', spectators.every((one) => told.every((event) => one.events.has(event.id) || event.t_found_s < one.newest_s)), '');

  // Out of range: both vehicles are on the walker's device
  await until('the page to be kept', async () => (await walker.getByTestId('page-kept').getAttribute('data-state')) === 'kept');
  await sleep(2500); // what was seen is kept every two seconds
  const list = walker.getByTestId('to-collect');
  const place_of = async (title) => {
    await list.getByRole('button', { name: title }).click();
    return (await words(walker.getByTestId('last-place'))).split('\n').filter((line) => line !== '').slice(0, 2).join(', ');
  };
  for (const one of spectators) one.end();
  await stop(server.child);
  await until('the walker to notice', () => walker.locator('.connection').isVisible());
  const places = [await place_of('Sanderling'), await place_of('Godwit')]; // what lies still is measured again and again
  check('the walker has a place of each vehicle', places.every((one) => /°/.test(one)) && places[0] !== places[1], places.join(' | '));
  await walker.reload();
  await until('what was kept', async () => (await list.getByRole('button').count()) === 2);
  const kept = [await place_of('Sanderling'), await place_of('Godwit')];
  check('out of range and reloaded the walker still has both', kept.join() === places.join(), `${kept.join(' | ')}; before ${places.join(' | ')}`);
  await picture(walker, 'range-day-walker');
  await second_computer.close();

  // The day again, from the bytes
  const files = readdirSync(join(folder, 'radio-recordings')).filter((name) => name.endsWith('.sqlite')).map((name) => join(folder, 'radio-recordings', name));
  check('the day is one recording', files.length === 1, files.join());
  const verified = spawnSync(kTurnstone, ['verify', ...files], { encoding: 'utf8' });
  check('the recording gives the same results again, bit for bit', verified.status === 0, `${verified.stdout}${verified.stderr}`);
  check('no errors in the console', errors.length === 0, errors.join('\n        '));
}, kFlags);
