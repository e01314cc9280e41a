/** Initials of the person at this device, kept on it: every act carries them. */
const kKey = 'turnstone.initials';
const kMost = 12;

function stored(): string {
  try {
    return localStorage.getItem(kKey) ?? '';
  } catch {
    return ''; // storage may be forbidden
  }
}

class Initials {
  text = $state(stored());

  get by(): string {
    return this.text.trim().slice(0, kMost);
  }

  keep(): void {
    try {
      localStorage.setItem(kKey, this.by);
    } catch {
      // They last as long as the page.
    }
  }
}

export const initials = new Initials();
