/**
 * Says call-outs one after another: one is spoken, one waits. A warning interrupts, a newer altitude takes the place of
 * an older one, and what has waited too long is not said any more.
 */
import type { PageMs } from '../stream/clocks';
import type { CallOut, Weight } from './select';
import { kSpokenLanguage } from './wording';

/** As the browser's SpeechSynthesisVoice. */
export interface Voice {
  readonly lang: string;
  /** Speaks without the internet. */
  readonly localService: boolean;
}

/** What a browser gives, so that tests can give another. */
export interface SpeechDevice<V extends Voice = Voice> {
  voices(): readonly V[];
  /** Speaks, and calls `ended` when it is over, whatever the reason. */
  speak(text: string, voice: V, ended: () => void): void;
  cancel(): void;
}

const kWeights: Readonly<Record<Weight, number>> = { altitude: 0, figure: 1, event: 2, caution: 3, warning: 4 };
const kLate_ms = 2000;
const kLost_ms = 8000; // some browsers never say that they have ended

export class Speaker<V extends Voice = Voice> {
  private speaking: { weight: Weight; begun_ms: PageMs; turn: number } | undefined;
  private waiting: { callout: CallOut; since_ms: PageMs } | undefined;
  private turn = 0;

  constructor(
    private readonly device: SpeechDevice<V> | undefined,
    private readonly now: () => PageMs,
  ) {}

  /** A voice of the device's own; any other would need the internet. */
  voice(): V | undefined {
    const own = (this.device?.voices() ?? []).filter((voice) => voice.localService);
    return own.find((voice) => voice.lang.toLowerCase().startsWith(kSpokenLanguage)) ?? own[0];
  }

  say(callout: CallOut): void {
    const now_ms = this.now();
    if (this.speaking && now_ms - this.speaking.begun_ms > kLost_ms) this.speaking = undefined;
    if (callout.weight === 'warning') {
      this.hush();
      this.begin(callout);
    } else if (!this.speaking) {
      this.begin(callout);
    } else if (!this.waiting || kWeights[callout.weight] >= kWeights[this.waiting.callout.weight]) {
      this.waiting = { callout, since_ms: now_ms };
    }
  }

  hush(): void {
    this.turn++;
    this.speaking = undefined;
    this.waiting = undefined;
    this.device?.cancel();
  }

  private begin({ text, weight }: CallOut): void {
    const voice = this.voice();
    if (!this.device || !voice) return;
    const turn = ++this.turn;
    this.speaking = { weight, begun_ms: this.now(), turn };
    this.device.speak(text, voice, () => this.ended(turn));
  }

  private ended(turn: number): void {
    if (turn !== this.turn) return; // of one that was interrupted
    this.speaking = undefined;
    const next = this.waiting;
    this.waiting = undefined;
    if (next && this.now() - next.since_ms <= kLate_ms) this.begin(next.callout);
  }
}
