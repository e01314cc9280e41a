import { vitePreprocess } from '@sveltejs/vite-plugin-svelte';

const styles = new Map();

export default {
    preprocess: vitePreprocess(),
    compilerOptions: {
        // What keeps a component's style its own stands in each of its elements: short, it leaves a phone more for the figures.
        cssHash: ({ hash, css }) => {
            const name = `s${hash(css).slice(0, 4)}`;
            if ((styles.get(name) ?? css) !== css)
                throw new Error(`two components' styles are called ${name}: take one letter more`);
            styles.set(name, css);
            return name;
        },
    },
};
