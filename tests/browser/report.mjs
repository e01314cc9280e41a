// Reports as they are printed: each page that test_report makes, and that of a simulated flight, on A4 and on Letter paper. Nothing is cut or lies over
// something else, no page is empty, nothing is asked of anybody. PDFs and pictures are left to be looked at.
import { execFileSync } from "node:child_process";
import {
    mkdirSync,
    readdirSync,
    readFileSync,
    rmSync,
    writeFileSync,
} from "node:fs";
import { dirname, join } from "node:path";
import { pathToFileURL } from "node:url";
import { inflateSync } from "node:zlib";
import {
    check,
    inspect,
    kShots,
    kTurnstone,
    run_in_browser,
} from "./harness.mjs";

const kPages = join(dirname(dirname(kTurnstone)), "reports");
const kPapers = [
    { format: "A4", width_mm: 210 },
    { format: "Letter", width_mm: 215.9 },
];
const kMargin_mm = 14; // of @page in server/report/page/style.css
const kPixelsPerMm = 96 / 25.4;

/** How much text each page of a PDF shows: the text operators of its content stream (ISO 32000-1, 9.4.3). */
function text_by_page(pdf) {
    const text = pdf.toString("latin1");
    const stream_of = (number) => {
        const begin = text.search(new RegExp(`(?:^|\\n)${number} 0 obj\\b`));
        const from = text.indexOf("stream", begin);
        const start = from + (text[from + 6] === "\r" ? 8 : 7);
        return inflateSync(
            pdf.subarray(start, text.indexOf("endstream", start)),
        ).toString("latin1");
    };
    return [
        ...text.matchAll(/\/Type \/Page\b(?!s)[\s\S]*?\/Contents (\d+) 0 R/g),
    ].map(([, number]) => (stream_of(number).match(/\bT[jJ]\b/g) ?? []).length);
}

/** Texts of drawings that reach out of them or lie on each other, and what is wider than the paper. */
const faults_of = (page) =>
    page.evaluate(() => {
        const faults = [];
        for (const svg of document.querySelectorAll("figure svg")) {
            const frame = svg.getBoundingClientRect();
            const texts = [...svg.querySelectorAll("text")]
                .filter((text) => text.textContent.trim() !== "")
                .map((text) => ({
                    words: text.textContent,
                    box: text.getBoundingClientRect(),
                }));
            for (const { words, box } of texts)
                if (
                    box.left < frame.left - 1 ||
                    box.right > frame.right + 1 ||
                    box.top < frame.top - 2 ||
                    box.bottom > frame.bottom + 2
                )
                    faults.push(`over the edge: ${words}`);
            texts.forEach((one, i) => {
                for (const other of texts.slice(i + 1)) {
                    const wide =
                        Math.min(one.box.right, other.box.right) -
                        Math.max(one.box.left, other.box.left);
                    const high =
                        Math.min(one.box.bottom, other.box.bottom) -
                        Math.max(one.box.top, other.box.top);
                    if (wide > 1 && high > 3)
                        faults.push(`${one.words} over ${other.words}`);
                }
            });
        }
        const wide =
            document.documentElement.scrollWidth -
            document.documentElement.clientWidth;
        if (wide > 0) faults.push(`${wide} pixels wider than the paper`);
        for (const cell of document.querySelectorAll(
            "td, th, p, li, h1, h2, h3",
        ))
            if (cell.scrollWidth > cell.clientWidth + 1)
                faults.push(`wider than its place: ${cell.textContent}`);
        return faults;
    });

async function run(browser) {
    rmSync(kPages, { recursive: true, force: true });
    execFileSync(join(dirname(kTurnstone), "test_report"), [], {
        stdio: ["ignore", "ignore", "inherit"],
    });
    // What a recorded flight shows once it is over: its course against the prediction, drag, motor and parachutes.
    execFileSync(
        join(dirname(kTurnstone), "test_trials"),
        ["the printed report of a flight*"],
        { stdio: ["ignore", "ignore", "inherit"] },
    );
    const names = readdirSync(kPages).filter((name) => name.endsWith(".html"));
    check(
        "there are reports of each kind",
        [
            "flight",
            "simulated-flight",
            "ground-test",
            "poll",
            "empty",
            "hostile",
        ].every((name) => names.includes(`${name}.html`)),
        names.join(", "),
    );
    mkdirSync(kShots, { recursive: true });
    for (const name of names) {
        const page = await browser.newPage();
        const asked = [];
        const errors = [];
        page.on("request", (request) => asked.push(request.url()));
        page.on(
            "console",
            (message) =>
                message.type() === "error" && errors.push(message.text()),
        );
        page.on("dialog", (dialog) => {
            errors.push(`a dialog: ${dialog.message()}`);
            void dialog.dismiss();
        });
        await page.goto(pathToFileURL(join(kPages, name)).href);
        for (const { format, width_mm } of kPapers) {
            const what = `${name} on ${format}`;
            await page.emulateMedia({ media: "print" });
            await page.setViewportSize({
                width: Math.floor((width_mm - 2 * kMargin_mm) * kPixelsPerMm),
                height: 1000,
            });
            const faults = await faults_of(page);
            check(
                `${what}: nothing is cut, nothing lies over something else`,
                faults.length === 0,
                faults.slice(0, 20).join("\n        "),
            );
            const pdf = await page.pdf({
                format,
                printBackground: true,
                preferCSSPageSize: false,
                margin: {
                    top: "14mm",
                    right: "14mm",
                    bottom: "16mm",
                    left: "14mm",
                },
            });
            writeFileSync(
                join(
                    kShots,
                    `report-${name.replace(".html", "")}-${format}.pdf`,
                ),
                pdf,
            );
            const shown = text_by_page(pdf);
            check(
                `${what}: has pages, none of them empty`,
                shown.length > 0 && shown.every((count) => count > 5),
                shown.join(", "),
            );
        }
        await page.emulateMedia({ media: "screen" });
        await page.setViewportSize({ width: 900, height: 1000 });
        await inspect(page, name);
        check(
            `${name}: asks nothing of anybody`,
            asked.every((url) => url.startsWith("file:")) && asked.length === 1,
            asked.join(", "),
        );
        check(
            `${name}: no errors`,
            errors.length === 0,
            errors.join("\n        "),
        );
        await page.close();
    }
}

await run_in_browser(run);
