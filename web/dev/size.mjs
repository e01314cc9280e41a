// Size budget of a build: `node dev/size.mjs [DIR]`, DIR being the output folder. Fails when a limit is passed.
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

const kJsMax = 90_000; // bytes after gzip -9: the first view opens on a slow phone within a second
const kCssMax = 15_000;
const out = process.argv[2] ?? 'dist';
const size = { js: 0, css: 0 };
for (const name of readdirSync(join(out, 'assets'))) {
    const kind = name.endsWith('.js') ? 'js' : name.endsWith('.css') ? 'css' : undefined;
    if (kind) size[kind] += gzipSync(readFileSync(join(out, 'assets', name)), { level: 9 }).length;
}
console.log(`script ${size.js} of ${kJsMax} bytes, style ${size.css} of ${kCssMax} bytes (gzip -9)`);
if (size.js === 0 || size.js > kJsMax || size.css > kCssMax) {
    console.error('size budget: not met');
    process.exit(1);
}
