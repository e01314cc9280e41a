import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { svelte } from '@sveltejs/vite-plugin-svelte';
import type { Plugin } from 'vite';
import { defineConfig } from 'vitest/config';
import { sizes } from './dev/size.mjs';

/** Says after a build how large its views are; `npm run size` fails when one is too large. */
const report: Plugin = {
  name: 'sizes',
  apply: 'build',
  writeBundle({ dir }) {
    process.stdout.write(`${sizes(dir ?? 'dist').lines.join('\n')}\n`);
  },
};

const kWorker = 'worker.js';

/**
 * Writes into the service worker which files it keeps, and a version that changes with any of them, so that a browser
 * sees another worker whenever there is another page.
 */
const list_files: Plugin = {
  name: 'turnstone-list-files',
  apply: 'build',
  writeBundle({ dir = '' }) {
    const files = readdirSync(dir, { recursive: true, withFileTypes: true })
      .filter((entry) => entry.isFile() && entry.name !== kWorker)
      .map((entry) => join(entry.parentPath, entry.name))
      .sort();
    const hash = createHash('sha256');
    for (const file of files) hash.update(readFileSync(file));
    const paths = files.map((file) => file.slice(dir.length).replace(/^\/index\.html$/, '/'));
    const worker = join(dir, kWorker);
    const text = readFileSync(worker, 'utf8')
      .replace('__TURNSTONE_FILES__', JSON.stringify(paths))
      .replace('__TURNSTONE_VERSION__', JSON.stringify(hash.digest('hex').slice(0, 12)));
    writeFileSync(worker, text);
  },
};

// Lists and form controls, which the first figures of a phone do without.
const kLists = /svelte\/.*\/(blocks\/(each|snippet)|bindings\/(select|input|size)|reactivity\/(props|store))\.js$/;

// Parts of Svelte that only act when they are called: the page has no elements of its own kind and no components of before.
const kPure = /svelte\/src\/(internal\/(client|shared)|legacy|reactivity|index-client|utils)/;

// What every view needs before its first figure, in one piece: many small ones are larger, and each is another request.
const kRuntime =
  /svelte\/src\/(?!(.*\/)?(blocks\/each|bindings\/(select|input|size)|reactivity\/(map|set|url|date|props|store))\.js)/;
const kPage =
  /src\/(station\/(?!notice|flight_)|stream\/(connection|messages|description|blocks|json|clocks)\.ts|tape\/(tape|columns|overview|events|estimates|roles|motion|age|flight\/measured)\.ts|places\/landing\.ts|text\/(age|format|units|viewer|callouts|safety)\.ts|app\/(App|Header|band\/SentenceBand)\.svelte|app\/(band\/band|clocks|wording|views|theme\.svelte)\.ts|draw\/(Strokes|strokes|hatch))/;

// What is asked of the station, and the words for its failures.
const kApi = /src\/(stream\/(api|no_answer)|text\/failure)\.ts$/;

// Small pieces that several views draw with, none of them Watch before its first figure.
const kDrawing =
  /src\/(draw\/(ticks|hatch|phases|marks|LinkLine|strip\/(rows|raster))|tape\/(zero|strips|estimate_strips|links|flight\/chapters)|text\/(rounding|dates))\.ts$/;

// Where things are, for maps and for who walks and points.
const kPlaces =
  /src\/(places\/(geodesic|hazards|map|place|overlays|OverlayShapes)|stream\/site_map|device\/(compass|heading|position))/;

// Small views that are read, not watched.
const kDesk = /src\/(join|help)\//;

// The log book with what its pages share; and what draws its charts, which only comparison, response and performance need.
const kBook =
  /src\/(app\/LogBook|flights\/|exchange\/|debrief\/(?!Chart|chart|Scrub|value_at)|stream\/(flights|jobs|imports|json_lists|led)|station\/flight_)/;
const kCharts = /node_modules\/uplot|src\/(debrief\/(Chart|chart|Scrub|value_at)|compare\/|response\/)/;

// Views for who tests and decides: whoever opens one needs much of the others.
const kGround = /src\/(draw\/trace|stream\/ground|(test|ready|machines|checks)\/)/;
const kOperator = /src\/operator\//;

// The build folder is the caller's choice: `npm run build -- --outDir DIR --emptyOutDir`, or TURNSTONE_WEB_OUT.
export default defineConfig({
  plugins: [svelte(), report, list_files],
  build: {
    target: 'es2022',
    outDir: process.env['TURNSTONE_WEB_OUT'] ?? 'dist',
    assetsInlineLimit: 0, // the server's content security policy allows no inline data but images
    modulePreload: { polyfill: false },
    rolldownOptions: {
      input: { index: 'index.html', worker: 'src/offline/worker.ts' },
      treeshake: { moduleSideEffects: [{ test: kPure, sideEffects: false }] },
      output: {
        // At the root and under a name that stays: its scope is the whole page, and browsers look there for a newer one.
        entryFileNames: ({ name }) => (name === 'worker' ? kWorker : 'assets/[name]-[hash].js'),
        codeSplitting: {
          includeDependenciesRecursively: false,
          groups: [
            { name: 'lists', test: kLists },
            { name: 'page', test: (id) => kRuntime.test(id) || kPage.test(id) },
            { name: 'api', test: kApi },
            { name: 'drawing', test: kDrawing },
            { name: 'places', test: kPlaces },
            { name: 'operator', test: kOperator },
            { name: 'ground', test: kGround },
            { name: 'desk', test: kDesk },
            { name: 'book', test: kBook },
            { name: 'charts', test: kCharts },
          ],
        },
      },
    },
  },
  server: { proxy: { '/api': { target: process.env['TURNSTONE_SERVER'] ?? 'http://127.0.0.1:8321', ws: true } } },
  test: { include: ['tests/**/*.test.ts'], environment: 'node', testTimeout: 30_000, hookTimeout: 30_000 },
});
