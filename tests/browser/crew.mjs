// The crew's view at a laptop and at a wide screen, light and dark: three flights at once, live and replayed. What is on screen is
// compared with what the recordings hold, and with where it may stand.
//
//   node tests/browser/crew.mjs --turnstone BIN --simulate BIN --out FOLDER
//
// Needs web/node_modules (npm ci) and Chromium. Ends with "N passed, N failed" and exit code 1 when anything failed.
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { api, check, check_soon, fly, folder, inspect, open_page, picture, recorded_rows, run_in_browser, start_server, station, stop, until } from './harness.mjs';

const kScreens = [['laptop-light', 1366, 768, 'light'], ['wide-dark', 1920, 1080, 'dark']];
const kScenarios = ['nominal', 'ballistic', 'gnss-loss'];
const kStripsLeast = 5;
const kFlight_ms = 150_000;

const figure = (page, name) => page.getByTestId(`readout-${name}`);
const greatest = (page) => page.locator('.fig.size-1').evaluateAll((found) => found.map((one) => one.dataset.testid.replace('readout-', '')));
const number_of = async (page, name) => Number((await figure(page, name).evaluateAll((found) => found.map((one) => one.dataset.number)))[0] ?? NaN);
const cursor_of = async (page) => Number(await page.getByTestId('tape').getAttribute('aria-valuenow'));
const has_class = async (page, name, wanted) => (await figure(page, name).evaluateAll((found, one) => found.map((element) => element.classList.contains(one)), wanted))[0];

/** Strips that are whole inside the list that scrolls them. */
const whole_strips = (page) => page.evaluate(() => {
  const list = document.querySelector('.strips .scroll').getBoundingClientRect();
  return [...document.querySelectorAll('.strips .strip')].filter((strip) => {
    const { top, bottom } = strip.getBoundingClientRect();
    return top >= list.top - 1 && bottom <= list.bottom + 1;
  }).length;
});

/** Figures, table cells and headings whose text is wider than what holds it, and parts of the view that lie over one another. */
const misplaced = (page) => page.evaluate(() => {
  const cut = [...document.querySelectorAll('.crew .fig b, .crew .mid td, .crew .side td, .crew h2')]
    .filter((one) => one.clientWidth > 0 && one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).textOverflow !== 'ellipsis')
    .map((one) => `clipped: ${one.textContent.trim().slice(0, 40)}`);
  const parts = [...document.querySelectorAll('.crew .mid > *, .crew .side > *')].filter((part) => part.getClientRects().length > 0);
  const over = parts.flatMap((one, i) => parts.slice(i + 1).filter((other) => {
    const [a, b] = [one.getBoundingClientRect(), other.getBoundingClientRect()];
    return a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1;
  }).map((other) => `over: ${one.className} ${other.className}`));
  for (const box of document.querySelectorAll('.crew .watchbox')) {
    const [table, ruler] = box.children;
    const side_by_side = ruler && ruler.getBoundingClientRect().top < table.getBoundingClientRect().bottom;
    if (side_by_side && table.getBoundingClientRect().right > ruler.getBoundingClientRect().left + 1) over.push('over: a table reaches over what stands beside it');
  }
  const page_end = document.querySelector('.tape-panel')?.getBoundingClientRect().top ?? innerHeight;
  const low = parts.filter((part) => part.getBoundingClientRect().bottom > page_end + 1).map((part) => `under the tape: ${part.className}`);
  return [...cut, ...over, ...low];
});

async function look(page, what) {
  const strips = await whole_strips(page);
  check(`${what}: at least ${kStripsLeast} strips are in view`, strips >= kStripsLeast, `${strips}`);
  await check_soon(`${what}: nothing is clipped or lies over anything`, async () => {
    const found = await misplaced(page);
    return [found.length === 0, found.join('; ')];
  });
  await picture(page, `crew-${what.replaceAll(/\W+/g, '-')}`);
}

/** Waits until the greatest figure is this one, and looks, at every page at once: an ascent is short. */
async function stage(flight, name, what) {
  await Promise.all(flight.pages.map(async ({ screen, page }) => {
    await until(`${flight.scenario}, ${screen}: the greatest figure to be ${name}`, async () => (await greatest(page)).join() === name, kFlight_ms);
    await look(page, `${flight.scenario} ${what} ${screen}`);
  }));
}

/** A number on screen is one of the recorded rows. */
async function recorded(page, id, name, columns, what) {
  await check_soon(`${what}: ${name} is a recorded value`, async () => {
    const got = await number_of(page, name);
    const kept = (await Promise.all(columns.map(([table, column]) => recorded_rows(id, table, column, 0, 1000)))).flat();
    return [kept.some((row) => Math.abs(row - got) <= 1e-3), `${got} is none of ${kept.length}`];
  });
}
const kAltitudes = [['/estimate/vertical', 'altitude_m'], ['/estimate/navigation', 'up_m']];

async function begin(browser, errors, scenario, i) {
  const server = await start_server(0, [], `radio-${scenario}`);
  fly(scenario, { radio: `radio-${scenario}`, seed: 30 + i, before_ignition_s: 40 });
  await until('the pseudo-terminal', () => existsSync(join(folder, `radio-${scenario}`)));
  const pages = [];
  for (const [screen, width, height, scheme] of kScreens) {
    const page = await open_page(browser, errors, `${scenario} ${screen}`, width, height, scheme);
    await page.goto(`${server.address}#/crew`);
    pages.push({ screen, page });
  }
  return { scenario, server, pages };
}

async function nominal(flight) {
  const [{ page }] = flight.pages;
  const { live } = await api('recordings');
  await stage(flight, 'checks', 'on the rail');
  await inspect(page, 'crew on the rail, laptop, light');
  await stage(flight, 'altitude', 'in the ascent');
  await stage(flight, 'vertical_speed', 'in the descent');
  await recorded(page, live, 'altitude', kAltitudes, 'nominal, in the descent');
  // A busy computer or a hole in the link makes it old for a moment, and then it says so.
  await check_soon('nominal: the altitude is not hatched while it is measured', async () => {
    const [hatched, text] = await figure(page, 'altitude').evaluate((one) => [one.classList.contains('stale'), one.innerText]);
    if (hatched !== / old/.test(text)) throw new Error(`hatched without an age, or the other way round: ${text}`);
    return [!hatched, text];
  });
  await inspect(flight.pages[1].page, 'crew in the descent, wide, dark');
  await arrangement(page);
  await measure(page, live);
  await stage(flight, 'place', 'down');
}

/** What somebody folds away stays folded after a reload, and comes back when asked. */
async function arrangement(page) {
  const titles = () => page.locator('.strip .title').allInnerTexts();
  const before = await titles();
  await page.locator('.strip').last().hover();
  await page.locator('.strip .choose').last().click();
  await until('the strip to be folded', async () => (await titles()).length === before.length - 1);
  await page.reload();
  await until('the strips to be back', async () => (await page.locator('.strip').count()) > 0);
  check('what was folded away is kept on this device', (await titles()).join() === before.slice(0, -1).join(), (await titles()).join());
  await page.getByRole('button', { name: 'follow the flight again' }).click();
  await check_soon('the strips follow the flight again', async () => [(await titles()).length === before.length, (await titles()).join()]);
}

/** Between two cursors; and what is taken along. */
async function measure(page, id) {
  await page.getByRole('button', { name: 'Values', exact: true }).click();
  const plot = await page.locator('.strip [data-plot]').first().boundingBox();
  await page.mouse.click(plot.x + 0.3 * plot.width, plot.y + 20);
  await page.keyboard.down('Shift');
  await page.mouse.click(plot.x + 0.5 * plot.width, plot.y + 20);
  await page.keyboard.up('Shift');
  const values = page.getByTestId('values');
  await check_soon('two cursors give a difference', async () => [/Difference, [\d.]+ s/.test(await values.innerText()), await values.innerText()]);
  const taken = async (button) => {
    const download = page.waitForEvent('download');
    await page.getByRole('button', { name: button }).click();
    const file = join(folder, `taken-${button.replaceAll(/\W/g, '')}`);
    await (await download).saveAs(file);
    return readFileSync(file);
  };
  const csv = (await taken('Window as CSV')).toString().split('\r\n');
  const heading = csv[0].split(',');
  const column = heading.findIndex((name) => name.includes('/estimate/vertical/altitude_m ['));
  const rows = csv.slice(1, -1).map((line) => line.split(',')).filter((line) => line[column] !== '');
  const [first, last] = [rows[0], rows.at(-1)];
  const kept = await recorded_rows(id, '/estimate/vertical', 'altitude_m', Number(first?.[0] ?? NaN) - 1e-6, Number(last?.[0] ?? NaN) + 1e-6);
  const same = rows.length > 0 && rows.every((row) => kept.some((value) => Math.abs(value - Number(row[column])) <= 1e-3));
  check('the CSV has the recorded values of the window', same, `${rows.length} rows of ${kept.length}; ${heading.join()}`);
  check('a picture comes as PNG', (await taken('Picture, PNG')).subarray(1, 4).toString() === 'PNG');
  const svg = (await taken('Picture, SVG')).toString();
  check('a picture comes as SVG with its words', svg.startsWith('<svg') && /Altitude AGL/.test(svg) && /<path/.test(svg));
  await page.getByRole('button', { name: 'Hide values' }).click();
  await page.keyboard.press('End');
}

async function ballistic(flight) {
  const [{ page }] = flight.pages;
  await stage(flight, 'vertical_speed', 'in the fall');
  await check_soon('ballistic: the fall is told without a sign, by its title', async () => {
    const falls = await number_of(page, 'vertical_speed');
    const [all, number] = [await figure(page, 'vertical_speed').innerText(), await figure(page, 'vertical_speed').locator('.number').innerText()];
    if (/[−-]\d/.test(number)) throw new Error(`a sign: ${all}`);
    return [falls < 0 && /Falling/.test(all), `${falls}: ${all}`];
  });
  await until('ballistic: silence', async () => (await has_class(page, 'altitude', 'stale')) === true || (await greatest(page)).join() === 'place', kFlight_ms);
  const lowest = await number_of(page, 'altitude');
  check('ballistic: no height goes on by itself below the ground', Number.isNaN(lowest) || lowest > -30, `${lowest}`);
}

async function gnss_loss(flight) {
  const [{ page }] = flight.pages;
  await stage(flight, 'altitude', 'in the ascent');
  await check_soon('gnss-loss: a landing predicted without fixes is hatched and says so', async () => {
    const text = (await figure(page, 'landing').allInnerTexts()).join();
    return [(await has_class(page, 'landing', 'stale')) === true && /fix .* old|no fix since liftoff/.test(text), text];
  }, kFlight_ms);
  await look(page, 'gnss-loss without fixes laptop-light');
}

/** A replay begins with nothing, and never shows what comes after its cursor. */
async function replay(flight) {
  const [{ page }] = flight.pages;
  const { live: id } = await api('recordings');
  await page.goto(`${flight.server.address}#/crew/${encodeURIComponent(id)}`);
  await until('the replay', async () => /Replay, paused/.test(await page.getByTestId('where').innerText()));
  await page.keyboard.press('End');
  await until('the end of the replay', async () => (await cursor_of(page)) > 60);
  await page.keyboard.press('Home');
  await until('the start of the replay', async () => (await cursor_of(page)) < 0.5);
  const rows = await recorded_rows(id, '/estimate/vertical', 'altitude_m', 0, 30);
  await check_soon('replay: back at its start no figure of its end is left', async () => {
    const altitude = await number_of(page, 'altitude');
    const landing = await number_of(page, 'landing');
    return [Number.isNaN(landing) && (Number.isNaN(altitude) || rows.some((row) => Math.abs(row - altitude) <= 1e-3)), `altitude ${altitude}, landing ${landing}`];
  });
  await page.getByTestId('rate').selectOption('10');
  await page.getByRole('button', { name: 'Play', exact: true }).click();
  for (const [name, what] of [['altitude', 'in the ascent'], ['vertical_speed', 'in the descent'], ['place', 'down']]) {
    await until(`replay: ${name}`, async () => (await greatest(page)).join() === name, kFlight_ms);
    await picture(page, `crew-replay-${what.replaceAll(' ', '-')}`);
  }
  check('replay: the greatest figure follows its phases', true);
  await look(page, 'replay down laptop-light');
}

/** Three links, two of which cannot be opened, one of them by a long path: all of them are seen, and room is left for the log. */
async function three_links(browser, errors) {
  const port = join(folder, 'a-folder-of-serial-ports/by-id/usb-an_adapter_with_a_long_name-if00-port0');
  const more = ['--link', `serial:${port}?baud=57600`, '--link', `serial:${join(folder, 'third')}?baud=57600`];
  const server = await start_server(0, more, 'first');
  const page = await open_page(browser, errors, 'links', 1366, 768, 'light');
  await page.goto(`${server.address}#/crew`);
  await until('three alerts', async () => (await page.getByTestId('alerts').locator('li .text').count()) === 3);
  const found = await page.evaluate(() => {
    const side = document.querySelector('.crew .side').getBoundingClientRect();
    const links = [...document.querySelectorAll('[data-testid^=link-]')];
    return {
      seen: links.filter((row) => row.getBoundingClientRect().bottom <= side.bottom && row.lastElementChild.getBoundingClientRect().right <= side.right + 1).length,
      broken: links.filter((row) => row.querySelector('th button').getClientRects()[0].height > 24).map((row) => row.dataset.testid),
      log_px: document.querySelector('.events .scroll').clientHeight,
      lines: Math.max(...[...document.querySelectorAll('[data-testid=alerts] li .text')].map((text) => new Set([...text.getClientRects()].map((line) => line.top)).size)),
    };
  });
  check('three links: each is whole in view', found.seen === 3, `${found.seen}`);
  check('three links: no name is broken', found.broken.length === 0, found.broken.join());
  check('three links: four entries of the event log have room', found.log_px >= 4 * 23, `${found.log_px} pixels`);
  check('three links: an alert about a long path takes four lines', found.lines <= 4, `${found.lines}`);
  await picture(page, 'crew-three-links-laptop-light');
  await stop(server.child);
  await page.close();
}

await run_in_browser(async (browser) => {
  const errors = [];
  await three_links(browser, errors);
  const flights = [];
  for (const [i, scenario] of kScenarios.entries()) flights.push(await begin(browser, errors, scenario, i));
  const [first, second, third] = flights;
  station.address = first.server.address; // the others ask nothing of theirs
  await Promise.all([nominal(first), ballistic(second), gnss_loss(third)]);
  await replay(first);
  for (const { server } of flights) await stop(server.child);
  check('no errors in the console', errors.length === 0, errors.join('\n        '));
});
