/**
 * Two tones that part as the antenna strays: one steady tone is on target, an octave apart is a beam off and more. Silence
 * says that there is nothing to point at, never that all is well.
 */
const kMiddle_hz = 523.25; // C5 of equal temperament at A4 = 440 Hz, ISO 16
const kOctave_half_beams = 2;
const kGain = 0.12;
const kGlide_s = 0.05;

export interface TonePair {
  low_hz: number;
  high_hz: number;
  gain: number;
}

export function tones_for(off_half_beams: number): TonePair {
  if (!Number.isFinite(off_half_beams)) return { low_hz: kMiddle_hz, high_hz: kMiddle_hz, gain: 0 };
  const octaves = Math.min(1, Math.max(0, off_half_beams / kOctave_half_beams));
  return { low_hz: kMiddle_hz * 2 ** (-octaves / 2), high_hz: kMiddle_hz * 2 ** (octaves / 2), gain: kGain };
}

/** Sounds a pair of tones until it is stopped; made in a tap, since browsers allow sound nowhere else. */
export class Tone {
  private readonly context = new AudioContext();
  private readonly volume = this.context.createGain();
  private readonly voices = [this.voice(), this.voice()] as const;

  constructor() {
    this.volume.gain.value = 0;
    this.volume.connect(this.context.destination);
    void this.context.resume();
  }

  sound(off_half_beams: number): void {
    const { low_hz, high_hz, gain } = tones_for(off_half_beams);
    const now_s = this.context.currentTime;
    this.voices[0].frequency.setTargetAtTime(low_hz, now_s, kGlide_s);
    this.voices[1].frequency.setTargetAtTime(high_hz, now_s, kGlide_s);
    this.volume.gain.setTargetAtTime(gain, now_s, kGlide_s);
  }

  stop(): void {
    void this.context.close();
  }

  private voice(): OscillatorNode {
    const oscillator = this.context.createOscillator();
    oscillator.connect(this.volume);
    oscillator.start();
    return oscillator;
  }
}
