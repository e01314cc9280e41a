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

// Lists and form controls, which the first figures of a phone do without.
const kLists = /svelte\/.*\/(blocks\/each|bindings\/(select|input))\.js$/;

// The build folder is the caller's choice: `npm run build -- --outDir DIR --emptyOutDir`, or TURNSTONE_WEB_OUT.
export default defineConfig({
  plugins: [svelte(), report],
  build: {
    target: 'es2022',
    outDir: process.env['TURNSTONE_WEB_OUT'] ?? 'dist',
    assetsInlineLimit: 0, // the server's content security policy allows no inline data but images
    modulePreload: { polyfill: false },
    rolldownOptions: {
      treeshake: { moduleSideEffects: [{ test: kLists, sideEffects: false }] },
      output: {
        codeSplitting: {
          includeDependenciesRecursively: false,
          groups: [{ name: 'lists', test: kLists }],
        },
      },
    },
  },
  server: { proxy: { '/api': { target: process.env['TURNSTONE_SERVER'] ?? 'http://127.0.0.1:8321', ws: true } } },
  test: { include: ['tests/**/*.test.ts'], environment: 'node', testTimeout: 30_000 },
});
