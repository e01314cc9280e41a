/** Keeps the screen on while somebody watches, where the device allows it, and knows why it does not. */

export type WakeState = 'off' | 'on' | 'not_secure' | 'not_here' | 'refused';

export interface WakeDevice {
  secure: boolean;
  lock: { request(type: 'screen'): Promise<{ addEventListener(type: 'release', then: () => void): void }> } | undefined;
  visible(): boolean;
}

class Wake {
  state: WakeState = $state('off');
  private wanted = false;
  private held = false;

  constructor(private readonly device: WakeDevice) {}

  /** From now on, also after the page was hidden: a lock ends with that. */
  want(): void {
    this.wanted = true;
    void this.take();
  }

  leave(): void {
    this.wanted = false;
  }

  async take(): Promise<void> {
    const { lock, secure, visible } = this.device;
    if (!this.wanted || this.held || !visible()) return;
    if (!lock) {
      this.state = secure ? 'not_here' : 'not_secure';
      return;
    }
    this.held = true;
    try {
      const taken = await lock.request('screen');
      this.state = 'on';
      taken.addEventListener('release', () => this.released());
    } catch {
      this.held = false;
      this.state = 'refused';
    }
  }

  private released(): void {
    this.held = false;
    this.state = 'off';
    void this.take();
  }
}

export const make_wake = (device: WakeDevice): Wake => new Wake(device);

export const wake = make_wake({
  secure: window.isSecureContext,
  lock: 'wakeLock' in navigator ? navigator.wakeLock : undefined,
  visible: () => document.visibilityState === 'visible',
});
document.addEventListener('visibilitychange', () => void wake.take());
