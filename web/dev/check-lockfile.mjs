// The lockfile must name packages by integrity only, never by the address of a registry.
import { readFileSync } from 'node:fs';

const text = readFileSync(new URL('../package-lock.json', import.meta.url), 'utf8');
const found = text.split('\n').filter((line) => line.includes('"resolved"') || line.includes('.tgz'));
if (found.length > 0) {
    console.error(`package-lock.json names ${found.length} addresses, first: ${found[0]?.trim()}; remove them`);
    process.exit(1);
}
