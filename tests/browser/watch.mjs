// The view of those who watch, #/watch, in a real browser at its sizes and colours: a nominal flight, then one without a
// parachute, live and replayed. Figures are compared with what the recording holds; speech and vibration go to stand-ins that
// write down what they are asked for.
//
//   node tests/browser/watch.mjs --turnstone BIN --simulate BIN --out FOLDER
import { api, check, check_soon, events_of, fly, inspect, open_page, picture, run_in_browser, sleep, start_server, station, stop, until } from './harness.mjs';

const kAided = 'GNSS-aided';
const kSizes = [
  ['phone', 390, 844, 'light'],
  ['side', 844, 390, 'dark'],
  ['big', 1920, 1080, 'light'],
  ['laptop', 1366, 768, 'dark'],
];

const kOfComputer = ['estimates_behind', 'recording_trouble'];
const kLinesMost = 3; // on a phone, whatever it says
const errors = [];

/** A page whose voice and motor are stand-ins. */
async function open(browser, name, width, height, scheme) {
  const page = await open_page(browser, errors, name, width, height, scheme);
  await page.addInitScript(stand_ins);
  return page;
}

/** A station that listens to a radio of its own. */
const listen = (radio) => start_server(0, [], radio);
const launch = (scenario, before_ignition_s, after_touchdown_s = 15) => fly(scenario, { radio: scenario, impairment: 'clean', before_ignition_s, after_touchdown_s });

/** Newest rows of a recording at a moment, as "estimate/column", and a 1-sigma as "estimate/column ±". */
async function estimates(id, t_s) {
  const { tables } = await api(`recordings/${id}/description`);
  const { latest } = await api(`recordings/${id}/latest?t_s=${t_s}`);
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
}

/** A voice of the device's own, which says at once that it has ended, and a motor: both only write down. */
function stand_ins() {
  globalThis.heard = [];
  globalThis.shaken = [];
  const speech = {
    getVoices: () => [{ lang: 'en', localService: true }],
    speak: (utterance) => {
      globalThis.heard.push(utterance.text);
      setTimeout(() => utterance.onend?.(), 0);
    },
    cancel: () => undefined,
  };
  Object.defineProperty(globalThis, 'speechSynthesis', { value: speech });
  globalThis.SpeechSynthesisUtterance = class {
    constructor(text) {
      this.text = text;
    }
  };
  Object.defineProperty(navigator, 'vibrate', { value: (pulses) => globalThis.shaken.push(pulses) });
}

const figure = (page, name) => page.getByTestId(`figure-${name}`);
const number_of = async (page, name) => Number(await figure(page, name).getAttribute('data-number', { timeout: 1000 }).catch(() => NaN));
const largest = (page) => page.locator('.one .fig dt').innerText();
const sentence = async (page) => (await page.getByTestId('sentence').innerText()).replaceAll(/[\n\u00a0]/g, ' ');
const clock = (page) => page.getByTestId('clock-flight').innerText();
const cursor_of = async (page) => Number(await page.getByTestId('tape').getAttribute('aria-valuenow'));
const step_of = (sigma) => (sigma > 0 ? Math.max(1, 10 ** Math.floor(Math.log10(sigma))) : 1);
const rounded = (value, sigma) => Math.round(value / step_of(sigma)) * step_of(sigma) + 0;

/** The page shows all of it at once: nothing to scroll for. */
async function fits(page, what) {
  const over = await page.evaluate(() => document.documentElement.scrollHeight - innerHeight);
  check(`${what}: nothing has to be scrolled for`, over <= 0, `${over} pixels too tall`);
  const lost = await page.evaluate(() => [...document.querySelectorAll('.fig b, .say p')].filter((one) => one.getBoundingClientRect().right > innerWidth || one.scrollWidth > one.clientWidth + 1).map((one) => one.textContent));
  check(`${what}: no figure is cut`, lost.length === 0, lost.join('; '));
  const lines = await page.evaluate(() => {
    const said = document.querySelector('[data-testid=sentence] p');
    const word = said.querySelector('.word')?.getBoundingClientRect().height ?? 0;
    return Math.round((said.getBoundingClientRect().height - word) / parseFloat(getComputedStyle(said).lineHeight));
  });
  check(`${what}: the sentence takes at most ${kLinesMost} lines`, lines <= kLinesMost, `${lines} lines`);
}

async function each(pages, what, then) {
  for (const [name, page] of Object.entries(pages)) {
    await page.bringToFront();
    await then(page, `${what}, ${name}`);
  }
}

/** At a moment of a replay every figure is that of the recording's rows, rounded to their ±. */
async function compare(page, id, t_s, what) {
  const tape = page.getByTestId('tape');
  const box = await tape.boundingBox();
  const length_s = Number(await tape.getAttribute('aria-valuemax'));
  await page.mouse.click(box.x + 14 + (box.width - 28) * (t_s / length_s), box.y + box.height * 0.3);
  await until('the sought cursor', async () => Math.abs((await cursor_of(page)) - t_s) < 0.02 * length_s + 0.5);
  const at_s = await cursor_of(page);
  const get = await estimates(id, at_s);
  const best = get('navigation/mode') === kAided ? ['navigation/up_m', 'navigation/velocity_up_mps'] : ['vertical/altitude_m', 'vertical/vertical_speed_mps'];
  const same = (name, value, sigma) =>
    check_soon(`${what}: ${name} at ${at_s.toFixed(2)} s is the recorded one`, async () => {
      const shown = await number_of(page, name);
      return [Object.is(shown, value) || shown === rounded(value, sigma), `screen ${shown}, recording ${value} ± ${sigma}`];
    });
  const up = get(best[0]);
  const speed = get(best[1]);
  const down = await figure(page, 'down').count();
  if (down > 0) {
    await same('down', Math.hypot(get('last_place/east_m'), get('last_place/north_m')), get('last_place/horizontal_sigma_m'));
    await same('apogee', get('derived/altitude_max_m'), get('derived/altitude_max_m ±'));
    await same('speed_max', get('derived/vertical_speed_max_mps'), get('derived/vertical_speed_max_mps ±'));
  } else if ((await figure(page, 'altitude').count()) > 0) {
    await same('altitude', up < 0 && up > -5 ? 0 : up, get(`${best[0]} ±`));
    await same(speed < -0.5 ? 'falling' : 'climbing', Math.abs(speed), get(`${best[1]} ±`));
    if ((await figure(page, 'apogee_predicted').count()) > 0) await same('apogee_predicted', get('ascent/apogee_m'), get('ascent/apogee_m ±'));
  } else {
    await same('apogee_expected', get('ascent/apogee_m'), get('ascent/apogee_m ±'));
  }
  const said = (await events_of(id)).filter((event) => event.kind === 'sentence' && event.vehicle === 0 && event.t_s <= at_s).at(-1);
  if (said) await check_soon(`${what}: the sentence is the recorded one`, async () => [(await sentence(page)).includes(said.text.replaceAll('\u00a0', ' ')), `${await sentence(page)} | ${said.text}`]);
}

async function nominal(browser) {
  const server = await listen('nominal');
  station.address = server.address;
  const simulator = launch('nominal', 70, 90);
  const pages = {};
  for (const [name, width, height, scheme] of kSizes) {
    pages[name] = await open(browser, name, width, height, scheme);
    await pages[name].goto(`${server.address}#/watch`);
  }
  const { phone, side, big } = pages;
  const id = (await api('recordings')).live;

  // On the rail
  await until('the rail', async () => /rail/.test(await figure(phone, 'rail').innerText().catch(() => '')));
  await until('an expected apogee', async () => Number.isFinite(await number_of(phone, 'apogee_expected')));
  await phone.getByTestId('sound').click();
  check('a tap lets the page speak', (await phone.evaluate(() => globalThis.heard)).includes('Reading aloud.'));
  await sleep(1000); // curve and map follow the figures
  await check_soon('what lies on the map is on a phone’s, too', async () => [(await phone.getByTestId('overlays').locator('path').count()) > 0]);
  await each(pages, 'on the rail', async (page, what) => {
    await fits(page, what);
    await inspect(page, what);
    await picture(page, `watch-${what.replaceAll(/[, ]+/g, '-')}`);
  });
  check('who watches is shown no ±', !/±/.test(await phone.locator('main').innerText()));
  await phone.getByTestId('menu-button').click();
  await phone.getByLabel('Show ± beside figures').check();
  await phone.getByLabel('Feet and mph').check();
  check('who asks is shown the ±', /±/.test(await phone.locator('main').innerText()));
  check('feet are shown to who wants them', /ft/.test(await figure(phone, 'apogee_expected').innerText()));
  await inspect(phone, 'menu, phone');
  await picture(phone, 'watch-menu-phone');
  check('the page says whether the screen stays on', /screen/.test(await phone.getByTestId('wake').innerText()));
  await phone.reload();
  await check_soon('and after a reload still', async () => [/ft/.test(await figure(phone, 'apogee_expected').innerText())]);
  await phone.getByTestId('menu-button').click();
  await phone.getByLabel('Show ± beside figures').uncheck();
  await phone.getByLabel('Metric').check();
  await phone.getByRole('button', { name: 'Close', exact: true }).click();
  await phone.getByTestId('sound').click();

  // In the air
  await until('liftoff on the clock', async () => /T\+/.test(await clock(phone)), 60_000);
  await until('some altitude', async () => (await number_of(big, 'altitude')) > 300, 30_000);
  const live = await number_of(big, 'altitude');
  const kept = async () => {
    const { tables } = await api(`recordings/${id}/description`);
    const rows = [];
    for (const [name, column] of [['/estimate/navigation', 'up_m'], ['/estimate/vertical', 'altitude_m']]) {
      const table = tables.find((one) => one.name.endsWith(name));
      const sigma = table.columns.find((one) => one.name === column).sigma_column;
      const bytes = await (await fetch(new URL(`/api/recordings/live/series?table=${table.id}&columns=${column},${sigma}&from_s=0&to_s=600&points=8192`, server.address))).arrayBuffer();
      const count = new DataView(bytes).getUint32(8, true);
      const values = new Float64Array(bytes.slice(16 + 8 * count));
      for (let i = 0; i < count; i++) rows.push(rounded(values[i], values[count + i]));
    }
    return rows;
  };
  await check_soon('the altitude shown live is one of the recorded rows', async () => [(await kept()).includes(live), `${live} m`]);
  await each(pages, 'in the air', async (page, what) => {
    await fits(page, what);
    await picture(page, `watch-${what.replaceAll(/[, ]+/g, '-')}`);
  });
  await inspect(big, 'in the air, big');

  // Under parachutes
  await until('the fall', async () => (await largest(phone)) === 'Falling', 60_000);
  await until('the drogue', async () => /drogue/i.test(await sentence(phone)), 30_000);
  await each(pages, 'under drogue', async (page, what) => {
    await fits(page, what);
    await picture(page, `watch-${what.replaceAll(/[, ]+/g, '-')}`);
  });

  // Behind live, from the small tape
  await side.bringToFront();
  check('the tape is small until it is touched', (await side.getByTestId('tape').count()) === 0);
  await side.getByTestId('tape-strip').click();
  await until('the tape', () => side.getByTestId('tape').isVisible());
  const before = await side.locator('header').evaluate((header) => getComputedStyle(header).backgroundColor);
  await side.keyboard.press('Home');
  await check_soon('behind live the whole header says so', async () => {
    const after = await side.locator('header').evaluate((header) => getComputedStyle(header).backgroundColor);
    return [after !== before && /behind live/.test(await side.locator('header').innerText()), after];
  });
  await inspect(side, 'behind live, side');
  await picture(side, 'watch-behind-live-side');
  await side.getByRole('button', { name: 'Back to live' }).first().click();
  await check_soon('back to live is back to the small tape', async () => [(await side.getByTestId('tape-strip').count()) === 1 && !/behind/.test(await side.locator('header').innerText())]);

  // Old is old
  const network = await browser.newCDPSession(phone);
  await network.send('Network.enable');
  await network.send('Network.emulateNetworkConditions', { offline: true, latency: 0, downloadThroughput: 0, uploadThroughput: 0 });
  await phone.evaluate(() => window.dispatchEvent(new Event('offline')));
  await phone.bringToFront();
  await check_soon('without a connection the largest figure is hatched and says its age', async () => {
    const one = phone.locator('.one .fig');
    return [(await one.evaluate((node) => node.classList.contains('stale'))) && /\d s old/.test(await one.innerText()), await one.innerText()];
  });
  await check_soon('and the sentence does', async () => [/old: nothing new arrives/.test(await sentence(phone)), await sentence(phone)]);
  await picture(phone, 'watch-offline-phone');
  await inspect(phone, 'offline, phone');
  await network.send('Network.emulateNetworkConditions', { offline: false, latency: 0, downloadThroughput: -1, uploadThroughput: -1 });
  await phone.evaluate(() => window.dispatchEvent(new Event('online')));
  await check_soon('back on line it is fresh', async () => [!/old/.test(await sentence(phone)) && !/old/.test(await phone.locator('.one .fig').innerText())]);

  // Down; the other flight is over before
  await ballistic(browser);
  await until('the touchdown', async () => /down/i.test(await largest(phone)), 150_000);
  await each(pages, 'down', async (page, what) => {
    await fits(page, what);
    await inspect(page, what);
    await picture(page, `watch-${what.replaceAll(/[, ]+/g, '-')}`);
  });
  const heard = await phone.evaluate(() => globalThis.heard);
  for (const words of [/^Liftoff\.$/, /^Burnout\.$/, /^500 metres\.$/, /^Apogee, \d+ metres\.$/, /^Drogue out\.$/, /^Falling \d+ metres a second\.$/, /^Main out\.$/, /^Touchdown, \d+ metres from the pad, bearing \d \d \d\.$/])
    check(`spoken: ${words.source}`, heard.some((text) => words.test(text)), heard.join(' | '));
  check('a page that nobody tapped is silent', (await big.evaluate(() => globalThis.heard)).length === 0);
  // A computer that is busy with other work may raise a caution about itself; nothing else may.
  // The simulator's line begins and ends with it.
  const above = (await events_of(id)).filter((event) => event.kind === 'alert_raised' && event.event !== 'link_down' && /caution|warning/.test(event.level));
  const of_flight = above.filter((event) => !kOfComputer.includes(event.event)).map((event) => event.text);
  check('a good flight raises nothing above advisory', of_flight.length === 0, of_flight.join('; '));
  const shaken = await phone.evaluate(() => globalThis.shaken);
  check('a phone shakes for what the station raised, and for nothing else', shaken.length <= above.length, `${JSON.stringify(shaken)} for ${above.map((event) => event.event)}`);
  await stop(simulator);
  for (const page of Object.values(pages)) await page.close();
  await stop(server.child);
}

/** The recording of the flight before, opened by a server of its own. */
async function replayed(browser) {
  const server = await listen('nominal');
  station.address = server.address;
  const { recordings, live } = await until('the recording of this server', async () => {
    const list = await api('recordings');
    return list.live && list; // the address is said before the recording begins
  });
  const flown = recordings.find((one) => one.id !== live);
  const liftoff = (await events_of(flown.id)).find((event) => event.event === 'liftoff');
  for (const [name, width, height, scheme] of kSizes.slice(0, 3)) {
    const page = await open(browser, name, width, height, scheme);
    await page.goto(`${server.address}#/watch/${flown.id}`);
    await until('the tape of the replay', () => page.getByTestId('tape').isVisible());
    for (const [after_s, what] of [[-6, 'on the rail'], [1, 'under thrust'], [8, 'coasting'], [30, 'under drogue'], [flown.t_end_s - liftoff.t_s - 1, 'down']])
      await compare(page, flown.id, liftoff.t_s + after_s, `replay, ${name}, ${what}`);
    await inspect(page, `replay, ${name}`);
    await picture(page, `watch-replay-${name}`);
    await page.close();
  }
  await stop(server.child);
}

/** No parachute opens: a warning that fills the width, is spoken and shakes the phone. */
async function ballistic(browser) {
  const server = await listen('ballistic');
  const simulator = launch('ballistic', 15);
  const pages = {};
  for (const [name, width, height, scheme] of [...kSizes.slice(0, 3), ['night', 390, 844, 'dark']]) {
    pages[name] = await open(browser, name, width, height, scheme);
    if (name === 'night') await pages[name].addInitScript(() => localStorage.setItem('turnstone.theme', 'night'));
    await pages[name].goto(`${server.address}#/watch`);
  }
  const { phone } = pages;
  await until('the rail', async () => /rail/.test(await figure(phone, 'rail').innerText().catch(() => '')));
  await phone.getByTestId('sound').click();
  await until('the warning', async () => /^Warning/.test(await sentence(phone)), 90_000);
  check('a screen reader is interrupted', /parachute/i.test(await phone.getByTestId('warned').innerText()));
  await check_soon('the largest figure is the time to impact', async () => [(await largest(phone)) === 'Predicted impact', await largest(phone)], 5000);
  await each(pages, 'no parachute', async (page, what) => {
    await picture(page, `watch-${what.replaceAll(/[, ]+/g, '-')}`);
    await fits(page, what);
    const band = await page.getByTestId('sentence').boundingBox();
    check(`${what}: the band fills the width`, band.width === page.viewportSize().width);
  });
  check('the phone shakes three times', (await phone.evaluate(() => globalThis.shaken)).some((pulses) => pulses.length === 5), JSON.stringify(await phone.evaluate(() => globalThis.shaken)));
  const heard = await phone.evaluate(() => globalThis.heard);
  check('the warning is spoken', heard.some((text) => /^Warning\. .*parachute/i.test(text)), heard.join(' | '));
  await inspect(phone, 'no parachute, phone');
  await stop(simulator);
  for (const page of Object.values(pages)) await page.close();

  // Help, by keyboard
  const help = await open(browser, 'help', 390, 844, 'light');
  await help.goto(`${server.address}#/help`);
  await until('the help', () => help.getByRole('heading', { name: 'Marks' }).isVisible());
  await inspect(help, 'help, phone');
  await picture(help, 'help-phone');
  await help.goto(`${server.address}#/watch`);
  await help.reload();
  await until('the page', () => help.getByTestId('sentence').isVisible());
  await help.keyboard.press('Tab');
  check('the first stop of the keyboard skips the header', (await help.evaluate(() => document.activeElement?.className)) .includes('skip'));
  await help.keyboard.press('Enter');
  check('and leads to the view', (await help.evaluate(() => document.activeElement?.tagName)) === 'MAIN');
  const manifest = await (await fetch(new URL('/manifest.webmanifest', server.address))).json();
  manifest.icons.push({ src: (await help.locator('link[rel=apple-touch-icon]').getAttribute('href')).slice(1) });
  for (const { src } of manifest.icons) check(`the icon ${src} is there`, (await fetch(new URL(`/${src}`, server.address))).ok);
  await stop(server.child);
}

await run_in_browser(async (browser) => {
  await nominal(browser);
  await replayed(browser);
  check('no errors in the console', errors.length === 0, errors.join('\n        '));
});
