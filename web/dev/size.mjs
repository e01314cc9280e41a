// Size budget of a build: `node dev/size.mjs [DIR]`, DIR being the output folder. Fails when a limit is passed.
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';

// Bytes after gzip -9, page, script and style together. By view: what has to be there before its first figure, so that it
// stands within a second on a slow phone; call-outs, tape and drawings follow.
// `book`: the log book; `charts`: its pages with their charts, of which uPlot is 23 kB.
const kViewsMax = { Watch: 45_000, Crew: 110_000, book: 78_000, charts: 119_500 };
// 25 kB of it for ground tests, the readiness board and the machines, 65 kB for the debrief, 2 kB for views without a station.
const kAllMax = 266_400;

/** Lines about a build, and whether it meets its budget. */
export function sizes(out) {
    const assets = readdirSync(join(out, 'assets'));
    const read = (name) => readFileSync(join(out, name), 'utf8');
    const size = (name) => gzipSync(read(name), { level: 9 }).length;
    /** Files of the build with all that they import at once. */
    const closure = (names, found = new Set()) => {
        for (const name of names) {
            if (found.has(name)) continue;
            found.add(name);
            if (!name.endsWith('.js')) continue;
            const imports = read(name).matchAll(/(?:from|import)"\.\/([^"]+\.js)"/g);
            closure(
                [...imports].map(([, file]) => `assets/${file}`),
                found,
            );
        }
        return found;
    };
    const page = [...read('index.html').matchAll(/(?:src|href)="\/(assets\/[^"]+)"/g)].map(([, name]) => name);
    const total = assets.reduce((sum, name) => sum + size(`assets/${name}`), 0);
    const lines = [];
    let good = page.length > 0 && total <= kAllMax;
    for (const [view, most] of Object.entries(kViewsMax)) {
        const own = assets.filter((name) => name.startsWith(`${view}-`)).map((name) => `assets/${name}`);
        const bytes = [...closure(['index.html', ...page, ...own])].reduce((sum, name) => sum + size(name), 0);
        good &&= own.length > 0 && bytes <= most;
        lines.push(`${view}: ${bytes} of ${most} bytes before its first figure`);
    }
    lines.push(`all: ${total} of ${kAllMax} bytes (gzip -9)`);
    return { lines, good };
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
    const { lines, good } = sizes(process.argv[2] ?? 'dist');
    console.log(lines.join('\n'));
    if (!good) {
        console.error('size budget: not met');
        process.exit(1);
    }
}
