/** Call-outs of this page: chosen as the tape moves on, spoken while the device may, always there as captions. */
import { settings } from '../station/settings.svelte';
import { station } from '../station/station.svelte';
import { page_now } from '../stream/clocks';
import { CallOuts, type CallOut } from './select';
import { pulses, sound, type Signalled } from './signals';
import { Speaker, type SpeechDevice } from './speaker';
import { kCallOutWords } from './wording';

const kCaption_ms = 5000;
const kRateMost = 2; // a replay faster than this is looked through, not listened to

/** The browser's own voices. */
function own_device(): SpeechDevice<SpeechSynthesisVoice> | undefined {
  if (!('speechSynthesis' in window)) return undefined;
  const { speechSynthesis } = window;
  return {
    voices: () => speechSynthesis.getVoices(),
    speak: (text, voice, ended) => {
      const utterance = new SpeechSynthesisUtterance(text);
      utterance.voice = voice;
      utterance.lang = voice.lang;
      utterance.onend = ended;
      utterance.onerror = ended;
      speechSynthesis.speak(utterance);
    },
    cancel: () => speechSynthesis.cancel(),
  };
}

const level_of = ({ weight }: CallOut): Signalled | undefined =>
  weight === 'caution' || weight === 'warning' ? weight : undefined;

class PageCallOuts {
  /** What was called out last, while it is fresh. */
  caption = $state('');
  /** The same for a screen reader, of what happens to the flight; alerts it hears from the band. */
  happened = $state('');
  /** Whether the device has a voice of its own; not known before the first call-out. */
  voiceless = $state(false);
  private readonly callouts = new CallOuts();
  private readonly speaker = new Speaker(own_device(), page_now);
  private tones: AudioContext | undefined;
  private caption_timer: ReturnType<typeof setTimeout> | undefined;

  /** Looks at the tape; with each beat. */
  look(): void {
    const { tape } = station;
    if (!tape) return;
    const moving = tape.following || (tape.playing && tape.rate <= kRateMost);
    const { kinds, every, units } = settings;
    const found = this.callouts.look(tape, station.vehicle, { kinds, every, units });
    if (!moving) return;
    for (const callout of found) this.call(callout);
  }

  /** Within a tap: only then may a page begin to speak and sound. */
  begin(): void {
    this.tones ??= 'AudioContext' in window ? new AudioContext() : undefined;
    void this.tones?.resume();
    this.call({ text: kCallOutWords.begun, weight: 'event', kind: 'liftoff' });
  }

  mute(): void {
    this.speaker.hush();
  }

  private call(callout: CallOut): void {
    this.caption = callout.text;
    if (callout.weight === 'event') this.happened = callout.text;
    clearTimeout(this.caption_timer);
    this.caption_timer = setTimeout(() => (this.caption = ''), kCaption_ms);
    if (!settings.sound) return;
    const level = level_of(callout);
    if (level) {
      if (this.tones) sound(this.tones, level);
      if ('vibrate' in navigator) navigator.vibrate(pulses(level));
    }
    this.voiceless = this.speaker.voice() === undefined;
    this.speaker.say(callout);
  }
}

export const page_callouts = new PageCallOuts();
