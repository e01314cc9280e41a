/** The device's heading while somebody looks at it. */
import { heading_of, smoothed_deg, type Heading, type OrientationReading } from './heading';

export type CompassState =
  /** Its browser must be asked in a tap. */
  | 'asks'
  | 'refused'
  | 'not_secure'
  /** Listening; without readings the device has none. */
  | 'listening'
  | 'none';

interface Asked {
  requestPermission?: () => Promise<string>;
}

const kWeight = 0.25;
const kPatienceMs = 3000;

class Compass {
  state: CompassState = $state('none');
  heading: Heading | undefined = $state.raw();
  private watchers = 0;
  private timer: ReturnType<typeof setTimeout> | undefined;

  /** Listens until the returned function is called. */
  watch(): () => void {
    if (this.watchers++ === 0) this.begin();
    return () => {
      if (--this.watchers === 0) this.end();
    };
  }

  /** In a tap: iOS allows it nowhere else. */
  async ask(): Promise<void> {
    const asked = window.DeviceOrientationEvent as Asked | undefined;
    try {
      if ((await asked?.requestPermission?.()) === 'granted') this.listen('listening');
      else this.state = 'refused';
    } catch {
      this.state = 'refused';
    }
  }

  private begin(): void {
    const asked = window.DeviceOrientationEvent as Asked | undefined;
    if (!window.isSecureContext) this.state = 'not_secure';
    else if (asked === undefined) this.state = 'none';
    else this.listen(asked.requestPermission ? 'asks' : 'listening');
  }

  /** Also before it was asked: some browsers give readings all the same. */
  private listen(state: CompassState): void {
    this.end();
    this.state = state;
    window.addEventListener('deviceorientationabsolute', this.take);
    window.addEventListener('deviceorientation', this.take);
    this.timer = setTimeout(() => {
      if (!this.heading && this.state === 'listening') this.state = 'none';
    }, kPatienceMs);
  }

  private end(): void {
    clearTimeout(this.timer);
    window.removeEventListener('deviceorientationabsolute', this.take);
    window.removeEventListener('deviceorientation', this.take);
    this.heading = undefined;
  }

  private readonly take = (event: Event): void => {
    const now = heading_of(event as unknown as OrientationReading, screen.orientation?.angle ?? 0);
    if (!now) return;
    this.state = 'listening';
    const before = this.heading?.magnetic_deg ?? NaN;
    this.heading = { ...now, magnetic_deg: smoothed_deg(before, now.magnetic_deg, kWeight) };
  };
}

export const compass = new Compass();
