// Pictures of the dashboard for looking at: node dev/shots.mjs http://127.0.0.1:8400/ OUT_FOLDER
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

const [address = 'http://127.0.0.1:8400/', out = 'shots'] = process.argv.slice(2);
const kFlags = [
    '--no-sandbox',
    '--disable-gpu',
    '--disable-quic',
    '--no-first-run',
    '--disable-background-networking',
    '--disable-component-update',
    '--disable-sync',
];
mkdirSync(out, { recursive: true });
const profile = mkdtempSync(join(tmpdir(), 'shots-'));
const context = await chromium.launchPersistentContext(profile, {
    executablePath: '/usr/bin/chromium',
    headless: true,
    args: kFlags,
});
try {
    const page = await context.newPage();
    page.on('console', (message) => message.type() === 'error' && console.log('console:', message.text()));
    page.on('pageerror', (error) => console.log('page:', error.message));
    for (const scheme of ['light', 'dark']) {
        await page.emulateMedia({ colorScheme: scheme });
        for (const [name, width, height] of [
            ['laptop', 1366, 768],
            ['phone', 390, 844],
        ]) {
            await page.setViewportSize({ width, height });
            await page.goto(`${address}#/crew`);
            await page.reload();
            await page.waitForTimeout(2500);
            await page.screenshot({ path: join(out, `${name}-${scheme}-live.png`) });
            if (name === 'phone')
                await page.screenshot({ path: join(out, `${name}-${scheme}-live-full.png`), fullPage: true });
            const tape = await page.getByTestId('tape').boundingBox();
            await page.mouse.click(tape.x + tape.width * 0.45, tape.y + tape.height * 0.35);
            await page.getByRole('button', { name: 'Show all' }).click();
            await page.waitForTimeout(1200);
            await page.screenshot({ path: join(out, `${name}-${scheme}-back.png`) });
            await page.goto(`${address}#/flights`);
            await page.waitForTimeout(800);
            await page.screenshot({ path: join(out, `${name}-${scheme}-log-book.png`) });
            await page.goto(`${address}#/crew/2026-05-16T143205Z-sanderling`);
            await page.waitForTimeout(1500);
            await page.getByTestId('rate').selectOption('10');
            await page.getByRole('button', { name: 'Play' }).click();
            await page.waitForTimeout(3500);
            await page.screenshot({ path: join(out, `${name}-${scheme}-replay.png`) });
        }
    }
} finally {
    await context.close();
    rmSync(profile, { recursive: true, force: true });
}
