/** What is said of a page that should open without the station. */
import type { PageKept } from './registration.svelte';

export const kPageKeptWords: Readonly<Record<PageKept, string>> = {
  unknown: 'Looking whether this page can be kept on this device.',
  kept: 'This page and the last places are kept on this device: it opens without the station.',
  not_secure:
    'This page came over plain http, so this device does not keep it: out of range it cannot be opened again. Leave it open, or copy the coordinates.',
  not_supported:
    'This browser does not keep pages: out of range it cannot be opened again. Leave it open, or copy the coordinates.',
  not_trusted:
    'This device does not trust the certificate of the station, so it does not keep the page: out of range it cannot be opened again. Leave it open, or copy the coordinates.',
  failed:
    'This device could not keep the page: out of range it may not open again. Reload it near the station, or copy the coordinates.',
};

export const kRefusedWords = 'This device refuses to keep anything, as in a private window: copy the coordinates.';
