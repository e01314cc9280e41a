import js from '@eslint/js';
import svelte from 'eslint-plugin-svelte';
import globals from 'globals';
import ts from 'typescript-eslint';

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
        },
    },
    {
        // The folders are layers: what decodes and keeps the tape knows nothing of canvases and components.
        files: ['src/stream/**', 'src/tape/**'],
        rules: {
            'no-restricted-imports': [
                'error',
                { patterns: ['**/views/**', '**/panels/**', '**/draw/**', '**/readouts/**'] },
            ],
        },
    },
    {
        files: ['dev/**', 'tests/**'],
        rules: { 'no-console': 'off', '@typescript-eslint/no-non-null-assertion': 'off' },
    },
);
