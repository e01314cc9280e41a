/** The views for who tests, decides and tends the machines: one of them opened, the others are near. */
export { default as Machines } from '../machines/Machines.svelte';
export { default as Ready } from '../ready/Ready.svelte';
export { default as Test } from '../test/Test.svelte';
