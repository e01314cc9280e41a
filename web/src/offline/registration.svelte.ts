/** Whether this device holds the page itself, so that it opens away from the station. */

export type PageKept =
  | 'unknown'
  | 'kept'
  /** Came over plain http: no browser keeps such a page. */
  | 'not_secure'
  | 'not_supported'
  /** The device does not trust the station's certificate. */
  | 'not_trusted'
  | 'failed';

const kWorker = '/worker.js';

class Registration {
  state: PageKept = $state('unknown');

  async start(): Promise<void> {
    if (!import.meta.env.PROD) return; // while somebody works on the page, nothing may hold an older one
    if (!window.isSecureContext) this.state = 'not_secure';
    else if (!('serviceWorker' in navigator)) this.state = 'not_supported';
    else this.state = await this.register();
  }

  private async register(): Promise<PageKept> {
    try {
      await navigator.serviceWorker.register(kWorker);
      await navigator.serviceWorker.ready;
      return 'kept';
    } catch (error) {
      if (navigator.serviceWorker.controller) return 'kept'; // away from the station there is nothing to compare with
      return error instanceof DOMException && error.name === 'SecurityError' ? 'not_trusted' : 'failed';
    }
  }
}

export const registration = new Registration();
