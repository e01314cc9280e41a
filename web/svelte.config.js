import { vitePreprocess } from '@sveltejs/vite-plugin-svelte';

export default {
    preprocess: vitePreprocess(),
    // What keeps a component's style its own stands in each of its elements: short, it leaves a phone more for the figures.
    compilerOptions: { cssHash: ({ hash, css }) => `s-${hash(css).slice(0, 5)}` },
};
