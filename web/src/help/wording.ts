/** Words of the help page. */
import type { Urgency } from '../draw/strokes';
import type { ViewName } from '../station/route.svelte';
import { kReceivesOnly } from '../text/safety';

export const kSafety = `${kReceivesOnly} What it shows is an estimate and no safety system. Watch the sky.`;

/** What each view is for. */
export const kViewWords: Readonly<Record<Exclude<ViewName, 'help'>, string>> = {
  crew: 'For two people at a laptop: figures, strips, map, alerts, links and the operator’s controls.',
  watch: 'For phones around the pad and for a big screen: what happens now, and what comes next.',
  recover: 'For walking or sailing to it: the last good place, and the way there from where you are.',
  antenna: 'For the hands on the antenna: where to turn it.',
  test: 'For ground tests: the procedure step by step, what a charge did, and which checks hold.',
  ready: 'For the last minutes on the rail: every check, the poll, the countdown and the wind.',
  machines: 'For what works beside the rocket: the boat’s engine, the weather station.',
  flights: 'The log book: flights to replay, compare, report and export.',
  join: 'How phones come to this station: codes to scan, and what they will show.',
};

export const kLevelWords: Readonly<Record<Urgency, string>> = {
  warning: 'act now',
  caution: 'know now, act soon',
  advisory: 'know',
};

export const kLinkWords = [
  { state: 'open', words: 'open: data come' },
  { state: 'opening', words: 'opening' },
  { state: 'no_data', words: 'open, but nothing comes' },
  { state: 'lost', words: 'lost, and tried again' },
  { state: 'cannot_open', words: 'cannot be opened' },
  { state: 'end_of_file', words: 'ended: a file was read to its end' },
] as const;

export const kPhaseWords = [
  { tint: '--tint-under-thrust', words: 'under thrust' },
  { tint: '--tint-coasting', words: 'coasting' },
  { tint: '--tint-falling', words: 'falling (no parachute)' },
  { tint: '--tint-under-drogue', words: 'under drogue' },
  { tint: '--tint-under-main', words: 'under main' },
  { tint: '--tint-down', words: 'down' },
] as const;

export const kKeys = [
  { keys: ['End'], words: 'back to live; in a replay to its end' },
  { keys: ['Home'], words: 'to the start of the tape' },
  { keys: ['←', '→'], words: 'the cursor a hundredth of the window back or on' },
  { keys: ['Shift + ←', 'Shift + →'], words: 'in a replay one packet back or on' },
  { keys: ['Page Up', 'Page Down'], words: 'half a window back or on' },
  { keys: ['+', '−'], words: 'a shorter or longer window' },
  { keys: ['0'], words: 'the whole tape' },
  { keys: ['Space'], words: 'play or pause a replay' },
  { keys: ['Shift + click'], words: 'a second cursor on the strips, to measure from' },
  { keys: ['M'], words: 'a marker now, with operator controls unlocked' },
  { keys: ['1', '…', '6'], words: 'a marker with one of the words under More' },
] as const;

export const kWords = [
  { word: 'AGL', words: 'Above ground level: over the ground at the pad. MSL is over mean sea level.' },
  { word: 'T+', words: 'Time since liftoff, as the station detected it. Before liftoff clocks show the time of day.' },
  { word: '±', words: 'One standard deviation: the true value lies within it two times in three.' },
  {
    word: '95 % ellipse',
    words: 'Half lengths of the ellipse in which 95 of 100 landings lie. Predicted places are rounded to 10 m and 5°.',
  },
  {
    word: 'Drogue, main',
    words: 'The small parachute that slows the fall from apogee, and the large one that opens low.',
  },
  {
    word: 'Live, behind live',
    words:
      'Live follows what arrives. Behind live the page shows an earlier moment while the station goes on recording.',
  },
  { word: 'Old', words: 'The age of a figure is that of the newest measurement behind it, not of the computation.' },
  { word: 'Bearing', words: 'Degrees clockwise from north: true unless it says magnetic.' },
] as const;
