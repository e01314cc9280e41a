/** What the header has for everybody but those who watch. */
export { default as Recorder } from './Recorder.svelte';
export { default as Roles } from './Roles.svelte';
