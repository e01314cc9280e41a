import js from '@eslint/js';
import svelte from 'eslint-plugin-svelte';
import globals from 'globals';
import ts from 'typescript-eslint';

// The folders of src, lowest first: each uses those before it, so that what decodes and keeps the tape knows nothing of
// canvases, and no view reaches into the page around it. A view uses no other view: each is fetched by itself.
const kBelow = [
    'stream',
    'text',
    'tape',
    'draw',
    'device',
    'station',
    'callouts',
    'offline',
    'strips',
    'operator',
    'checks',
    'debrief',
    'exchange',
];
const kViews = [
    'crew',
    'watch',
    'recover',
    'antenna',
    'test',
    'ready',
    'machines',
    'flights',
    'compare',
    'response',
    'help',
];
const kLayers = [...kBelow, ...kViews, 'app'];

/** What a layer may not import: every folder above it. */
const above = (layer) =>
    kLayers
        .filter(
            (other, place) =>
                other !== layer && (kViews.includes(layer) ? kViews.includes(other) : place > kLayers.indexOf(layer)),
        )
        .concat(kViews.includes(layer) ? ['app'] : [])
        .map((folder) => `**/${folder}/**`);

export default ts.config(
    { ignores: ['dist/', 'node_modules/'] },
    js.configs.recommended,
    ...ts.configs.strict,
    ...svelte.configs.recommended,
    { languageOptions: { globals: { ...globals.browser, ...globals.node } } },
    {
        files: ['**/*.svelte', '**/*.svelte.ts'],
        languageOptions: { parserOptions: { parser: ts.parser } },
    },
    {
        rules: {
            '@typescript-eslint/no-explicit-any': 'error',
            eqeqeq: 'error',
            'no-console': 'error',
            'no-restricted-properties': [
                'error',
                { object: 'performance', property: 'now', message: 'Use page_now(), which says whose clock it is.' },
            ],
        },
    },
    ...kLayers.slice(0, -1).map((layer) => ({
        files: [`src/${layer}/**`],
        rules: { 'no-restricted-imports': ['error', { patterns: above(layer) }] },
    })),
    { files: ['src/stream/clocks.ts'], rules: { 'no-restricted-properties': 'off' } },
    {
        files: ['dev/**', 'tests/**'],
        rules: { 'no-console': 'off', '@typescript-eslint/no-non-null-assertion': 'off' },
    },
);
