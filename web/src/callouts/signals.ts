/** Tones and vibration of alerts, counted as their strokes are: two for a caution, three for a warning. */

export type Signalled = 'caution' | 'warning';

const kCounts: Readonly<Record<Signalled, number>> = { caution: 2, warning: 3 };
const kPulse_ms: Readonly<Record<Signalled, number>> = { caution: 150, warning: 350 };
const kPause_ms = 150;
const kTone_hz: Readonly<Record<Signalled, number>> = { caution: 660, warning: 880 };
const kLoudness = 0.25;

/** On and off in turn, milliseconds, as the Vibration API takes it. */
export function pulses(level: Signalled): number[] {
  const pulse = kPulse_ms[level];
  return Array.from({ length: 2 * kCounts[level] - 1 }, (_, i) => (i % 2 === 0 ? pulse : kPause_ms));
}

export function sound(context: AudioContext, level: Signalled): void {
  let at_s = context.currentTime;
  pulses(level).forEach((length_ms, i) => {
    if (i % 2 === 0) {
      const tone = context.createOscillator();
      const loudness = context.createGain();
      tone.frequency.value = kTone_hz[level];
      loudness.gain.value = kLoudness;
      tone.connect(loudness).connect(context.destination);
      tone.start(at_s);
      tone.stop(at_s + length_ms / 1000);
    }
    at_s += length_ms / 1000;
  });
}
