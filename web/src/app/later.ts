/** What every view has and nobody waits for, fetched once the first figures stand. */
export { default as Captions } from '../callouts/Captions.svelte';
export { default as LinkLine } from '../draw/LinkLine.svelte';
export { start_keeping } from '../offline/start';
export { default as Footer } from './Footer.svelte';
export { on_key } from './keys';
export { default as Notice } from './Notice.svelte';
export { default as Tape } from './Tape.svelte';
export { wake } from '../device/wake.svelte';
