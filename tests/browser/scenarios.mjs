// Every scenario of the simulator in every view, replayed, at each size and in both themes: a second after each sentence of the
// flight took another form. What is on screen is compared with what the recording holds, and with where it may stand.
//
//   node tests/browser/scenarios.mjs --turnstone BIN --simulate BIN --out FOLDER [NAME...]    NAME: a scenario (default: all)
//
// Takes an hour or more, so it is run by hand. Needs web/node_modules (npm ci) and Chromium. Ends with "N passed, N failed" and exit
// code 1 when anything failed.
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { api, check, check_soon, events_of, folder, inspect, kDemo, kSimulate, kTurnstone, open_page, picture, recorded_rows, recorded_value, recorded_word, run_in_browser, sleep, start_server, station, stop, until } from './harness.mjs';

const kSizes = [['laptop', 1366, 768], ['wide', 1920, 1080], ['phone', 390, 844], ['side', 844, 390]];
const kViews = ['crew', 'watch', 'recover', 'antenna'];
const kVehicle = join(kDemo, 'sanderling');
const kSite = join(kDemo, 'site.json');
const kPad = JSON.parse(readFileSync(kSite, 'utf8')).pad;
const kDegree_m = 111_195; // of a sphere as large as the Earth: good to 1 %
const kMeasured_s = 1; // a figure is a row of its source as it was when something was last measured
const kDrawn_ms = 300; // a map waits so long until it is drawn in other colours
const kRounding = 1e-3; // recorded values are rounded to a millimetre at most

const listed = spawnSync(kSimulate, ['--list-scenarios'], { encoding: 'utf8' }).stdout.trim().split('\n').map((line) => line.split(' ')[0]);
const asked = process.argv.slice(2).filter((word) => listed.includes(word));
const scenarios = asked.length > 0 ? asked : listed;
const errors = [];

/** The scenario's bytes, read at full speed into a recording of `recordings`. */
function fly(scenario, recordings) {
  const capture = join(folder, `${scenario}.bin`);
  const flown = spawnSync(kSimulate, ['--scenario', scenario, '--to', `file:${capture}`, '--speed', 'max', '--seed', '7', '--impairment', 'mild', '--before-ignition-s', '15', '--after-touchdown-s', '15', '--vehicle', kVehicle, '--site', kSite]);
  const read = spawnSync(kTurnstone, ['serve', '--vehicle', kVehicle, '--site', kSite, '--link', `file:${capture}`, '--exit-at-end', '--recordings', recordings, '--port', '0'], { encoding: 'utf8' });
  check(`${scenario}: it is recorded`, flown.status === 0 && read.status === 0, read.stderr);
}

const plain = (text) => text.replaceAll(/[\n\u00a0\u202f]+/g, ' ').trim();
const number_of = async (page, name) => Number((await page.getByTestId(name).evaluateAll((found) => found.map((one) => one.dataset.number)))[0] ?? NaN);

/** Words and controls that are clipped, reach over an edge, or lie over other words. */
const misplaced = (page) => page.evaluate(() => {
  const found = [];
  const wide = document.documentElement.scrollWidth - innerWidth;
  if (wide > 0) found.push(`the page is ${wide} pixels too wide`);
  for (const one of document.querySelectorAll('main *, header *, [data-testid=sentence] *')) {
    const { left, right, width, height } = one.getBoundingClientRect();
    if (width === 0 || height === 0 || one.closest('.unseen, .scroll, [data-testid=overlays], canvas')) continue;
    const words = one.childElementCount === 0 && one.textContent.trim() !== '' && !one.closest('svg');
    if (!words || getComputedStyle(one).textOverflow === 'ellipsis') continue;
    if (left < -0.5 || right > innerWidth + 0.5 || (one.clientWidth > 0 && one.scrollWidth > one.clientWidth + 1)) found.push(`clipped: ${one.textContent.trim().slice(0, 40)}`);
  }
  for (const map of document.querySelectorAll('[data-testid=where-map], [data-testid=area-map]')) {
    const texts = [...map.querySelectorAll('text')].filter((text) => text.getClientRects().length > 0);
    const boxes = texts.map((text) => ({ words: text.textContent, ...text.getBoundingClientRect().toJSON() }));
    const edge = map.getBoundingClientRect();
    boxes.forEach((a, i) => {
      if (a.left < edge.left - 1 || a.right > edge.right + 1) found.push(`over the map's edge: ${a.words}`);
      // Boxes are as high as a line; letters meet where lines lie over each other by more than a tenth.
      for (const b of boxes.slice(i + 1))
        if (a.left < b.right && b.left < a.right && a.top + 0.1 * a.height < b.bottom && b.top + 0.1 * b.height < a.bottom) found.push(`on the map: ${a.words} over ${b.words}`);
    });
  }
  return found;
});

/** Altitudes of the best source in the second before, and its 1-sigma. */
async function altitudes(id, t_s) {
  const aided = (await recorded_word(id, t_s, '/estimate/navigation', 'mode')) === 'GNSS-aided';
  const [table, column] = aided ? ['/estimate/navigation', 'up_m'] : ['/estimate/vertical', 'altitude_m'];
  return { rows: await recorded_rows(id, table, column, t_s - kMeasured_s, t_s), sigma: await recorded_value(id, t_s, table, `${column}_sigma`) };
}

async function same_altitude(page, figure, id, t_s, what, rounding) {
  const { rows, sigma } = await altitudes(id, t_s);
  await check_soon(`${what}: the altitude is a recorded one`, async () => {
    const shown = await number_of(page, figure);
    // On the ground it is none or 0, whatever is measured there.
    return [Number.isNaN(shown) || shown === 0 || rows.some((row) => Math.abs(row - shown) <= rounding(sigma)), `screen ${shown}, recording ${rows.at(-1)} last of ${rows.length}`];
  });
}

/** What a view shows at this moment against the recording's rows. */
const kCompared = {
  crew: (page, id, t_s, what) => same_altitude(page, 'readout-altitude', id, t_s, what, () => kRounding),
  watch: (page, id, t_s, what) => same_altitude(page, 'figure-altitude', id, t_s, what, (sigma) => (sigma > 1 ? 0.5 * 10 ** Math.floor(Math.log10(sigma)) : 0.5) + kRounding),
  async recover(page, id, t_s, what) {
    const of = (table, name) => recorded_value(id, t_s, table, name);
    const kept = await of('/estimate/last_place', 'latitude_deg');
    const [latitude, longitude] = kept === undefined ? [await of('sanderling/fix', 'latitude'), await of('sanderling/fix', 'longitude')] : [kept, await of('/estimate/last_place', 'longitude_deg')];
    const likeliest = (await recorded_word(id, t_s, '/estimate/landing', 'likeliest'))?.replaceAll(' ', '_');
    const ahead = { north: await of('/estimate/landing', `${likeliest}_north_m`), east: await of('/estimate/landing', `${likeliest}_east_m`) };
    await check_soon(`${what}: where to go is the recorded place, or the predicted one`, async () => {
      const words = plain(await page.getByTestId('last-place').innerText());
      const shown = [...words.matchAll(/([\d.]+)° ([NESW])/g)].map(([, digits, side]) => ('SW'.includes(side) ? -1 : 1) * Number(digits));
      if ((await page.getByTestId('last-place').getAttribute('data-predicted')) === 'true') {
        const away = Math.hypot((shown[0] - kPad.latitude_deg) * kDegree_m - ahead.north, (shown[1] - kPad.longitude_deg) * kDegree_m * Math.cos((kPad.latitude_deg * Math.PI) / 180) - ahead.east);
        return [away < 5 + 0.01 * Math.hypot(ahead.north, ahead.east), `${words}; predicted ${ahead.north} m north, ${ahead.east} m east`];
      }
      const same = shown.length > 1 ? Math.abs(shown[0] - latitude) < 6e-6 && Math.abs(shown[1] - longitude) < 6e-6 : latitude === undefined || latitude === null;
      return [same, `${words}; recording ${latitude}, ${longitude}`];
    });
  },
  async antenna(page, id, t_s, what) {
    const value = await recorded_value(id, t_s, '/estimate/look_angles', 'elevation_deg');
    await check_soon(`${what}: the elevation is the recorded one`, async () => {
      const shown = await number_of(page, 'elevation');
      return [Number.isNaN(shown) || Math.abs(shown - value) < 3, `screen ${shown}, recording ${value}`];
    });
  },
};

async function look(page, view, recording, moment, what) {
  const { id } = recording;
  await page.goto(`${station.address}#/${view}/${id}?at=${moment.t_s.toFixed(1)}`);
  await page.reload();
  const said = plain(moment.text);
  await check_soon(`${what}: the sentence is the recorded one`, async () => {
    const shown = plain(await page.getByTestId('sentence').innerText().catch(() => ''));
    return [shown.includes(said), `${shown} | ${said}`];
  });
  await kCompared[view](page, id, moment.t_s, what);
  for (const [size, width, height] of kSizes) {
    await page.setViewportSize({ width, height });
    await check_soon(`${what}, ${size}: nothing is clipped or lies over anything`, async () => {
      const found = await misplaced(page);
      return [found.length === 0, found.join('; ')];
    }, 3000);
    for (const scheme of ['light', 'dark']) {
      await page.emulateMedia({ colorScheme: scheme });
      await sleep(kDrawn_ms);
      await picture(page, `scenario-${what.replaceAll(/\W+/g, '-')}-${size}-${scheme}`);
    }
  }
}

await run_in_browser(async (browser) => {
  const recordings = join(folder, 'radio-recordings'); // where the server looks
  for (const scenario of scenarios) fly(scenario, recordings);
  const server = await start_server(0);
  station.address = server.address;
  const list = await until('the recordings', async () => {
    const all = await api('recordings');
    return all.live && all.recordings.filter((one) => one.id !== all.live).toSorted((a, b) => (a.id < b.id ? -1 : 1));
  });
  for (const [i, scenario] of scenarios.entries()) {
    const recording = list[i];
    const sentences = (await events_of(recording.id)).filter((event) => event.kind === 'sentence' && event.vehicle === 0);
    const last_at = (t_s) => sentences.filter((one) => one.t_s <= t_s).at(-1);
    const moments = sentences
      .filter((one, k) => k === 0 || one.data.form !== sentences[k - 1].data.form || one.level !== sentences[k - 1].level)
      .map((one) => Number(Math.min(one.t_s + 1, recording.t_end_s).toFixed(1)))
      .map((t_s) => ({ ...last_at(t_s), t_s }));
    check(`${scenario}: there are moments to look at`, moments.length > 0, `${moments.length}`);
    for (const view of kViews) {
      const page = await open_page(browser, errors, `${scenario} ${view}`, 1366, 768, 'light');
      for (const [k, moment] of moments.entries()) await look(page, view, recording, moment, `${scenario}, ${view}, ${k} ${moment.data.form.replaceAll('_', ' ')}`);
      for (const scheme of ['light', 'dark']) {
        await page.emulateMedia({ colorScheme: scheme });
        await inspect(page, `${scenario}, ${view}, ${scheme}`);
      }
      await page.close();
    }
  }
  await stop(server.child);
  check('no errors in the console', errors.length === 0, errors.join('\n        '));
});
