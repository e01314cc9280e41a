// The evening after five flights, in a real browser against the real server: the log book, a comparison, what the flights tell
// of the vehicle, export, import, and a debrief that one device leads and another follows. Figures on the screen are worked
// out again here from the station's answers and from the exported file.
import { mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { api, check, check_soon, folder, inspect, kDemo, kSimulate, kTurnstone, open_another_browser, open_page, picture, run_in_browser, sleep, start, start_server, station, until } from './harness.mjs';

const kRecordings = join(folder, 'evening-recordings');
// Two come down under parachutes; the others are short, since every flight is flown by the estimators first.
const kFlights = [
  { seed: 11, impairment: 'mild', scenario: 'nominal' },
  { seed: 12, impairment: 'mild', scenario: 'ballistic' },
  { seed: 13, impairment: 'rough', scenario: 'ballistic' },
  { seed: 14, impairment: 'mild', scenario: 'ballistic' },
  { seed: 15, impairment: 'mild', scenario: 'nominal' },
];

/** A vehicle whose fins turn, flown to be identified. */
const kSteered = { seed: 21, impairment: 'mild', scenario: 'nominal', vehicle: 'dunlin', more: ['--steer', 'log'] };

const kLogged = 2; // the one whose on-board log is imported: its radio lost most

const ended = (child) => (child.exitCode === null ? new Promise((done) => child.once('exit', done)) : Promise.resolve());

/** What a flight's radio brought, as a file; `impairment` clean: what the flight computer itself has. */
async function capture({ seed, impairment, scenario, vehicle = 'sanderling', more = [] }, name) {
  const file = join(folder, `${name}.bin`);
  const simulator = start(kSimulate, ['--scenario', scenario, '--seed', String(seed), '--impairment', impairment, '--speed', 'max', '--to', `file:${file}`, '--truth', `${file}.csv`, '--vehicle', join(kDemo, vehicle), '--site', join(kDemo, 'site.json'), '--before-ignition-s', '8', '--after-touchdown-s', '4', ...more]);
  await ended(simulator);
  if (simulator.exitCode !== 0) throw new Error(`the simulator failed:\n${simulator.text}`);
  return file;
}

/** Its id. `begun` is called when another may begin. */
async function record(flight, place, begun) {
  const own = join(folder, `part-${place}`);
  const file = await capture(flight, `flight-${place}`);
  const server = start(kTurnstone, ['serve', '--vehicle', join(kDemo, flight.vehicle ?? 'sanderling'), '--site', join(kDemo, 'site.json'), '--link', `file:${file}?name=capture`, '--exit-at-end', '--port', '0', '--recordings', own]);
  // A recording is named by the second in which it begins: the next one has to begin in another.
  await until('the recording to begin', () => / Recording \S/.test(server.text));
  await sleep(1100);
  begun();
  await ended(server);
  if (server.exitCode !== 0) throw new Error(`the recording failed:\n${server.text}`);
  const names = readdirSync(own);
  for (const name of names) renameSync(join(own, name), join(kRecordings, name));
  return names.find((name) => name.endsWith('.sqlite')).replace(/(\.rec)?\.sqlite$/, '');
}

const plain = (text) => text.replace(/[\u202f\u00a0]/g, ' ').replace(/\u2212/g, '-');
const says = async (page) => plain(await page.getByTestId('page-says').locator('h2').innerText());
const figure_of = (flight, key) => flight.figures.find((one) => one.key === key);

/** Mean and sample standard deviation, written down again apart from the station. */
function statistics(values) {
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  return { mean, sd: Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (values.length - 1)) };
}

async function log_book(laptop, phone, key) {
  await laptop.goto(`${station.address}#/flights`);
  const flights = await until('five flights in the log book', async () => {
    const { flights: found, pending } = await api('flights');
    return found.length === kFlights.length && !pending && found;
  });
  await until('their lines', async () => (await laptop.locator('article[data-testid^="flight-"]').count()) === kFlights.length);
  check('the log book begins with how many there are', /^5 flights in the log book\./.test(await says(laptop)), await says(laptop));
  for (const flight of flights) {
    const apogee = figure_of(flight, 'apogee_m');
    const shown = plain(await laptop.getByTestId(`flight-${flight.id}`).innerText());
    const digits = /(\d+) ?m\s+± (\d+) m/.exec(shown);
    check(`the line of ${flight.id} has its apogee, rounded to its ±`, digits && Math.abs(Number(digits[1]) - apogee.value) <= Number(digits[2]) && Number(digits[2]) <= Math.max(1, 2 * apogee.sigma), `${shown} for ${apogee.value} ± ${apogee.sigma}`);
  }
  check('those without a parachute say so', flights.filter((flight) => /^No parachute/.test(flight.worst?.sentence)).length === 3, flights.map(({ ended, worst }) => `${ended} ${worst?.sentence}`).join('; '));
  const without = await laptop.getByTestId('unflown').locator('summary').innerText();
  check('a damaged recording is told of before its list is opened', /, 1 damaged$/.test(without), without);
  const spilt = await laptop.evaluate(() => [...document.querySelectorAll('article dd, article dd small')].filter((cell) => cell.scrollWidth > cell.clientWidth + 1).map((cell) => cell.textContent));
  check('no word of a line lies over the next column', spilt.length === 0, spilt.join(', '));
  await picture(laptop, 'evening-book-laptop-light');
  await inspect(laptop, 'log book, laptop, light');
  await laptop.emulateMedia({ colorScheme: 'dark' });
  await picture(laptop, 'evening-book-laptop-dark');
  await laptop.emulateMedia({ colorScheme: 'light' });
  await phone.goto(`${station.address}#/flights`);
  await until('the lines on the phone', async () => (await phone.locator('article[data-testid^="flight-"]').count()) === kFlights.length);
  await picture(phone, 'evening-book-phone-dark');
  await inspect(phone, 'log book, phone, dark');

  const line = laptop.getByTestId(`flight-${flights[0].id}`);
  await line.getByRole('button', { name: /^More/ }).click();
  await line.getByRole('button', { name: 'Unlock operator controls' }).click();
  await line.locator('#operator-key').fill(key);
  await line.getByRole('button', { name: 'Unlock', exact: true }).click();
  await line.getByLabel('Name', { exact: true }).fill('Evening hop');
  await line.getByLabel('Tags').fill('new drogue, long rail');
  await line.getByLabel('Notes', { exact: true }).fill('Written by the browser’s test.');
  await line.getByRole('button', { name: 'Save' }).click();
  await until('the name in the log book', async () => /Evening hop/.test(await line.innerText()));
  await inspect(laptop, 'log book with an open line');
  await laptop.getByPlaceholder(/^Search/).fill('long rail');
  await until('one line', async () => (await laptop.locator('article[data-testid^="flight-"]').count()) === 1);
  check('a search finds a flight by its tag', /Evening hop/.test(await laptop.locator('article[data-testid^="flight-"]').innerText()));
  await laptop.getByPlaceholder(/^Search/).fill('');

  await line.getByRole('button', { name: 'Archive' }).click();
  await until('the archived line to go', async () => (await line.count()) === 0);
  check('the archive keeps what the list no longer shows', (await api('flights')).flights.find((one) => one.id === flights[0].id)?.archived === true);
  await laptop.getByRole('button', { name: 'Show the archive' }).click();
  await until('the archive', async () => (await line.count()) === 1);
  await line.getByRole('button', { name: /^More/ }).click();
  await line.getByRole('button', { name: 'Take out of the archive' }).click();
  await until('the archive to be empty', async () => (await line.count()) === 0);
  await laptop.getByRole('button', { name: 'Leave the archive' }).click();
  await until('the line to be back', async () => (await line.count()) === 1);

  const last = laptop.getByTestId(`flight-${flights[4].id}`);
  await last.getByRole('button', { name: /^More/ }).click();
  await last.getByRole('button', { name: 'Delete' }).click();
  await until('its line to go', async () => (await last.count()) === 0);
  await laptop.getByRole('button', { name: 'Undo' }).click();
  await until('its line to come back', async () => (await last.count()) === 1);
  check('a flight that was deleted is brought back', true);
  return flights;
}

async function compare(laptop, phone, flights) {
  for (const flight of flights) await laptop.getByTestId(`flight-${flight.id}`).getByRole('checkbox').click();
  check('five are chosen', /^5 of 5 flights chosen\./.test(await says(laptop)), await says(laptop));
  await laptop.getByRole('link', { name: 'Compare A, B, C, D, E' }).click();
  const table = laptop.getByTestId('compared-figures');
  await until('the comparison', () => table.isVisible(), 120_000);
  const { mean, sd } = statistics(flights.map((flight) => figure_of(flight, 'apogee_m').value));
  const row = table.locator('tr', { has: laptop.getByRole('rowheader', { name: /^Apogee AGL/ }) });
  const cells = (await row.locator('td').allInnerTexts()).map(plain);
  const [shown_mean, shown_sd] = /^(\S+) ± (\S+)/.exec(cells[6]).slice(1).map(Number);
  check('mean and spread of the apogees are those worked out here', Math.abs(shown_mean - mean) <= 10 ** Math.floor(Math.log10(sd)) && Math.abs(shown_sd - sd) <= 0.5 * 10 ** Math.floor(Math.log10(sd)) + 1e-9, `${cells[6]} for ${mean} ± ${sd}`);
  // Student's t for four degrees of freedom, two-sided 95 %: 2.776 (tables of NIST/SEMATECH e-Handbook, 1.3.6.7.2).
  const half = (2.776 * sd) / Math.sqrt(flights.length);
  const [low, high] = /(\S+) to ([\d.]+)/.exec(cells[6]).slice(1).map(Number);
  check('and so is the interval of the mean', Math.abs(low - (mean - half)) < 2 && Math.abs(high - (mean + half)) < 2, `${cells[6]} for ${mean - half} to ${mean + half}`);
  const box = await laptop.getByTestId('compare-charts').locator('.u-over').first().boundingBox();
  await laptop.mouse.move(box.x + 0.3 * box.width, box.y + 0.5 * box.height);
  await until('the values at the cursor', async () => /At the cursor, T\+/.test(await table.innerText()));
  for (const course of ['Predicted', 'Simulated']) await laptop.getByRole('checkbox', { name: course }).check();
  await check_soon('the chart says what the simulated flight is of', async () => {
    const words = await laptop.getByTestId('compare-charts').innerText();
    return [/the files flown again in the wind that was found/.test(words), words];
  });
  await picture(laptop, 'evening-compare-laptop-light');
  await inspect(laptop, 'comparison, laptop, light');
  await laptop.emulateMedia({ colorScheme: 'dark' });
  await sleep(150); // the charts are drawn again
  await picture(laptop, 'evening-compare-laptop-dark');
  await laptop.emulateMedia({ colorScheme: 'light' });
  await laptop.getByTestId('align').selectOption('apogee');
  await until('clocks that start at the apogee', async () => /align=apogee/.test(laptop.url()) && /clocks start at apogee/.test(await laptop.getByTestId('compare-charts').innerText()));
  await phone.goto(laptop.url());
  await until('the comparison on the phone', () => phone.getByTestId('compared-figures').isVisible(), 120_000);
  await phone.getByRole('checkbox', { name: 'Simulated' }).check();
  await picture(phone, 'evening-compare-phone-dark');
  await inspect(phone, 'comparison, phone, dark');
  await phone.goto(`${laptop.url().replace('align=apogee', 'align=drogue_out')}`);
  await check_soon('flights that cannot be aligned show why, and not an older comparison under the new moment', async () => {
    const words = plain(await phone.getByTestId('job').innerText());
    return [/^[A-E] \(.*\) has no drogue out;/.test(words) && (await phone.getByTestId('compare-charts').count()) === 0, words];
  });
  const lost = table.locator('tr', { has: laptop.getByRole('rowheader', { name: 'Packets lost', exact: true }) });
  const [unit, ...shares] = (await lost.locator('td').allInnerTexts()).map(plain);
  check('packets lost are per cent of those sent, without the sign at each', unit === '%' && flights.every((flight, i) => Math.abs(Number(shares[i]) - 100 * figure_of(flight, 'lost_share').value) <= 0.051), `${unit} ${shares}`);
  await lost.scrollIntoViewIfNeeded();
  await picture(laptop, 'evening-compare-lost-laptop-light');
}

const demo = (...path) => JSON.parse(readFileSync(join(kDemo, ...path), 'utf8'));

/** What flew, by the simulator: rows by the names of their columns. */
function truth_of(place) {
  const [head, ...lines] = readFileSync(join(folder, `flight-${place}.bin.csv`), 'utf8').trim().split('\n').map((line) => line.split(','));
  return lines.map((line) => Object.fromEntries(line.map((value, i) => [head[i], head[i] === 'phase' ? value : Number(value)])));
}

/** "3.1 ± 0.2 m" or "3.1 m" as a person reads it; ± as half a digit of what is shown where there is none. */
function figure_in(text) {
  const [, value, sigma] = /(-?[\d.]+)(?: ± ([\d.]+))?/.exec(plain(text)) ?? [];
  return { value: Number(value), sigma: sigma === undefined ? 0.5 * 10 ** -(/\.(\d+)/.exec(value)?.[1].length ?? 0) : Number(sigma) };
}

/** Against the files that the simulator flew, which scattered nothing, and against its truth. */
async function performance(laptop, phone, flight, place) {
  await laptop.goto(`${station.address}#/flights/${encodeURIComponent(flight.id)}/performance`);
  const rows = laptop.getByTestId('performance').locator('tbody tr');
  await until('drag, motor and parachutes', async () => (await rows.count()) > 3, 120_000);
  const found = new Map();
  for (const row of await rows.all()) if ((await row.locator('td.n').count()) === 2) found.set((await row.locator('th').innerText()).toLowerCase(), (await row.locator('td.n').allInnerTexts()).map(figure_in));
  const { rocket } = demo('sanderling', 'vehicle.json');
  // The thrust curve's trapezoids.
  const impulse = rocket.thrust.slice(1).reduce((sum, [t_s, thrust_n], i) => sum + ((t_s - rocket.thrust[i][0]) * (thrust_n + rocket.thrust[i][1])) / 2, 0);
  const wanted = [['total impulse', impulse], ...rocket.parachutes.map((one) => [`${one.name.toLowerCase()}: drag area`, one.drag_area_m2])];
  for (const [what, flown] of wanted) {
    const [here, file] = [...found].find(([name]) => name === what)?.[1] ?? [];
    check(`${what} of the flight is what flew, within what it says`, here && Math.abs(here.value - flown) < Math.max(3 * here.sigma, 0.02 * flown) && here.sigma < 0.2 * flown, `${JSON.stringify(here)} for ${flown}; there are ${[...found.keys()]}`);
    check(`${what} of the file stands beside it`, file && Math.abs(file.value - flown) <= file.sigma + 1e-9, `${JSON.stringify(file)} for ${flown}`);
  }
  const smoothing = laptop.getByTestId('smoothing');
  await smoothing.getByRole('button', { name: 'Smooth this flight' }).click();
  const chart = smoothing.locator('.u-over').first();
  await until('the smoothed estimates', () => chart.isVisible(), 120_000);
  const truth = truth_of(place);
  const liftoff_s = truth.find((row) => row.phase !== 'on_the_rail' && row.up_m > 0).t_s;
  await chart.scrollIntoViewIfNeeded();
  const box = await chart.boundingBox();
  for (const part of [0.1, 0.2, 0.5]) {
    await laptop.mouse.move(box.x + part * box.width, box.y + 0.5 * box.height);
    const words = await until('the smoothed value there', async () => /^T\+\S+: .*in flight/.test(plain(await smoothing.locator('.aside').first().innerText())) && plain(await smoothing.locator('.aside').first().innerText()));
    const [, minutes = 0, seconds] = /^T\+(?:(\d+):)?([\d.]+):/.exec(words);
    const t_s = 60 * Number(minutes) + Number(seconds);
    const shown = figure_in(words.slice(words.indexOf(': ') + 2));
    const flown = truth.find((row) => row.t_s >= liftoff_s + t_s).up_m;
    const speed = Math.abs(truth.find((row) => row.t_s >= liftoff_s + t_s).velocity_up_mps);
    // The moment is shown to tenths of a second.
    check(`the smoothed altitude at T+${t_s} s is what flew`, Math.abs(shown.value - flown) < 3.5 * shown.sigma + 0.1 * speed + 0.5, `${words} for ${flown}`);
  }
  await picture(laptop, 'evening-performance-laptop-light');
  await inspect(laptop, 'performance, laptop, light');
  await phone.goto(laptop.url());
  await until('performance on the phone', async () => (await phone.getByTestId('performance').locator('tbody tr').count()) > 3, 120_000);
  await picture(phone, 'evening-performance-phone-dark');
  await inspect(phone, 'performance, phone, dark');
}

const response_of = async (page, flight) => {
  const answers = [];
  const listen = async (response) => {
    if (/\/api\/jobs\//.test(response.url())) answers.push(await response.json().catch(() => ({})));
  };
  page.on('response', listen);
  await page.goto(`${station.address}#/flights/${encodeURIComponent(flight.id)}/response`);
  await until('the control response', async () => answers.some((job) => job.state === 'done') && (await page.getByTestId('derivatives').isVisible()), 120_000);
  page.off('response', listen);
  return answers.find((job) => job.state === 'done').result;
};

async function no_response(laptop, flight) {
  await response_of(laptop, flight);
  const roll = await laptop.getByTestId('derivatives').locator('tr', { hasText: /^Roll/ }).innerText();
  check('fins that do not turn give no roll response, and the page says why', /not identifiable: \S+/.test(roll), roll);
}

/** The derivatives of the airframe that flew, by the equations of motion: roll damping and fins' effect on the roll rate. */
function true_roll(q_pa, speed_mps) {
  const frame = demo('dunlin', 'airframe.json');
  const { rocket } = demo('dunlin', 'vehicle.json');
  const force_n = q_pa * rocket.reference_area_m2;
  const [inertia] = frame.inertia_dry_kg_m2;
  return { lp: -((force_n / speed_mps) * frame.roll_damping_m2) / inertia, ld: (force_n * frame.fins.roll_effect_m) / inertia };
}

async function response(laptop, phone, flight) {
  const { roll } = await response_of(laptop, flight);
  const { lp, ld } = true_roll(roll.reference_q_pa, roll.reference_speed_mps);
  const table = laptop.getByTestId('derivatives');
  for (const [what, flown] of [['Roll damping Lp', lp], ['Fin effect Ld', ld]]) {
    const cells = (await table.locator('tr', { has: laptop.getByRole('rowheader', { name: what }) }).locator('td').allInnerTexts()).map(plain);
    const [low, high] = /(\S+) to (\S+)/.exec(cells[2]).slice(1).map(Number);
    const edge = Math.abs(high - low) / 4; // a single flight's interval of 95 % may miss it, not by much
    check(`${what} on the screen is the airframe's`, low - edge <= flown && flown <= high + edge && high - low < 0.3 * Math.abs(flown), `${cells.join(' | ')} for ${flown}`);
  }
  check('the sentence says the same', new RegExp(`^Roll: p′ = -?[\\d.]+.* at ${(roll.reference_q_pa / 1000).toFixed(1)} kPa`).test(await says(laptop)), await says(laptop));
  check('pitch and yaw have their frequency', (await table.locator('tr', { hasText: /natural frequency/ }).count()) === 2, await table.innerText());
  const course = laptop.getByTestId('fin_course');
  await course.locator('canvas').nth(1).waitFor();
  check('fins are drawn over time beside the rate of their axis', (await course.locator('canvas').count()) === 2 && (await course.getByRole('option').allInnerTexts()).join() === 'Roll,Pitch,Yaw', await course.innerText());
  const steps = await laptop.locator('table', { hasText: 'Steps of the fins' }).innerText();
  check('steps of the fins have their rise, with packets lost too', (steps.match(/T\+0:0\d\.\d\d\s+\d\.\d\d\ss/g) ?? []).length >= 3, steps);
  await picture(laptop, 'evening-response-top-laptop-light');
  const shadow = laptop.getByTestId('shadow');
  const margins = laptop.getByTestId('margins');
  const gain_margins = async (gain) => {
    await shadow.getByLabel('Proportional').fill(String(gain));
    const before = (await margins.count()) > 0 ? await margins.innerText() : '';
    await shadow.getByRole('button', { name: 'Run the shadow' }).click();
    await until('margins', async () => (await margins.count()) > 0 && (await margins.innerText()) !== before, 120_000);
    return (await margins.locator('tbody tr').allInnerTexts()).map((row) => Number(/(-?[\d.]+) dB/.exec(plain(row))?.[1]));
  };
  const once = await gain_margins(0.02), twice = await gain_margins(0.04);
  // A gain margin is what the gain may grow by: twice the gain leaves 20 lg 2 = 6.02 dB less of it.
  check('twice the gain leaves 6 dB less of a margin, at each pressure', once.length > 1 && once.length === twice.length && once.every((margin, i) => Math.abs(margin - twice[i] - 6.02) <= 0.11), `${once} and ${twice}`);
  const download = laptop.waitForEvent('download');
  await shadow.getByRole('button', { name: 'Save as law.json' }).click();
  const law = join(folder, 'law.json');
  await (await download).saveAs(law);
  check('the law is saved as it was run', JSON.parse(readFileSync(law, 'utf8')).gains.kp === 0.04, readFileSync(law, 'utf8'));
  await capture({ ...kSteered, more: ['--steer', law] }, 'closed-loop'); // and the simulator flies it
  check('what noise and delay do to it is said', (await shadow.locator('tr', { hasText: /to/ }).count()) > 0, await shadow.innerText());
  await picture(laptop, 'evening-response-laptop-light');
  await inspect(laptop, 'response, laptop, light');
  await phone.goto(laptop.url());
  await until('the response on the phone', () => phone.getByTestId('derivatives').isVisible(), 120_000);
  await picture(phone, 'evening-response-phone-dark');
  await inspect(phone, 'response, phone, dark');
}

async function exchange(laptop, flight) {
  await laptop.goto(`${station.address}#/flights`);
  const line = laptop.getByTestId(`flight-${flight.id}`);
  await line.getByRole('button', { name: /^More/ }).click();
  await line.getByRole('button', { name: 'Export' }).click();
  const sheet = laptop.locator('dialog[open]');
  await picture(laptop, 'evening-export-laptop-light');
  await inspect(laptop, 'export, laptop, light');
  const download = laptop.waitForEvent('download');
  await sheet.getByRole('link', { name: 'Export' }).click();
  const file = join(folder, 'flight.csv');
  await (await download).saveAs(file);
  const [head, ...rows] = readFileSync(file, 'utf8').split(/\r\n/).filter((row) => row !== '').map((row) => row.split(','));
  const column = head.findIndex((name) => /vertical[./]altitude_m\b/.test(name));
  const highest = Math.max(...rows.map((row) => (row[column] === '' ? -Infinity : Number(row[column]))));
  const apogee = figure_of(flight, 'apogee_m');
  check('the exported file has units in its head', head.some((name) => /\[?\(?m\/s/.test(name)), head.slice(0, 6).join(','));
  check('and the apogee that the log book shows', Math.abs(highest - apogee.value) <= Math.max(3, 3 * apogee.sigma), `${highest} for ${apogee.value} ± ${apogee.sigma}`);
  const report = await fetch(new URL(await line.getByRole('link', { name: 'Report' }).getAttribute('href'), station.address));
  check('the report is a page with the vehicle in it', report.ok && /Sanderling/.test(await report.text()));

  const known = (await api('flights')).flights.map((one) => one.id);
  const log = await capture({ ...kFlights[kLogged], impairment: 'clean' }, 'log');
  await laptop.getByRole('button', { name: 'Import an on-board log' }).click();
  await sheet.getByLabel('Of which flight').selectOption(flight.id);
  await sheet.getByLabel('File').setInputFiles(log);
  await until('the first look at the log', () => sheet.getByRole('button', { name: 'Import', exact: true }).isVisible(), 120_000);
  await picture(laptop, 'evening-import-laptop-light');
  await inspect(laptop, 'import, laptop, light');
  await sheet.getByRole('button', { name: 'Import', exact: true }).click();
  const outcome = laptop.getByTestId('import-outcome');
  await until('the merged recording', async () => (await outcome.count()) > 0, 120_000);
  const words = plain(await outcome.innerText());
  check('the import says how the clocks met, and what the log adds', /Matched by/.test(words) && Number(/(\d+) only in the log/.exec(words)?.[1]) > 0, words);
  await picture(laptop, 'evening-imported-laptop-light');
  await sheet.getByRole('button', { name: 'Close' }).click();
  const merged = await until('the merged flight in the log book', async () => {
    const { flights } = await api('flights');
    return flights.length === known.length + 1 && flights.find((one) => !known.includes(one.id));
  });
  await laptop.goto(`${station.address}#/flights/${encodeURIComponent(merged.id)}`);
  const filled = /^.*Radio gap of (\S+) s filled from the on-board log: (\d+) packets/;
  const marks = await until('gaps that the log filled in the list of moments', async () => {
    const found = (await laptop.getByTestId('jump').locator('option').allInnerTexts()).map(plain).filter((words) => filled.test(words));
    return found.length > 0 && found;
  });
  const { events } = await api(`recordings/${merged.recording}/events`);
  check('every gap that was filled is marked where one replays it', marks.length === events.filter((event) => filled.test(plain(event.text))).length, marks.join('; '));
}

/** As a logger of its own would have written it that counts from its own start, in g, with decimal commas; from the simulator's truth. */
function logger_table(truth, starts_s) {
  const [head, ...rows] = readFileSync(truth, 'utf8').trim().split('\n').map((row) => row.trim().split(','));
  const [time, force, pressure, phase] = ['t_s', 'specific_force_x_mps2', 'pressure_pa', 'phase'].map((name) => head.indexOf(name));
  const comma = (value, digits) => value.toFixed(digits).replace('.', ',');
  const lines = rows.filter((row, i) => i % 2 === 0 && Number(row[time]) >= starts_s)
    .map((row) => [comma(1000 * (Number(row[time]) - starts_s), 1), comma(Number(row[force]) / 9.80665, 5), comma(Number(row[pressure]) / 100, 4)].join(';'));
  return { text: ['millis;ax;p', ...lines, ''].join('\r\n'), liftoff_s: Number(rows.find((row) => row[phase] !== 'on_the_rail')[time]) - starts_s };
}

/** A table whose columns the page cannot know by their names. */
async function import_table(laptop, flight) {
  const { text, liftoff_s } = logger_table(join(folder, 'log.bin.csv'), 2);
  const log = join(folder, 'logger.csv');
  writeFileSync(log, text);
  await laptop.goto(`${station.address}#/flights`);
  await laptop.getByRole('button', { name: 'Import an on-board log' }).click();
  const sheet = laptop.locator('dialog[open]');
  await sheet.getByLabel('Of which flight').selectOption(flight.id);
  await sheet.getByLabel('File').setInputFiles(log);
  const time = sheet.getByRole('combobox', { name: 'Time', exact: true });
  await until('the first look at the table', () => time.isVisible(), 60_000);
  await time.selectOption('millis');
  await sheet.getByRole('combobox', { name: 'in', exact: true }).selectOption('ms');
  await sheet.getByLabel('the clock of the radio').uncheck();
  for (const [column, channel, scale] of [['ax', 'imu.samples.accel_body_x', '9.80665'], ['p', 'baro.static_pressure', '100']]) {
    await sheet.getByLabel(`Is the channel: ${column}`).selectOption(channel);
    await sheet.getByLabel(`Times: ${column}`).fill(scale);
    await sheet.getByLabel(`Times: ${column}`).press('Tab');
  }
  await picture(laptop, 'evening-import-table-laptop-light');
  await inspect(laptop, 'import of a table, laptop, light');
  await sheet.getByRole('button', { name: 'Import', exact: true }).click();
  const outcome = laptop.getByTestId('import-outcome');
  await until('the merged recording', async () => (await outcome.count()) > 0, 120_000);
  const words = plain(await outcome.innerText());
  const told = /Matched by the shape of what both measured: the log’s zero lies ([\d.]+) s (behind|ahead of) the recording’s, ± ([\d.]+) ms/.exec(words);
  const behind_s = told && Number(told[1]) * (told[2] === 'behind' ? 1 : -1);
  check('a table’s clock is found by what both measured', told && Math.abs(behind_s + liftoff_s - flight.liftoff_s) < 0.3, `${words}: ${liftoff_s} for ${flight.liftoff_s}`);
  await picture(laptop, 'evening-imported-table-laptop-light');
  await sheet.getByRole('button', { name: 'Import another' }).click();
  await sheet.getByLabel('File').setInputFiles(log);
  await until('the second look at the table', () => time.isVisible(), 60_000);
  const kept = async (name) => sheet.getByRole(/^Times:/.test(name) ? 'spinbutton' : 'combobox', { name, exact: true }).inputValue();
  const again = [await kept('Time'), await kept('in'), await kept('Is the channel: ax'), await kept('Times: ax'), await kept('Times: p')];
  check('what its columns are is known the next time', again.join() === 'millis,ms,imu.samples.accel_body_x,9.80665,100', again.join());
  await sheet.getByRole('button', { name: 'Close' }).click();
}

const cursor_of = async (page) => Number(await page.getByTestId('tape').getAttribute('aria-valuenow'));
const time_in = (page) => Number(new URLSearchParams(page.url().split('?')[1]).get('t'));

/** Recorded beside the server, as one that a friend brings. */
async function steered_flight() {
  const id = await record(kSteered, 'steered', () => undefined);
  return until('the steered flight in the log book', async () => {
    const { flights, pending } = await api('flights');
    return !pending && flights.find((flight) => flight.recording === id);
  });
}

async function led_debrief(laptop, phone, flight) {
  await laptop.goto(`${station.address}#/flights/${encodeURIComponent(flight.id)}?t=10`);
  const bar = laptop.getByTestId('flight-bar');
  await until('the flight’s controls', () => bar.isVisible());
  await check_soon('an address opens its moment', async () => [Math.abs((await cursor_of(laptop)) - flight.liftoff_s - 10) < 0.02, `${await cursor_of(laptop)} for ${flight.liftoff_s} + 10`]);
  const apogee = figure_of(flight, 'apogee_s');
  const jumps = await laptop.getByTestId('jump').locator('option').allInnerTexts();
  const to_apogee = jumps.find((words) => /apogee/i.test(words));
  await laptop.getByTestId('jump').selectOption({ label: to_apogee });
  await check_soon('one can jump ahead to an event', async () => [Math.abs((await cursor_of(laptop)) - flight.liftoff_s - apogee.value) < 1, `${await cursor_of(laptop)}: ${to_apogee}`]);
  await check_soon('the address follows the cursor', async () => [Math.abs(time_in(laptop) - apogee.value) < 1, laptop.url()]);
  await bar.getByRole('button', { name: 'Bookmark' }).click();
  await bar.getByLabel(/^Bookmark/).fill('Lid seen to open');
  await bar.getByRole('button', { name: 'Save' }).click();
  await check_soon('a bookmark stays in the recording at the cursor’s time', async () => {
    const { events } = await api(`recordings/${flight.recording}/events`);
    const found = events.find((event) => event.text === 'Lid seen to open');
    return [found && Math.abs(found.t_s - flight.liftoff_s - apogee.value) < 1, JSON.stringify(found)];
  });
  await picture(laptop, 'evening-replay-laptop-light');
  await inspect(laptop, 'replay, laptop, light');

  await phone.goto(`${station.address}#/flights/${encodeURIComponent(flight.id)}?t=2`);
  const other = phone.getByTestId('flight-bar');
  await until('the flight’s controls on the phone', () => other.isVisible());
  await bar.getByRole('button', { name: 'Lead', exact: true }).click();
  await other.getByRole('button', { name: 'Follow', exact: true }).click();
  await check_soon('who follows stands where the leader stands', async () => [Math.abs((await cursor_of(phone)) - (await cursor_of(laptop))) < 0.05, `${await cursor_of(phone)} and ${await cursor_of(laptop)}`]);
  await laptop.getByTestId('rate').selectOption('10');
  await laptop.getByRole('button', { name: 'Play', exact: true }).click();
  await until('the phone to play along', async () => (await cursor_of(phone)) > flight.liftoff_s + apogee.value + 5);
  await laptop.getByRole('button', { name: 'Pause', exact: true }).click();
  await check_soon('and stops where the leader stops', async () => [Math.abs((await cursor_of(phone)) - (await cursor_of(laptop))) < 0.05, `${await cursor_of(phone)} and ${await cursor_of(laptop)}`]);
  await picture(phone, 'evening-following-phone-dark');
  await inspect(phone, 'following, phone, dark');
  await other.getByRole('button', { name: 'Let go' }).click();
  const stood = await cursor_of(phone);
  await laptop.getByTestId('jump').selectOption({ label: to_apogee });
  await until('the leader to move', async () => Math.abs((await cursor_of(laptop)) - flight.liftoff_s - apogee.value) < 1);
  check('who has let go stays', (await cursor_of(phone)) === stood, `${await cursor_of(phone)} for ${stood}`);
  await bar.getByRole('button', { name: 'Loop this window' }).click();
  check('a loop says what it repeats', /again and again/.test(await laptop.getByTestId('led').innerText()));
  await laptop.getByTestId('rate').selectOption('10');
  await laptop.getByRole('button', { name: 'Play', exact: true }).click();
  const passed = [await cursor_of(laptop)];
  await check_soon('it begins again', async () => {
    passed.push(await cursor_of(laptop));
    return [passed.some((t_s, i) => i > 0 && t_s < passed[i - 1] - 1), `${passed.filter((_, i) => i % 20 === 0)}: ${await laptop.getByTestId('led').innerText()}`];
  });
  await laptop.getByRole('button', { name: 'Pause', exact: true }).click();
}

async function run(browser) {
  const errors = [];
  mkdirSync(kRecordings);
  const ids = [];
  for (let place = 0; place < kFlights.length; place += 2) {
    let may_begin = Promise.resolve();
    const two = kFlights.slice(place, place + 2).map((flight, i) => {
      const before = may_begin;
      let begun;
      may_begin = new Promise((done) => (begun = done));
      return before.then(() => record(flight, place + i, begun));
    });
    ids.push(...(await Promise.all(two)));
  }
  writeFileSync(join(kRecordings, '2026-05-01T000000Z-broken.sqlite'), 'not what it was');
  const server = await start_server(0, [], 'evening');
  station.address = server.address;
  const laptop = await open_page(browser, errors, 'laptop', 1366, 768, 'light');
  const second = await open_another_browser('second');
  try {
    const phone = await open_page(second, errors, 'phone', 390, 844, 'dark');
    const flights = await log_book(laptop, phone, server.key);
    await compare(laptop, phone, flights);
    const whole = flights.filter((flight) => flight.ended === 'touchdown');
    await performance(laptop, phone, whole[0], ids.indexOf(whole[0].recording));
    await no_response(laptop, whole[0]);
    await response(laptop, phone, await steered_flight());
    const logged = flights.find((flight) => flight.recording === ids[kLogged]);
    await exchange(laptop, logged);
    await import_table(laptop, logged);
    await led_debrief(laptop, phone, whole[0]);
  } finally {
    await second.close();
  }
  check('no errors in any page', errors.length === 0, errors.join('\n        '));
}

await run_in_browser(run);
