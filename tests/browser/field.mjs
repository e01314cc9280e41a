// The two views for people away from the laptop, in a real browser: who walks to a vehicle (#/recover) and who holds the
// antenna (#/antenna). The real server is fed by the flight simulator; then the link goes silent, the server stops, and the
// page is reloaded without it. What is on screen is compared with what the recording holds, and every request is read: the
// viewer's place must be in none.
//
//   node tests/browser/field.mjs --turnstone BIN --simulate BIN --out FOLDER
//
// Needs web/node_modules (npm ci) and Chromium. Ends with "N passed, N failed" and exit code 1 when anything failed.
import { copyFileSync, existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { api, check, check_soon, folder, inspect, kDemo, kShots, kSimulate, open_page, run_in_browser, sleep, start, start_server, station, stop, until } from './harness.mjs';

const kInsecure = 'field.test'; // plain http under a name is what a phone on the range network gets
const kFlags = [`--host-resolver-rules=MAP ${kInsecure} 127.0.0.1`];
const kSizes = [['phone', 390, 844], ['landscape', 844, 390], ['laptop', 1366, 768]];

// Some hundred metres south-west of the pad, to digits that nothing else on the page has.
const kMe = { latitude: -21.387_419_7, longitude: 23.172_913_6, accuracy: 12.24 };
const kMyDigits = ['21.3874', '23.1729', '3874197', '1729136'];

/** The station stands so near to the pad that the vehicle passes overhead. */
const kSite = JSON.parse(readFileSync(join(kDemo, 'site.json'), 'utf8'));
kSite.station = { latitude_deg: -21.3850, longitude_deg: 23.1748, height_m: 968.5 };
delete kSite.$schema;
const site_file = join(folder, 'site.json');
writeFileSync(site_file, JSON.stringify(kSite));
copyFileSync(join(kDemo, 'ground.geojson'), join(folder, 'ground.geojson')); // what lies on the map stands beside it

// What the recording holds

/** Newest row of a table by column name, with `t_s`. The page is live, and so is this. */
async function recorded(name) {
  const { tables } = await api('recordings/live/description');
  const table = tables.find((one) => one.name.endsWith(name));
  if (!table) return undefined;
  const { latest } = await api(`recordings/live/latest?t_s=1e6`);
  const row = latest.find((one) => one.table === table.id);
  return row && { t_s: row.t_s, ...Object.fromEntries(table.columns.map((column, i) => [column.name, row.values[i]])) };
}

async function recorded_place() {
  const kept = await recorded('/estimate/last_place');
  if (kept) return kept;
  const fix = await recorded('sanderling/fix');
  return { t_s: fix.t_s, latitude_deg: fix.latitude, longitude_deg: fix.longitude };
}

/**
 * Distance and bearing by the radii of curvature in the middle of the way: another method than the page's, good to parts in
 * a million over a few kilometres (Bomford, Geodesy, 4th edition, section 2.15; from memory).
 */
function way(from, to) {
  const radian = Math.PI / 180;
  const middle = ((from.latitude_deg + to.latitude_deg) / 2) * radian;
  const [a, e2] = [6378137, 6.69437999014e-3];
  const root2 = 1 - e2 * Math.sin(middle) ** 2;
  const across = a / Math.sqrt(root2);
  const north = (to.latitude_deg - from.latitude_deg) * radian * ((across * (1 - e2)) / root2);
  const east = (to.longitude_deg - from.longitude_deg) * radian * across * Math.cos(middle);
  return { distance_m: Math.hypot(east, north), bearing_deg: (Math.atan2(east, north) / radian + 360) % 360 };
}
/** Whether digits on the page are those of a recorded angle. What is recorded is rounded to 1e-8°, so that the last digit of both may differ. */
const are_digits_of = (text, deg) => Math.abs(Number(text) - deg) <= 0.5 * 10 ** -(text.split('.')[1]?.length ?? 0) + 1e-8;
const apart = (a, b) => Math.abs(((((a - b) % 360) + 540) % 360) - 180);

// What the page shows

const number_of = async (page, name) => Number(await page.getByTestId(name).getAttribute('data-number'));
const text_of = async (page, name) => (await page.getByTestId(name).innerText()).replaceAll(/[\u00a0\u202f]/g, ' ');

/** What lies on the map, as it is drawn. */
const overlays_of = (page) => page.getByTestId('overlays').locator('path').evaluateAll((paths) => paths.map((path) => path.getAttribute('d')));

async function whole(page, what) {
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  check(`${what}: nothing reaches over the edge of the page`, wide <= 0, `${wide} pixels too wide`);
  const cut = await page.evaluate(() => [...document.querySelectorAll('main *')]
    .filter((one) => {
      const { left, right, width, height } = one.getBoundingClientRect();
      // What lies on the map goes on beyond its edges.
      if (width === 0 || height === 0 || one.closest('.unseen, [data-testid=overlays]')) return false;
      const words = one.childElementCount === 0 && one.textContent.trim() !== '' && !one.closest('svg');
      return left < -0.5 || right > innerWidth + 0.5 || (words && one.clientWidth > 0 && one.scrollWidth > one.clientWidth + 1);
    })
    .map((one) => `${one.tagName.toLowerCase()} "${one.textContent.trim().slice(0, 40)}"`));
  check(`${what}: nothing is clipped`, cut.length === 0, cut.join(', '));
  const small = await page.evaluate(() => [...document.querySelectorAll('main button, main a, main input, main select')]
    .filter((one) => one.getBoundingClientRect().height > 0 && one.getBoundingClientRect().height < 44)
    .map((one) => one.textContent.trim()));
  check(`${what}: every control is at least 44 px high`, small.length === 0, small.join(', '));
}

/** The page at every size and in both themes, each looked at by the checks and kept as a picture. */
async function pictures(page, state) {
  for (const scheme of ['light', 'dark']) {
    await page.emulateMedia({ colorScheme: scheme });
    for (const [size, width, height] of kSizes) {
      await page.setViewportSize({ width, height });
      await sleep(300);
      await whole(page, `${state}, ${size}, ${scheme}`);
      if (size === 'landscape' && state.startsWith('antenna')) {
        const over = await page.evaluate(() => document.documentElement.scrollHeight - innerHeight);
        check(`${state}, ${size}, ${scheme}: nothing has to be scrolled for`, over <= 0, `${over} pixels too tall`);
      }
      if (size === 'landscape' && state.startsWith('recover')) {
        const under = await page.evaluate(() => document.querySelector('[data-testid=last-place]').getBoundingClientRect().bottom - (document.querySelector('[data-testid=tape-strip]')?.getBoundingClientRect().top ?? innerHeight));
        check(`${state}, ${size}, ${scheme}: the coordinates are whole above the tape`, under <= 0, `${under} pixels too low`);
      }
      await page.screenshot({ path: join(kShots, `field-${state}-${size}-${scheme}.png`) });
      if (size === 'phone' && scheme === 'light') await page.screenshot({ path: join(kShots, `field-${state}-${size}-whole.png`), fullPage: true });
    }
    await inspect(page, `${state}, ${scheme}`);
  }
  await page.setViewportSize({ width: 390, height: 844 });
  await page.emulateMedia({ colorScheme: 'light' });
}

// Everything that leaves the browser

const sent = [];
function read_all(context) {
  context.on('request', (request) => sent.push(`${request.method()} ${request.url()} ${request.postData() ?? ''} ${JSON.stringify(request.headers())}`));
  context.on('page', (page) => page.on('websocket', (socket) => {
    sent.push(socket.url());
    socket.on('framesent', ({ payload }) => sent.push(String(payload)));
  }));
}

async function recover(page) {
  await page.goto(`${station.address}#/recover`);
  await until('the last good place', async () => /°/.test(await text_of(page, 'last-place')));
  await page.getByTestId('change-start').click();
  await page.getByRole('button', { name: 'Use my place' }).click();
  await check_soon('recover: the walk starts at my place', async () => {
    const words = await text_of(page, 'walk-from');
    return [/From my place, ± 5 m, \d/.test(words), words]; // 12.24 m hold 95 %: 5 m are one sigma
  });
  await page.getByTestId('change-start').click();
  const me = { latitude_deg: kMe.latitude, longitude_deg: kMe.longitude };
  await check_soon('recover: distance and bearings are those of the recorded place', async () => {
    const place = await recorded_place();
    const want = way(me, place);
    const [distance, true_deg, magnetic] = [await number_of(page, 'walk-distance'), await number_of(page, 'walk-true'), await number_of(page, 'walk-magnetic')];
    // In flight the vehicle moves on between the two looks.
    const good = Math.abs(distance - want.distance_m) < 0.001 * want.distance_m + 15 && apart(true_deg, want.bearing_deg) < 3 && apart(magnetic, true_deg - kSite.declination_deg) < 1e-6;
    return [good, `screen ${distance} m ${true_deg}° ${magnetic}° magnetic, recording ${want.distance_m} m ${want.bearing_deg}°`];
  });
  await page.evaluate(() => window.dispatchEvent(new DeviceOrientationEvent('deviceorientationabsolute', { alpha: 350, beta: 5, gamma: 3, absolute: true })));
  await check_soon('recover: with a heading the arrow lies on an outline of the device', async () => [await page.getByTestId('arrow').isVisible()]);
  const turn = Number(/rotate\(([-\d.]+)/.exec(await page.getByTestId('arrow').locator('g').getAttribute('transform'))[1]);
  check('recover: the arrow is turned by the magnetic bearing less the heading', apart(turn, (await number_of(page, 'walk-magnetic')) - 10) < 5, `${turn}`);
}

async function antenna(page) {
  const size = await page.getByTestId('azimuth').evaluate((one) => parseFloat(getComputedStyle(one).fontSize));
  check('antenna: digits are at least 60 px high', size >= 60, `${size}`);
  await check_soon('antenna: azimuth and elevation are the recorded ones', async () => {
    const [azimuth, elevation] = [await number_of(page, 'azimuth'), await number_of(page, 'elevation')];
    const row = await recorded('/estimate/look_angles');
    const overhead = Number.isNaN(azimuth) && row?.elevation_deg > 77;
    const good = row && (overhead || apart(azimuth, row.azimuth_magnetic_deg) < 8) && Math.abs(elevation - row.elevation_deg) < 3;
    return [good, `screen ${azimuth}° ${elevation}°, recording ${row?.azimuth_magnetic_deg}° ${row?.elevation_deg}°`];
  });
}

async function hold(page, azimuth, elevation) {
  await page.getByTestId('mark-type').click();
  await page.getByLabel('Azimuth, magnetic °').fill(String(azimuth));
  await page.getByLabel('Elevation °').fill(String(elevation));
  await page.getByRole('button', { name: 'Use it' }).click();
}

/** Loaded again without the station: what is seen is what this device kept, and says so and how old it is. */
async function kept_views(pages, place) {
  for (const [page, view] of pages) {
    const sentence = (await text_of(page, 'sentence')).split('\n').find((line) => line.includes(' ')); // above it may stand its level
    await page.reload();
    const began_ms = Date.now();
    await check_soon(`without the station: ${view} says that it cannot be reached`, async () => [/No connection to the ground station/.test(await page.locator('.connection').innerText().catch(() => '')), await page.locator('body').innerText()]);
    await check_soon(`without the station: ${view} has the last sentence with its age, hatched`, async () => {
      const words = await text_of(page, 'sentence');
      const hatched = await page.getByTestId('sentence').evaluate((band) => band.classList.contains('aged'));
      return [hatched && words.includes(sentence) && /Sanderling, \d+ (s|min) old: kept on this device/.test(words), `${words}, before ${sentence}`];
    });
    await check_soon(`without the station: ${view} has the last good place with its age, hatched`, async () => {
      const words = (await page.getByTestId('away').count()) > 0 ? await text_of(page, 'away') : '';
      const good = place.split('\n').every((digits) => words.includes(digits)) && /Last good place, \d+ (s|min) old, at/.test(words);
      return [good && (await page.locator('.away .stale .coordinate').count()) === 2, `${words}, wanted ${place}`];
    });
    const took_ms = Date.now() - began_ms;
    check(`without the station: ${view} says it at once`, took_ms < 4000, `${took_ms} ms`); // 3 s of it may be the worker's for a newer page
    check(`without the station: ${view} shows no figure as if it were live`, (await page.locator('main .fig').count()) === 0);
    await pictures(page, `${view}-kept`);
    await page.getByTestId('away').getByRole('link').click();
    await check_soon(`without the station: the way to it is one press from ${view}`, async () => [(await page.getByTestId('kept-band').count()) === 1]);
    await page.goBack();
  }
}

async function run(context) {
  const errors = [];
  const open = (name) => open_page(context, errors, name, 390, 844, 'light');
  read_all(context);
  const server = await start_server(0, ['--host-name', kInsecure], 'radio', site_file);
  const { address } = server;
  station.address = address;
  const simulator = start(kSimulate, [
    '--scenario', 'nominal', '--to', `pty:${join(folder, 'radio')}`, '--speed', '1', '--seed', '7', '--impairment', 'mild',
    '--before-ignition-s', '12', '--vehicle', join(kDemo, 'sanderling'), '--site', site_file,
  ]);
  await until('the simulator\'s pseudo-terminal', () => {
    if (simulator.exitCode !== null) throw new Error(`the simulator ended:\n${simulator.text}`);
    return existsSync(join(folder, 'radio'));
  });
  await context.grantPermissions(['geolocation', 'clipboard-read', 'clipboard-write']);
  await context.setGeolocation(kMe);

  const walker = await open('walker');
  const holder = await open('holder');
  await recover(walker);
  await holder.goto(`${address}#/antenna`);
  await until('an elevation', async () => Number.isFinite(await number_of(holder, 'elevation')));
  await hold(holder, 90, 10);
  await check_soon('antenna: the cue is the way from the mark', async () => {
    const elevation = await number_of(holder, 'elevation');
    const words = await text_of(holder, 'elevation-cue');
    const [, side, deg] = /(up|down) (\d+)°/.exec(words) ?? [];
    return [deg !== undefined && Math.abs((side === 'up' ? 1 : -1) * Number(deg) - (elevation - 10)) <= 1.5, `${words}; elevation ${elevation}`];
  });
  await holder.getByTestId('tone').click();
  check('antenna: the tone is a switch that is off at first', (await holder.getByTestId('tone').getAttribute('aria-pressed')) === 'true');
  await holder.getByTestId('tone').click();

  // A page that came over plain http under a name says what is off, and nothing is kept of it
  const plain = await open('plain');
  await plain.goto(`http://${kInsecure}:${new URL(address).port}/#/recover`);
  await check_soon('plain http: the page says that it cannot be kept', async () => [(await plain.getByTestId('page-kept').getAttribute('data-state')) === 'not_secure' && /plain http/.test(await text_of(plain, 'page-kept')), await text_of(plain, 'page-kept')]);
  await plain.getByTestId('change-start').click();
  await plain.getByRole('button', { name: 'Use my place' }).click();
  await check_soon('plain http: it says why there is no place', async () => [/plain http/.test(await text_of(plain, 'walk-from')), await text_of(plain, 'walk-from')]);
  await plain.getByLabel('Latitude and longitude').fill('21 23.3 S, 23 10,4 E');
  await plain.getByRole('button', { name: 'Start from there' }).click();
  check('plain http: a mistyped place is refused with words that help', /point/.test(await plain.locator('#typed-error').innerText()), await plain.locator('#typed-error').innerText());
  await plain.getByLabel('Latitude and longitude').fill('21 23.3 S, 23 10.4 E');
  await plain.getByRole('button', { name: 'Start from there' }).click();
  await check_soon('plain http: a typed place is a start', async () => {
    const want = way({ latitude_deg: -(21 + 23.3 / 60), longitude_deg: 23 + 10.4 / 60 }, await recorded_place());
    const distance = await number_of(plain, 'walk-distance');
    return [Math.abs(distance - want.distance_m) < 0.001 * want.distance_m + 15 && /typed coordinates/.test(await text_of(plain, 'walk-from')), `${distance} m, ${want.distance_m} m`];
  });
  await whole(plain, 'plain http');
  await plain.close();

  // In flight
  await until('liftoff', async () => (await number_of(holder, 'elevation')) > 45, 60_000);
  await antenna(holder);
  await until('the vehicle overhead', async () => (await number_of(holder, 'elevation')) > 81, 60_000);
  await check_soon('antenna: overhead there is no azimuth', async () => {
    const words = (await holder.getByTestId('antenna-say').count()) > 0 ? await text_of(holder, 'antenna-say') : '';
    const azimuth = await text_of(holder, 'azimuth');
    return [Number.isNaN(await number_of(holder, 'azimuth')) && /any/.test(azimuth) && /Overhead/.test(words), `${azimuth}; ${words}`];
  });
  await holder.screenshot({ path: join(kShots, 'field-overhead-phone-light.png') });
  await until('the vehicle lower again', async () => Number.isFinite(await number_of(holder, 'azimuth')), 60_000);
  await pictures(holder, 'antenna-live');
  await antenna(holder);
  await pictures(walker, 'recover-live');

  // The link goes silent in the descent
  await stop(simulator);
  await check_soon('antenna: silence is said, with what to sweep', async () => {
    const words = await holder.getByTestId('antenna-say').count() > 0 ? await text_of(holder, 'antenna-say') : '';
    return [/No signal for \d/.test(words) && /Point at \d{3}°|Sweep \d{3}° to \d{3}°|Sweep all round/.test(words), words];
  });
  check('antenna: old angles give no cue', (await holder.getByTestId('azimuth-cue').count()) === 0);
  check('antenna: and no rate', /–/.test(await text_of(holder, 'rate')), await text_of(holder, 'rate'));
  await pictures(holder, 'antenna-lost');
  const place = await recorded_place();
  const are_of_place = ([latitude, longitude], decimals) => [latitude, longitude].every((text) => new RegExp(`\\.\\d{${decimals}}$`).test(text)) && are_digits_of(latitude, place.latitude_deg) && are_digits_of(longitude, place.longitude_deg);
  const coordinates = async () => (await text_of(walker, 'last-place')).split(/\n+/).slice(0, 2).join('\n');
  await check_soon('recover: the coordinates are those of the recorded place', async () => {
    const shown = [...(await coordinates()).matchAll(/([\d.]+)° ([NESW])/g)].map(([, digits, side]) => `${'SW'.includes(side) ? '-' : ''}${digits}`);
    return [are_of_place(shown, 5), `${shown}, recording ${place.latitude_deg}, ${place.longitude_deg}`];
  });
  const want = await coordinates();
  check('recover: the area to search after it is said', /search inside [A-Z]: 95 % ellipse \d+ × \d+ m/.test(await text_of(walker, 'search')), await text_of(walker, 'search'));
  await until('the place to be old', async () => (await walker.getByTestId('last-place').getAttribute('data-old')) === 'true', 90_000);
  check('recover: an old place is said to be old', /Old: where it was then/.test(await walker.locator('.coords').innerText()));
  await walker.getByTestId('copy').click();
  const copied = await walker.evaluate(() => navigator.clipboard.readText());
  check('recover: Copy gives the coordinates', are_of_place(copied.split(', '), 5), copied);
  const geo = await walker.getByTestId('geo').getAttribute('href');
  check('recover: the link is a geo URI of the place', are_of_place(/^geo:([^;]*)/.exec(geo)?.[1].split(',') ?? [], 6), `${geo}, recording ${place.latitude_deg}, ${place.longitude_deg}`);
  const download = walker.waitForEvent('download');
  await walker.getByTestId('gpx').click();
  const gpx_file = join(folder, 'place.gpx');
  await (await download).saveAs(gpx_file);
  const gpx = readFileSync(gpx_file, 'utf8');
  check('recover: the GPX file has the place and the predicted one', (gpx.match(/<wpt /g) ?? []).length === 2 && are_of_place([...(/<wpt lat="([^"]*)" lon="([^"]*)"/.exec(gpx) ?? [])].slice(1), 6), gpx);
  await pictures(walker, 'recover-lost');

  // Away from the station: the server is gone, and the page is loaded again
  await check_soon('recover: the page is kept on the device', async () => [(await walker.getByTestId('page-kept').getAttribute('data-state')) === 'kept', await text_of(walker, 'page-kept')]);
  await until('what was seen to be kept', () => walker.evaluate(() => (localStorage.getItem('turnstone.kept.1') ?? '').includes('latitude_deg')));
  const distance_m = await number_of(walker, 'walk-distance');
  const overlays = await overlays_of(walker);
  const [watcher, crew] = [await open('watcher'), await open('crew')];
  await crew.setViewportSize({ width: 1366, height: 768 });
  for (const [page, view] of [[watcher, 'watch'], [crew, 'crew']]) {
    await page.goto(`${address}#/${view}`);
    await until(`${view} to have a sentence`, async () => !/Waiting|Nothing is known/.test(await text_of(page, 'sentence')) && (await page.locator(`main .${view}`).count()) === 1);
  }
  await stop(server.child);
  await until('the walker to notice', () => walker.locator('.connection').isVisible());
  await walker.reload();
  await check_soon('without the station: the reloaded page says what is kept, and since when', async () => {
    const words = await walker.getByTestId('kept-band').count() > 0 ? await text_of(walker, 'kept-band') : '';
    return [/Kept on this device \d+.* ago; station out of range/.test(words), words];
  });
  check('without the station: the place is the same', (await coordinates()) === want, await coordinates());
  await check_soon('without the station: what lies on the map is the same', async () => [JSON.stringify(await overlays_of(walker)) === JSON.stringify(overlays) && overlays.length > 0, `${await overlays_of(walker)}, before ${overlays}`]);
  await check_soon('without the station: the way to it is the same', async () => {
    const now_m = await number_of(walker, 'walk-distance');
    return [Math.abs(now_m - distance_m) < 0.01, `${now_m}, before ${distance_m}`];
  });
  await context.setGeolocation({ ...kMe, latitude: kMe.latitude + 0.001 });
  await check_soon('without the station: the way follows who walks', async () => {
    const want_m = way({ latitude_deg: kMe.latitude + 0.001, longitude_deg: kMe.longitude }, place).distance_m;
    const now_m = await number_of(walker, 'walk-distance');
    return [Math.abs(now_m - want_m) < 0.001 * want_m + 0.01, `${now_m}, wanted ${want_m}`];
  });
  await pictures(walker, 'recover-kept');
  await holder.reload();
  await check_soon('without the station: the antenna has nothing to point at and says so', async () => [/No connection to the ground station/.test(await holder.locator('body').innerText()), await holder.locator('body').innerText()]);
  await kept_views([[watcher, 'watch'], [crew, 'crew']], want);
  const again = await start_server(new URL(address).port, ['--host-name', kInsecure], 'radio', site_file);
  for (const [page, view] of [[watcher, 'watch'], [crew, 'crew']])
    await check_soon(`${view} is back by itself with the station`, async () => [(await page.getByTestId('away').count()) === 0 && !/kept on this device/.test(await text_of(page, 'sentence')) && (await page.locator(`main .${view}`).count()) === 1, await page.locator('body').innerText()]);
  await stop(again.child);

  const leaks = sent.filter((one) => kMyDigits.some((digits) => one.includes(digits)));
  check(`my place is in none of the ${sent.length} things that were sent`, sent.length > 20 && leaks.length === 0, leaks.join('\n        '));
  const hosts = [new URL(address).host, `${kInsecure}:${new URL(address).port}`];
  const elsewhere = sent.filter((one) => /\b(?:https?|wss?):\/\//.test(one) && !hosts.some((host) => one.includes(`//${host}`)) && !/ blob:/.test(one));
  check('nothing is asked of anybody but the station', elsewhere.length === 0, elsewhere.join('\n        '));
  check('no errors in the console', errors.length === 0, errors.join('\n        '));
}

await run_in_browser(run, kFlags);
