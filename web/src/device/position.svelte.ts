/** Where this device is. It is used on this page and sent nowhere. */
import type { UtcMs } from '../stream/clocks';
import type { GeoPoint } from '../stream/description';

export type PositionState = 'off' | 'not_secure' | 'not_supported' | 'asking' | 'on' | 'refused' | 'unavailable';

export interface DevicePlace extends GeoPoint {
  /** 1-sigma. */
  sigma_m: number;
  at_ms: UtcMs;
}

/** W3C Geolocation gives the radius that holds 95 %; of a circular normal distribution that is 2.45 sigma. */
const kSigmasOfAccuracy = Math.sqrt(-2 * Math.log(0.05));
const kRefused = 1; // GeolocationPositionError.PERMISSION_DENIED
const kPatienceMs = 20_000;

class Position {
  state: PositionState = $state('off');
  place: DevicePlace | undefined = $state.raw();
  private watch_id: number | undefined;

  /** Begins without a question where it was allowed before. */
  async resume(): Promise<void> {
    if (!window.isSecureContext) return;
    try {
      const allowed = await navigator.permissions.query({ name: 'geolocation' });
      if (allowed.state === 'granted') this.start();
    } catch {
      // Not every browser tells; then a tap has to ask.
    }
  }

  start(): void {
    if (this.watch_id !== undefined) return;
    if (!window.isSecureContext) this.state = 'not_secure';
    else if (!('geolocation' in navigator)) this.state = 'not_supported';
    else {
      this.state = 'asking';
      this.watch_id = navigator.geolocation.watchPosition(this.take, this.fail, {
        enableHighAccuracy: true,
        timeout: kPatienceMs,
      });
    }
  }

  stop(): void {
    if (this.watch_id !== undefined) navigator.geolocation.clearWatch(this.watch_id);
    this.watch_id = undefined;
    if (this.state === 'on' || this.state === 'asking') this.state = 'off';
  }

  private readonly take = ({ coords, timestamp }: GeolocationPosition): void => {
    this.state = 'on';
    this.place = {
      latitude_deg: coords.latitude,
      longitude_deg: coords.longitude,
      sigma_m: coords.accuracy / kSigmasOfAccuracy,
      at_ms: timestamp,
    };
  };

  private readonly fail = (error: GeolocationPositionError): void => {
    if (error.code === kRefused) {
      this.stop();
      this.state = 'refused';
    } else if (!this.place) {
      this.state = 'unavailable'; // it goes on trying
    }
  };
}

export const position = new Position();
