// End to end in a real browser: the real server on a pseudo-terminal fed by the flight simulator, watched from a laptop and
// a phone viewport. What is on screen is compared with what the recording holds (by the API), not with the page's own state.
//
//   node tests/browser/dashboard.mjs --turnstone BIN --simulate BIN --out FOLDER
//
// Needs web/node_modules (npm ci) and Chromium. Ends with "N passed, N failed" and exit code 1 when anything failed.
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { api, check, check_soon, fly, folder, inspect, open_page, other_vehicle, picture, recorded_rows, recorded_value, recorded_word, run_in_browser, site_farther_east, sleep, start_server, station, stop, until } from './harness.mjs';

// What the page shows

/** NaN while the rail does not show it: it follows the phase. */
const number_of = async (page, name) => Number((await page.getByTestId(`readout-${name}`).evaluateAll((found) => found.map((one) => one.dataset.number)))[0] ?? NaN);
const text_of = (page, name) => page.getByTestId(`readout-${name}`).locator('.number').innerText();
const cursor_of = async (page) => Number(await page.getByTestId('tape').getAttribute('aria-valuenow'));
const where_of = (page) => page.getByTestId('where').innerText();

/** Whether a pointer at its first and at its last corner would meet it: nothing cuts it off or lies on it. */
const in_reach = (button) => button.evaluate((node) => {
  const { left, right, top, bottom } = node.getBoundingClientRect();
  return [[left + 3, top + 3], [right - 3, bottom - 3]].every(([x, y]) => node.contains(document.elementFromPoint(x, y)));
});

/** In flight a press, Enter in the field or a double click is not enough, and it can be left. */
async function new_recording_asks_first(laptop, live_id) {
  await laptop.getByRole('button', { name: 'More', exact: true }).click();
  await laptop.locator('#recording-name').fill('By mistake');
  await laptop.getByRole('button', { name: 'Start recording', exact: true }).dblclick();
  await laptop.locator('#recording-name').press('Enter');
  const sure = laptop.getByRole('button', { name: 'Start recording in flight' });
  await until('the question', () => sure.isVisible());
  await picture(laptop, 'laptop-light-new-recording-in-flight');
  await sleep(1000);
  check('a new recording in flight is asked about first', (await api('recordings')).live === live_id && (await laptop.getByText('cuts its flight in two').count()) === 1);
  await laptop.getByRole('dialog').getByRole('button', { name: 'Cancel' }).click();
  check('and can be left', !(await sure.isVisible()));
  await laptop.locator('#recording-name').fill('');
  await laptop.getByRole('button', { name: 'Close', exact: true }).click();
}

/** Clicks on the tape at a part of its length, and waits until the page shows that moment. */
async function click_tape(page, part) {
  const tape = page.getByTestId('tape');
  const box = await tape.boundingBox();
  await page.mouse.click(box.x + 14 + (box.width - 28) * part, box.y + box.height * 0.3);
  await until('the cursor where the tape was clicked', async () => {
    const length_s = Number(await tape.getAttribute('aria-valuemax'));
    return Math.abs((await cursor_of(page)) - part * length_s) < 0.02 * length_s + 0.5;
  });
}

/** Where altitude and vertical speed come from: navigation while fixes aid it, else the vertical filter. */
const kAided = 'GNSS-aided';
const kNavigation = { table: '/estimate/navigation', altitude: 'up_m', speed: 'velocity_up_mps' };
const kVertical = { table: '/estimate/vertical', altitude: 'altitude_m', speed: 'vertical_speed_mps' };
const best_source = async (id, t_s) => ((await recorded_word(id, t_s, '/estimate/navigation', 'mode')) === kAided ? kNavigation : kVertical);

/** A figure is a row of its source as it was when something was last measured: one of the last second's. */
const kMeasured_s = 1;

async function compare(page, id, what) {
  const t_s = await cursor_of(page);
  // A slow computer comes here late.
  if ((await page.getByTestId('readout-place').count()) > 0) {
    check(`${what}: where it lies stands in place of an altitude once it is down`, (await recorded_estimates(id, t_s)).happened.has('touchdown'), `at ${t_s} s`);
    return;
  }
  const best = await best_source(id, t_s);
  const flies = Number.isFinite(await number_of(page, 'vertical_speed'));
  for (const [readout, column] of [['altitude', best.altitude], ...(flies ? [['vertical_speed', best.speed]] : [])]) {
    const rows = await recorded_rows(id, best.table, column, t_s - kMeasured_s, t_s);
    await check_soon(`${what}: ${readout} at ${t_s.toFixed(3)} s is a recorded one`, async () => {
      const got = await number_of(page, readout);
      return [rows.some((row) => close(got, row)), `screen ${got}, recording ${rows.at(-1)} last of ${rows.length}`];
    });
  }
  const sigma = await recorded_value(id, t_s, best.table, `${best.altitude}_sigma`);
  await check_soon(`${what}: the altitude's text is that number, to its 1-sigma`, async () => {
    const shown = (await text_of(page, 'altitude')).replace('−', '-');
    const altitude = await number_of(page, 'altitude');
    return [Math.abs(Number(shown) - altitude) <= Math.max(0.5, sigma), `text ${shown}, number ${altitude} ± ${sigma}`];
  });
}

/** Values of the newest rows at `t_s`, as "estimate name/column", and the events so far. */
async function recorded_estimates(id, t_s, vehicle = 0) {
  const { tables } = await api(`recordings/${id}/description`);
  const { latest } = await api(`recordings/${id}/latest?t_s=${t_s}`);
  const { events } = await api(`recordings/${id}/events`);
  const values = new Map();
  for (const row of latest) {
    const table = tables[row.table];
    const name = /\/estimate\/(\w+)$/.exec(table.name)?.[1];
    if (!name || table.vehicle !== vehicle) continue;
    table.columns.forEach((column, i) => values.set(`${name}/${column.name}`, row.values[i] ?? NaN));
    values.set(`${name}/t_s`, row.t_s);
  }
  const happened = new Map(events.filter((e) => e.vehicle === vehicle && kFlightEvents.includes(e.event) && e.t_s <= t_s).map((e) => [e.event, e]));
  const why_missing = (estimate) => events.find((e) => e.vehicle === vehicle && e.event === 'estimate_missing' && e.data.estimate === estimate)?.text;
  return { get: (name) => values.get(name) ?? NaN, happened, why_missing };
}

const card_numbers = (page, name) => page.getByTestId(`card-${name}`).locator('.figure').evaluateAll((found) => found.map((figure) => Number(figure.dataset.number)));
const card_text = (page, name) => page.getByTestId(`card-${name}`).innerText();
/** A live number against the recorded one, which is rounded: to 1 mm at most, and a distance is of two of them. */
const kRounding = 1e-3;
const close = (a, b) => (Number.isNaN(a) && Number.isNaN(b)) || Math.abs(a - b) <= kRounding;
const kFlightEvents = ['liftoff', 'burnout', 'apogee', 'drogue_out', 'main_out', 'touchdown'];

/** Every card of an estimate, the flight events and the map's landings against what the recording holds at the cursor. */
async function compare_estimates(page, id, what) {
  const t_s = await cursor_of(page);
  const { get, happened } = await recorded_estimates(id, t_s);
  const same = (name, card, ...want) =>
    check_soon(`${what}: ${name} at ${t_s.toFixed(2)} s is the recorded one`, async () => {
      const got = await card_numbers(page, card);
      const good = want.every(Number.isNaN) ? got.every(Number.isNaN) : got.length === want.length && want.every((value, i) => close(got[i], value));
      return [good, `screen ${got}, recording ${want}`];
    });
  const flat = (east, north) => {
    const distance = Math.hypot(east, north);
    return [distance, distance > 0 ? (Math.atan2(east, north) * 180 / Math.PI + 360) % 360 : NaN]; // at the pad: no direction
  };
  await same('apogee', 'apogee', happened.has('apogee') ? get('derived/altitude_max_m') : get('ascent/apogee_m'));
  if (!happened.has('apogee')) {
    const bound = (name) => get(`ascent/${name}`).toFixed(0);
    await check_soon(`${what}: the apogee's interval is the recorded one`, async () => {
      const text = await card_text(page, 'apogee');
      return [text.includes(`90 %: ${bound('apogee_low_m')} to ${bound('apogee_high_m')} m`) && text.includes('±'), text];
    });
  }
  if (happened.has('touchdown')) {
    await same('place of touchdown', 'landing', ...flat(get('last_place/east_m'), get('last_place/north_m')));
  } else {
    const cases = ['nominal', 'late_opening', 'drogue_fails', 'main_fails', 'main_at_apogee', 'no_parachute'];
    const likeliest = cases[get('landing/likeliest')];
    await same('landing', 'landing', ...flat(get(`landing/${likeliest}_east_m`), get(`landing/${likeliest}_north_m`)));
    for (const name of cases) {
      const row = page.getByTestId(`landing-${name}`);
      const distance = Math.hypot(get(`landing/${name}_east_m`), get(`landing/${name}_north_m`));
      await check_soon(`${what}: the map's landing ${name} is the recorded one`, async () => {
        const [shown] = await row.evaluateAll((rows) => rows.map((one) => Number(one.dataset.distance)));
        return [close(shown ?? NaN, distance), `shown ${shown}, recorded ${distance}`];
      });
    }
    await check_soon(`${what}: the map says that flat ground is assumed`, async () => [await page.getByTestId('flat-ground').isVisible()]);
  }
  await same('navigation mode', 'navigation', get('navigation/mode'));
  await same('antenna', 'antenna', get('look_angles/azimuth_deg'), get('look_angles/elevation_deg'));
  await same('ground − on board', 'comparison', get('onboard_comparison/altitude_m'), get('onboard_comparison/vertical_speed_mps'));
  await compare_flight_events(page, async () => happened, what);
}

/** Of a flight event in the log; NaN while it has not happened. */
const event_time = async (page, name) => Number((await page.getByTestId(`event-${name}`).evaluateAll((found) => found.map((one) => one.dataset.time)))[0] ?? NaN);

/** `happened`: asked for with each look, since events reach a live recording a second or two after the page. */
async function compare_flight_events(page, happened, what) {
  for (const name of kFlightEvents) {
    await check_soon(`${what}: time of ${name}`, async () => {
      const want = (await happened()).get(name)?.t_s ?? NaN;
      const shown = await event_time(page, name);
      return [close(shown, want), `screen ${shown}, recording ${want}`];
    });
  }
}

/** Two fingers moved apart by a factor of about two over the strips. */
async function pinch(page) {
  const session = await page.context().newCDPSession(page);
  await session.send('Emulation.setTouchEmulationEnabled', { enabled: true, maxTouchPoints: 2 });
  const plot = page.locator('.strips [data-plot]').first();
  await plot.evaluate((element) => element.scrollIntoView({ block: 'center' })); // clear of the tape, which lies over the page's end
  const box = await plot.boundingBox();
  const at = (spread) => [-1, 1].map((side, id) => ({ x: box.x + box.width / 2 + side * spread, y: box.y + box.height / 2, id }));
  await session.send('Input.dispatchTouchEvent', { type: 'touchStart', touchPoints: at(50) });
  for (let spread = 55; spread <= 100; spread += 5) await session.send('Input.dispatchTouchEvent', { type: 'touchMove', touchPoints: at(spread) });
  await session.send('Input.dispatchTouchEvent', { type: 'touchEnd', touchPoints: [] });
  await session.send('Emulation.setTouchEmulationEnabled', { enabled: false });
}
const window_of = async (page) => {
  const [, minutes, seconds] = /Showing(?: (\d+) min)?(?: (\d+) s)?/.exec(await page.locator('.zoom .span').textContent()) ?? [];
  return 60 * Number(minutes ?? 0) + Number(seconds ?? 0);
};

async function run(browser) {
  const errors = [];
  const open = (...how) => open_page(browser, errors, ...how);

  const server = await start_server(0);
  station.address = server.address;
  const port = new URL(station.address).port;
  const simulator = fly('nominal');
  await until('the simulator\'s pseudo-terminal', () => {
    if (simulator.exitCode !== null) throw new Error(`the simulator ended:\n${simulator.text}`);
    return existsSync(join(folder, 'radio'));
  });

  const laptop = await open('laptop', 1440, 900, 'light');
  const phone = await open('phone', 390, 844, 'dark');
  await laptop.goto(station.address);
  await phone.goto(`${station.address}#/crew`);
  const live_id = (await api('recordings')).live;

  // Live
  for (const [name, page] of [['laptop', laptop], ['phone', phone]]) {
    await until(`an altitude on the ${name}`, async () => Number.isFinite(await number_of(page, 'altitude')));
    check(`${name}: values arrive`, true);
  }
  check('the recorder says it records', /Recording/.test(await laptop.getByTestId('recorder').innerText()));
  await picture(laptop, 'laptop-light-rail');
  await until('liftoff on the clock', async () => /T\+/.test(await laptop.getByTestId('clock-flight').innerText()), 60_000);
  check('laptop: the clock counts from liftoff', true);
  await until('some height', async () => (await number_of(phone, 'altitude')) > 50, 30_000);
  const climbing_s = await cursor_of(laptop);
  await until('more of the flight', async () => (await cursor_of(laptop)) > climbing_s + 4);
  await picture(laptop, 'laptop-light-live');
  await picture(phone, 'phone-dark-live');
  const on_screen = await number_of(laptop, 'altitude');
  await check_soon('laptop: the altitude shown live is one of the recorded rows', async () => {
    const kept = [];
    for (const { table, altitude } of [kNavigation, kVertical]) kept.push(...(await recorded_rows(live_id, table, altitude, 0, 600)));
    return [kept.some((one) => close(one, on_screen)), `${on_screen} is none of ${kept.length}`];
  });
  await inspect(laptop, 'live, laptop, light');
  await inspect(phone, 'live, phone, dark');

  // Behind live while it goes on
  await click_tape(laptop, 0.5);
  await until('the tape to go behind live', async () => /behind live/.test(await where_of(laptop)));
  check('laptop: a click on the tape goes behind live', true);
  const end_of_recording = async () => (await api('recordings')).recordings.find((r) => r.id === live_id).t_end_s;
  const end_before = await end_of_recording();
  await compare(laptop, live_id, 'behind live');
  await laptop.getByRole('button', { name: 'Show estimates' }).click();
  await compare_estimates(laptop, live_id, 'behind live');
  await picture(laptop, 'laptop-light-behind-live');
  await check_soon('still recording while someone is behind live', async () => {
    const end_after = await end_of_recording();
    return [end_after > end_before, `${end_before} then ${end_after}`];
  });
  check('phone: stays live meanwhile', /^Live$/.test(await where_of(phone)), await where_of(phone));
  const before_key = await cursor_of(laptop);
  await laptop.keyboard.press('ArrowLeft');
  await check_soon('laptop: the left arrow moves the cursor back', async () => [(await cursor_of(laptop)) < before_key]);
  await compare(laptop, live_id, 'one step further back');
  await laptop.keyboard.press('End');
  await check_soon('the crew view is live again', async () => [/^Live$/.test(await where_of(laptop)), await where_of(laptop)]);
  const head = await cursor_of(laptop);
  await until('the head to move', async () => (await cursor_of(laptop)) > head);
  check('laptop: one key leads back to live', true);

  // A page that comes in mid-flight has the times of what happened before it came
  await phone.reload();
  await until('the times of before', async () => Number.isFinite(await event_time(phone, 'burnout')));
  const happened = async () => (await recorded_estimates(live_id, await cursor_of(phone))).happened;
  await compare_flight_events(phone, happened, 'after a reload in mid-flight');

  // Two fingers on the strips
  const wide_s = await window_of(phone);
  await pinch(phone);
  await until('the pinched window', async () => (await window_of(phone)) < 0.75 * wide_s);
  check('phone: two fingers apart make the window shorter', (await window_of(phone)) >= 0.3 * wide_s, `${wide_s} s, then ${await window_of(phone)} s`);
  check('phone: and leave it live', /^Live$/.test(await where_of(phone)), await where_of(phone));

  // Broken connection: the phone goes out of reach and comes back
  const network = await browser.newCDPSession(phone);
  await network.send('Network.enable');
  await network.send('Network.emulateNetworkConditions', { offline: true, latency: 0, downloadThroughput: 0, uploadThroughput: 0 });
  await phone.evaluate(() => window.dispatchEvent(new Event('offline')));
  await until('the phone to notice', () => phone.locator('.connection').isVisible());
  const left_s = await cursor_of(laptop);
  await check_soon('phone: values look stale while the connection is down', async () => [/stale/.test(await phone.getByTestId('readout-altitude').getAttribute('class')), `${await phone.getByTestId('readout-altitude').innerText()}; ${await where_of(phone)}; connection ${await phone.locator('.connection').isVisible() ? 'down' : 'up'}`]);
  await until('something to miss', async () => (await cursor_of(laptop)) > left_s + 2.5);
  await picture(phone, 'phone-dark-offline');
  await network.send('Network.emulateNetworkConditions', { offline: false, latency: 0, downloadThroughput: -1, uploadThroughput: -1 });
  await phone.evaluate(() => window.dispatchEvent(new Event('online')));
  await until('the phone to be back', async () => !(await phone.locator('.connection').isVisible()));
  const moved = await cursor_of(phone);
  await until('the phone\'s tape to move', async () => (await cursor_of(phone)) > moved);
  check('phone: comes back by itself', true);
  await until('the missed rows', async () => !(await phone.getByText('Loading history').isVisible()));
  await click_tape(phone, (left_s + 1.2) / (await cursor_of(phone)));
  await compare(phone, live_id, 'what the phone missed');
  await inspect(phone, 'behind live, phone, dark');
  await phone.getByRole('button', { name: /Back to live/ }).first().click();

  // Operator
  check('viewer: no marker can be set', (await laptop.getByRole('button', { name: /^Marker/ }).count()) === 0);
  await laptop.setViewportSize({ width: 1366, height: 768 });
  await laptop.getByRole('button', { name: 'Unlock operator controls' }).click();
  for (const name of ['Unlock', 'Cancel'])
    check(`the form for the key: ${name} is in reach`, await in_reach(laptop.getByRole('button', { name, exact: true })));
  await laptop.locator('#operator-key').fill('not the key at all');
  await laptop.getByRole('button', { name: 'Unlock', exact: true }).click();
  await until('the refusal', () => laptop.locator('.notice p.caution').isVisible());
  await until('the operator\'s rights', async () => {
    if (await laptop.getByRole('button', { name: /^Marker/ }).isVisible()) return laptop.getByRole('button', { name: /^Marker/ }).isEnabled();
    await laptop.locator('#operator-key').fill(server.key);
    const answer = laptop.waitForResponse((one) => one.url().endsWith('/api/session') && one.request().method() === 'POST');
    await laptop.getByRole('button', { name: 'Unlock', exact: true }).click();
    return (await answer).status() === 429 ? sleep(500).then(() => false) : false; // attempts are rate-limited
  });
  errors.splice(0, errors.length, ...errors.filter((text) => !/403|429/.test(text)));
  await laptop.getByRole('button', { name: /^Marker/ }).click();
  for (const name of ['Set now', 'Undo'])
    check(`a marker that is still to be set: ${name} is in reach`, await in_reach(laptop.getByRole('button', { name, exact: true }).first()));
  await laptop.locator('.pending input').fill('Seen over the ridge');
  await laptop.locator('.pending input').press('Enter');
  await laptop.getByTestId('sentence').evaluate((band) => (band.style.minHeight = '11rem')); // as with a long warning
  for (const name of [/^Marker/, 'More'])
    check(`under a tall sentence: ${name} is in reach`, await in_reach(laptop.getByRole('button', { name, exact: true })));
  await picture(laptop, 'laptop-light-tall-sentence');
  await laptop.getByTestId('sentence').evaluate((band) => (band.style.minHeight = ''));
  await new_recording_asks_first(laptop, live_id);
  await laptop.setViewportSize({ width: 1440, height: 900 });
  await until('the marker on the phone', () => phone.getByText('Seen over the ridge').first().isVisible());
  check('a marker set on the laptop reaches the phone', true);
  await written(laptop, phone);
  await hand_over(laptop, errors);

  // To the ground
  await until('the touchdown', async () => Number.isFinite(await event_time(laptop, 'touchdown')), 120_000);
  check('laptop: apogee and touchdown are what was reached', /Apogee reached/.test(await card_text(laptop, 'apogee')) && /Touchdown/.test(await card_text(laptop, 'landing')));
  await picture(laptop, 'laptop-light-down');
  await phone.evaluate(() => window.scrollTo(0, 0));
  await picture(phone, 'phone-dark-down');

  await laptop.getByRole('button', { name: 'More', exact: true }).click();
  await laptop.locator('#recording-name').fill('The next one');
  await laptop.getByRole('button', { name: 'Start recording' }).click();
  await until('the new recording', async () => (await api('recordings')).live !== live_id);
  check('a new recording can be started', true);

  // Replay of the finished one
  await laptop.getByRole('link', { name: 'Flights' }).click();
  const flight_of = (page) => page.locator(`[data-testid^="flight-${live_id}~"]`);
  const line = flight_of(laptop);
  await until('the finished flight in the log book', async () => (await line.count()) === 1 && /touchdown/.test(await line.innerText()));
  await picture(laptop, 'laptop-light-log-book');
  await inspect(laptop, 'log book, laptop, light');
  check('the log book has the name that the flight was given', /Second hop/.test(await line.innerText()), await line.innerText());
  await line.getByRole('button', { name: /^More/ }).click();
  await line.getByLabel('Name', { exact: true }).fill('Flight of the browser test');
  await line.getByLabel('Notes', { exact: true }).fill('Mild wind.');
  await line.getByRole('button', { name: 'Save' }).click();
  await until('the new name', async () => /Flight of the browser test/.test(await line.innerText()));
  check('a flight can be named', (await api('flights')).flights.some((one) => one.recording === live_id && one.name === 'Flight of the browser test'));
  const download = laptop.waitForEvent('download');
  await line.getByRole('link', { name: 'Download recording' }).click();
  const file = join(folder, 'download.sqlite');
  await (await download).saveAs(file);
  check('the download is an SQLite file', readFileSync(file).subarray(0, 15).toString() === 'SQLite format 3');
  await line.getByRole('link', { name: 'Replay', exact: true }).click();
  await until('replay', async () => /Replay, paused/.test(await where_of(laptop)));
  await laptop.getByRole('button', { name: 'Show estimates' }).click();
  await click_tape(laptop, 0.7);
  await until('the sought cursor', async () => (await cursor_of(laptop)) > 5);
  await compare(laptop, live_id, 'replay after a seek');
  await compare_estimates(laptop, live_id, 'replay after a seek');
  for (const [part, what] of [[0.03, 'replay on the rail'], [0.17, 'replay in the ascent'], [0.995, 'replay after touchdown']]) {
    await click_tape(laptop, part);
    await compare_estimates(laptop, live_id, what);
  }
  await picture(laptop, 'laptop-light-replay-down');
  await click_tape(laptop, 0.7);
  const sought = await cursor_of(laptop);
  await laptop.keyboard.press('Shift+ArrowRight');
  await until('the step', async () => (await cursor_of(laptop)) > sought);
  check('replay: Shift and an arrow key step to the next packet', (await cursor_of(laptop)) - sought < 0.5);
  const stepped = await cursor_of(laptop);
  await laptop.getByRole('button', { name: 'One packet back' }).click();
  await until('the step back', async () => (await cursor_of(laptop)) < stepped);
  check('replay: a button steps back', (await cursor_of(laptop)) >= sought - 0.5);
  await laptop.getByTestId('rate').selectOption('2');
  await laptop.getByRole('button', { name: 'Play', exact: true }).click();
  const playing = await cursor_of(laptop);
  await until('replay to move', async () => (await cursor_of(laptop)) > playing + 1);
  await laptop.getByRole('button', { name: 'Pause', exact: true }).click();
  await until('replay to pause', async () => /paused/.test(await where_of(laptop)));
  await compare(laptop, live_id, 'replay after a pause');
  await picture(laptop, 'laptop-light-replay');
  await inspect(laptop, 'replay, laptop, light');
  await phone.goto(`${station.address}#/flights`);
  await until('the log book on the phone', () => flight_of(phone).isVisible());
  await picture(phone, 'phone-dark-log-book');
  await inspect(phone, 'log book, phone, dark');
  await jump_on_phone(phone, live_id);
  const ground_of = (page) => page.evaluate(() => getComputedStyle(document.body).backgroundColor);
  const light = await ground_of(laptop);
  await laptop.emulateMedia({ colorScheme: 'dark' });
  await until('the dark ground', async () => (await ground_of(laptop)) !== light);
  await picture(laptop, 'laptop-dark-replay');
  await inspect(laptop, 'replay, laptop, dark');
  await laptop.emulateMedia({ colorScheme: 'light' });
  await laptop.goto(`${station.address}#/crew`);
  await check_soon('the crew view is live again', async () => [/^Live$/.test(await where_of(laptop)), await where_of(laptop)]);

  // The server goes and comes back on the same port; the flight has ended by now, so another vehicle stands on the rail
  await stop(simulator);
  const idle = fly('on-the-rail', { seed: 8, before_ignition_s: 300 });
  await stop(server.child);
  await until('the laptop to notice', () => laptop.locator('.connection').isVisible());
  const again = await start_server(port);
  station.address = again.address;
  await until('the laptop to be back', async () => !(await laptop.locator('.connection').isVisible()));
  const id = (await api('recordings')).live;
  await until('values of the new recording', async () => (await cursor_of(laptop)) < 60 && Number.isFinite(await number_of(laptop, 'altitude')));
  check('after a restart of the server the page shows the new recording', id !== live_id);
  await stop(again.child);
  await stop(idle);
  await two_vehicles(laptop);
  check('no errors in the console', errors.length === 0, errors.join('\n        '));
}

/** The map lies under a phone's fold: it is drawn when it is looked at, and a jump does not wait for it. */
async function jump_on_phone(phone, id) {
  await phone.goto(`${station.address}#/crew/${id}`);
  await until('replay on the phone', async () => /Replay, paused/.test(await where_of(phone)));
  await click_tape(phone, 0.3);
  await compare(phone, id, 'phone: replay after a seek');
  const drawn = () => phone.evaluate(() => globalThis.map_drawn);
  await phone.evaluate(() => {
    const pen = document.querySelector('[data-testid=map] canvas').getContext('2d');
    const clear = pen.clearRect.bind(pen);
    globalThis.map_drawn = 0;
    pen.clearRect = (...area) => {
      globalThis.map_drawn++;
      clear(...area);
    };
  });
  await click_tape(phone, 0.7);
  await compare(phone, id, 'phone: replay after another');
  await sleep(500); // twice what a map waits at most
  check('phone: a jump draws no map that is out of view', (await drawn()) === 0, `${await drawn()} times`);
  await phone.getByTestId('map').scrollIntoViewIfNeeded();
  await check_soon('phone: the map is drawn once it is looked at', async () => [(await drawn()) > 0]);
  await picture(phone, 'phone-dark-replay-map');
}

/** What an operator wrote is changed and taken back for everybody; the flight gets a name while it flies. */
async function written(laptop, phone) {
  const log = laptop.locator('.events');
  await log.getByRole('button', { name: 'Change: Seen over the ridge' }).click();
  await log.getByLabel('Text of the marker or note').fill('Seen beyond the ridge');
  await picture(laptop, 'laptop-light-change-marker');
  await log.getByRole('button', { name: 'Save' }).click();
  await until('the changed marker on the phone', () => phone.getByText('Seen beyond the ridge').first().isVisible());
  check('a marker that was changed takes the place of the one before', (await phone.getByText('Seen over the ridge').count()) === 0);
  await log.getByRole('button', { name: 'Change: Seen beyond the ridge' }).click();
  await log.getByRole('button', { name: 'Take back' }).click();
  await check_soon('a marker that was taken back is gone for everybody', async () => [(await phone.getByText('Seen beyond the ridge').count()) === 0]);
  await laptop.getByRole('button', { name: 'More', exact: true }).click();
  await laptop.locator('#flight-name').fill('Second hop');
  await picture(laptop, 'laptop-light-operator');
  await laptop.getByRole('button', { name: 'Name it' }).click();
  await laptop.getByRole('button', { name: 'Close', exact: true }).click();
  await check_soon('the name of the flight stands on every tape', async () => [(await phone.getByTestId('chapter').allInnerTexts()).join() === 'Second hop', (await phone.getByTestId('chapter').allInnerTexts()).join()]);
}

/** Another device opens the operator's link: it may act then, and the one that gave the link may not; and back. */
async function hand_over(laptop, errors) {
  const page = await open_page(laptop.context().browser(), errors, 'next operator', 1366, 768, 'light');
  const ask = async (from) => {
    await from.getByRole('button', { name: 'More', exact: true }).click();
    await from.getByRole('button', { name: 'Hand over' }).click();
    return new URL(await from.getByTestId('device-link').inputValue());
  };
  const may_act = (on) => on.getByRole('button', { name: /^Marker/ }).isVisible();
  const link = await ask(laptop);
  await picture(laptop, 'laptop-light-hand-over');
  await page.goto(new URL(link.hash, station.address).href);
  await check_soon('the device that opened the link may act', async () => [await may_act(page)]);
  check('and its address shows no key', !page.url().includes('key='), page.url());
  await check_soon('the device that gave it may not', async () => [!(await may_act(laptop))]);
  await laptop.goto(new URL((await ask(page)).hash, station.address).href);
  await check_soon('it comes back as it went', async () => [(await may_act(laptop)) && !(await may_act(page))]);
  await page.context().close();
}

/** A second vehicle whose dictionary gives no rates a role: its own readouts, and plain words about what it lacks. */
async function two_vehicles(page) {
  const other = other_vehicle('godwit', 'Godwit', (text) => text.replace(/, "role": "rate_body_[xyz]"/g, ''));
  const server = await start_server(0, ['--vehicle', other, '--link', `serial:${join(folder, 'second')}?baud=57600&vehicle=godwit`]);
  station.address = server.address;
  const simulators = [
    fly('on-the-rail', { seed: 20, impairment: 'clean', before_ignition_s: 60 }),
    fly('on-the-rail', { radio: 'second', seed: 21, impairment: 'clean', before_ignition_s: 60, site: site_farther_east(0.003) }),
  ];
  await page.goto(station.address);
  const choice = page.getByRole('combobox', { name: 'Vehicle' });
  await until('two vehicles to choose from', async () => (await choice.locator('option').count()) === 2);
  const id = (await api('recordings')).live;
  await page.getByRole('button', { name: 'Show estimates' }).click();
  for (const [vehicle, title] of ['Sanderling', 'Godwit'].entries()) {
    await choice.selectOption({ label: title });
    await check_soon(`two vehicles: beside ${title} the other stands as a small card`, async () => [await page.getByTestId(`vehicle-${1 - vehicle}`).isVisible()]);
    await until(`an altitude of ${title}`, async () => Number.isFinite(await number_of(page, 'altitude')));
    await until(`an apogee of ${title}`, async () => Number.isFinite((await card_numbers(page, 'apogee'))[0] ?? NaN));
    await check_soon(`two vehicles: the predicted apogee is ${title}'s own`, async () => {
      const [apogee] = await card_numbers(page, 'apogee');
      const { get } = await recorded_estimates(id, 1e6, vehicle);
      return [close(apogee ?? NaN, get('ascent/apogee_m')), `screen ${apogee}, recording ${get('ascent/apogee_m')}`];
    });
  }
  const { get, why_missing } = await recorded_estimates(id, 1e6, 1);
  check('two vehicles: the recording says why the one without rates has no attitude', why_missing('attitude') !== undefined, `${why_missing('attitude')}`);
  await check_soon('two vehicles: the one without rates has a position all the same', async () => {
    const said = await card_text(page, 'navigation');
    return [/no attitude/.test(said) && /± [\d.]+ m horizontal/.test(said.replaceAll('\u202f', ' ')) && Number.isFinite(get('navigation/east_m')), said];
  });
  await picture(page, 'laptop-light-two-vehicles');
  await collect_both(page, id, server);
  for (const simulator of simulators) await stop(simulator);
}

/** Who collects two vehicles sees both, each at its own place, and still does once the station is gone. */
async function collect_both(page, id, server) {
  await page.setViewportSize({ width: 390, height: 844 });
  await page.goto(`${station.address}#/recover`);
  const list = page.getByTestId('to-collect');
  const degrees = (deg, [positive, negative]) => `${Math.abs(deg).toFixed(5)}° ${deg < 0 ? negative : positive}`;
  const shown = async (title) => {
    await list.getByRole('button', { name: title }).click();
    return (await page.getByTestId('last-place').innerText()).replaceAll(/[\u00a0\u202f]/g, ' ').replaceAll(/\n+/g, '\n');
  };
  await until('both vehicles in the list', async () => (await list.getByRole('button').count()) === 2);
  const places = [];
  for (const [vehicle, title] of ['Sanderling', 'Godwit'].entries()) {
    await check_soon(`recover: ${title} is at its own place`, async () => {
      const { get } = await recorded_estimates(id, 1e6, vehicle);
      const want = `${degrees(get('last_place/latitude_deg'), 'NS')}\n${degrees(get('last_place/longitude_deg'), 'EW')}`;
      const words = await shown(title);
      places[vehicle] = words.split('\n').slice(0, 2).join('\n');
      return [words.startsWith(want), `${words}, recorded ${want}`];
    });
  }
  check('recover: the two places differ', places[0] !== places[1], places.join(' | '));
  await picture(page, 'phone-light-recover-two-vehicles');
  await inspect(page, 'recover, two vehicles');
  await until('the page to be kept', async () => (await page.getByTestId('page-kept').getAttribute('data-state')) === 'kept');
  await stop(server.child);
  await until('the page to notice', () => page.locator('.connection').isVisible());
  await sleep(2500); // what was seen is kept every two seconds
  const before = [];
  for (const title of ['Sanderling', 'Godwit']) before.push((await shown(title)).split('\n').slice(0, 2).join());
  await page.reload();
  await until('what was kept', async () => (await list.getByRole('button').count()) === 2);
  for (const [vehicle, title] of ['Sanderling', 'Godwit'].entries()) {
    const words = (await shown(title)).split('\n').slice(0, 2).join();
    check(`without the station: ${title} is where it was`, words === before[vehicle], `${words}, before ${before[vehicle]}`);
  }
}

await run_in_browser(run);
