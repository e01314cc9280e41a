// A stand-in server for working on the dashboard: serves a build (argument `--dist`) and the stream with an invented flight.
// node dev/mock.mjs --port 8400 --at 90 --dist dist   starts with 90 s of flight behind it.
import { readFileSync, existsSync } from 'node:fs';
import { createServer } from 'node:http';
import { join } from 'node:path';
import { WebSocketServer } from 'ws';
import { entered, events, handled, named } from './events.mjs';
import { debrief } from './debrief.mjs';
import { act, keys } from './ground.mjs';
import { vehicles } from './ground_about.mjs';
import { done, shocks } from './ground_rows.mjs';
import { roles, rows, tables } from './tables.mjs';
import { kFlightEnd_s, kGround } from './truth.mjs';

const option = (name, fallback) => {
    const place = process.argv.indexOf(`--${name}`);
    return place < 0 ? fallback : process.argv[place + 1];
};
const kOverlay = [
    {
        kind: 'line',
        name: 'track',
        parts: [
            [
                [22.098, 14.072],
                [22.1019, 14.0788],
                [22.108, 14.086],
            ],
        ],
    },
    {
        kind: 'area',
        name: 'people',
        parts: [
            [
                [22.1, 14.076],
                [22.0998, 14.078],
                [22.1006, 14.0782],
                [22.1, 14.076],
            ],
        ],
    },
];
const kEnd_s = Number(option('end', String(kFlightEnd_s - 1)));
const dist = option('dist', 'dist');
const kUtcStart_ms = 1779028325000;
const key = option('key', 'lantern');
let started_ms = Date.now() - Number(option('at', '0')) * 1000;
const new_id = () => `${new Date().toISOString().slice(0, 19).replaceAll(':', '')}Z-sanderling`;
let live_id = new_id();
const everybody = option('operator', '') === 'yes';
/** What a device may do stands in its cookies; a stand-in trusts them. */
const is_operator = (request) => everybody || /role=operator/.test(request.headers.cookie ?? '');
const position_of = (request) => /position=(\w+)/.exec(request.headers.cookie ?? '')?.[1] ?? '';
const now_s = () => Math.min(kEnd_s, (Date.now() - started_ms) / 1000);
const own_events = [];
const meta = new Map([
    [
        '2026-05-16T143205Z-sanderling',
        { name: 'Second hop, long delay', notes: 'Wind 4 m/s from 250°. Drogue opened 0.4 s after apogee.' },
    ],
]);
const finished = new Map(
    ['2026-05-16T143205Z-sanderling', '2026-05-16T101502Z-sanderling', '2026-05-02T090011Z-sanderling'].map((id) => [
        id,
        kEnd_s,
    ]),
);

const recording = (id) => ({
    id,
    name: meta.get(id)?.name ?? '',
    notes: meta.get(id)?.notes ?? '',
    t_start_ns: `${kUtcStart_ms}000000`,
    utc_start_ns: `${kUtcStart_ms - (finished.has(id) ? 86400000 : 0)}000000`,
    t_end_s: finished.get(id) ?? now_s(),
    live: id === live_id,
    closed: id !== live_id,
    file_bytes: 4_812_000,
    damage: '',
});
const description = (id) => ({
    version: 1,
    recording: recording(id),
    software: '0.1.0',
    site: {
        name: 'Lantern Flat',
        pad: { latitude_deg: 22.1023, longitude_deg: 14.0794, height_m: 1187 },
        station: { latitude_deg: 22.1001, longitude_deg: 14.0771, height_m: 1187.5 },
        declination_deg: 12.4,
        antenna_beamwidth_deg: 42,
        boundary: [
            [22.0905, 14.061],
            [22.0912, 14.0988],
            [22.1098, 14.1025],
            [22.1161, 14.0832],
            [22.1122, 14.0599],
        ],
        has_terrain: false,
    },
    vehicles: kGround ? vehicles : vehicles.slice(0, 1).map((one) => ({ ...one, procedures: [], readiness: null })),
    links: [{ name: 'radio', uri: 'serial:/dev/ttyUSB0?baud=57600', vehicle: 0 }],
    tables: tables.map(
        ({ row, list, until, rail_period_s, ...table }) => (void row, void list, void until, void rail_period_s, table),
    ),
});
const finite = (value) => (Number.isFinite(value) ? value : null);
const latest = (t_s) =>
    tables.flatMap((table) => {
        const begin_s = table.list ? 0 : Math.max(0, (table.until ? Math.min(t_s, table.until) : t_s) - 11);
        const last = rows(table, begin_s, t_s + 1e-9, 'found').at(-1);
        return last ? [{ table: table.id, t_s: last[0], values: last[1].map(finite) }] : [];
    });

function series(table, names, from, to, points) {
    const places = names.map((name) => table.columns.findIndex((column) => column.name === name));
    const all = rows(table, from, to);
    const decimated = all.length > points;
    const bins = [];
    if (decimated) {
        const width = (to - from) / points;
        for (const [t, values] of all) {
            const bin = Math.floor((t - from) / width);
            const last = bins.at(-1);
            if (last?.bin === bin) last.rows.push(values);
            else bins.push({ bin, t: from + (bin + 0.5) * width, rows: [values] });
        }
    } else all.forEach(([t, values]) => bins.push({ t, rows: [values] }));
    const n = bins.length;
    const bytes = Buffer.alloc(16 + 8 * n * (1 + places.length * (decimated ? 3 : 1)));
    bytes.write('TSS1', 0, 'ascii');
    bytes.writeUInt16LE(table.id, 4);
    bytes.writeUInt16LE(places.length, 6);
    bytes.writeUInt32LE(n, 8);
    bytes.writeUInt32LE(decimated ? 1 : 0, 12);
    let at = 16;
    const put = (value) => {
        bytes.writeDoubleLE(value, at);
        at += 8;
    };
    bins.forEach((bin) => put(bin.t));
    const folds = [(l) => Math.min(...l), (l) => Math.max(...l), (l) => l.reduce((a, b) => a + b, 0) / l.length];
    for (const fold of decimated ? folds : folds.slice(0, 1)) {
        for (const place of places) bins.forEach((bin) => put(fold(bin.rows.map((values) => values[place]))));
    }
    return bytes;
}

function block_message(from, to, seq, replay) {
    const blocks = tables
        .map((table) => ({ table, found: rows(table, from, to, 'found') }))
        .filter(({ found }) => found.length > 0);
    const size = blocks.reduce((sum, { table, found }) => sum + 8 + 8 * found.length * (1 + table.columns.length), 24);
    const bytes = Buffer.alloc(size);
    bytes[0] = 1;
    bytes[1] = 1;
    bytes.writeUInt16LE(replay ? 1 : 0, 2);
    bytes.writeUInt32LE(blocks.length, 4);
    bytes.writeBigUInt64LE(BigInt(seq), 8);
    bytes.writeDoubleLE(Math.max(0, ...blocks.map(({ found }) => found.at(-1)[0])), 16);
    let at = 24;
    for (const { table, found } of blocks) {
        bytes.writeUInt16LE(table.id, at);
        bytes.writeUInt16LE(table.columns.length, at + 2);
        bytes.writeUInt32LE(found.length, at + 4);
        at += 8;
        const put = (value) => {
            bytes.writeDoubleLE(value, at);
            at += 8;
        };
        found.forEach(([t]) => put(t));
        table.columns.forEach((_, c) => found.forEach(([, values]) => put(values[c])));
    }
    return bytes;
}

const kCsp =
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data: blob:; manifest-src 'self'; worker-src 'self'; base-uri 'none'; frame-ancestors 'none'; form-action 'none'";
const kTypes = {
    html: 'text/html; charset=utf-8',
    js: 'text/javascript',
    css: 'text/css',
    svg: 'image/svg+xml',
    webmanifest: 'application/manifest+json',
};
// The worked example of protocol/LINK.md, and one like it that was damaged on the way.
const kGoodFrame = {
    id: 2,
    link: 'radio',
    octets: 24,
    frame_verdict: 'good',
    decode_verdict: 'good',
    packet_verdict: 'accepted',
    apid: 33,
    sequence_count: 258,
    hex: '050821c102020d0c010203 7d031704010261620103 8b7300'.replaceAll(' ', ''),
};
const kBadFrame = {
    ...kGoodFrame,
    id: 1,
    octets: 90,
    frame_verdict: 'bad_crc',
    packet_verdict: 'bad_frame',
    apid: null,
    sequence_count: null,
    hex: `5a0821c102020d${'3c7e5501a9'.repeat(16)}9b4100`,
};

const http = createServer((request, response) => {
    const url = new URL(request.url, 'http://mock');
    const json = (body, status = 200) => {
        response.writeHead(status, { 'Content-Type': 'application/json' });
        response.end(JSON.stringify(body));
    };
    const parts = url.pathname.split('/').slice(1);
    if (parts[0] !== 'api') {
        const path = join(dist, url.pathname === '/' ? 'index.html' : url.pathname);
        if (!existsSync(path)) return json({ error: 'no such page' }, 404);
        response.writeHead(200, {
            'Content-Type': kTypes[path.split('.').pop()] ?? 'text/plain',
            'Content-Security-Policy': kCsp,
        });
        return response.end(readFileSync(path));
    }
    if (request.method === 'POST') {
        let text = '';
        request.on('data', (part) => (text += part));
        request.on('end', () => {
            const body = parts[1] === 'import' ? {} : JSON.parse(text || '{}');
            const free = parts[1] === 'jobs';
            if ((free || is_operator(request)) && parts[3] !== 'bookmarks') {
                const answer = debrief('POST', url, body);
                if (answer) return json(answer, free ? 202 : 200);
            }
            if (parts[1] === 'session' && body.position) {
                if (keys.get(body.key) !== body.position)
                    return json({ error: 'that is not the key of this position' }, 403);
                response.setHeader('Set-Cookie', `position=${body.position}; Path=/; HttpOnly; SameSite=Strict`);
                return json({});
            }
            const answers = parts[2] === 'answer' && body.position === position_of(request);
            if (parts[1] === 'session') {
                if (body.key !== key)
                    return json(
                        {
                            error: 'this is not the operator key, which was printed when the server started, nor that of a link which still counts',
                        },
                        403,
                    );
                response.setHeader('Set-Cookie', 'role=operator; Path=/; HttpOnly; SameSite=Strict');
            } else if (!is_operator(request) && !answers)
                return json({ error: 'only the operator may do this; enter the operator key' }, 403);
            if (parts[3] === 'bookmarks')
                own_events.push({
                    ...entered('marker', body.t_s, body.text),
                    key: `marker/${own_events.length + 1}`,
                    t_found_s: now_s(),
                });
            if (parts[3] === 'meta') meta.set(decodeURIComponent(parts[2]), body);
            const handling = {
                acknowledge: 'alert_acknowledged',
                shelve: 'alert_shelved',
                unshelve: 'alert_unshelved',
            }[parts[2]];
            if (handling) {
                const until = parts[2] === 'shelve' ? { until_s: now_s() + body.for_s } : {};
                own_events.push({ ...handled(handling, now_s(), body.key, until), t_found_s: now_s() });
            }
            const made = kGround && parts[1] === 'live' ? act(now_s(), parts[2], body) : undefined;
            if (made) return json(made, made.error ? 400 : 200);
            if (parts[2] === 'recording') start_recording(body.name);
            if (parts[2] === 'marker' || parts[2] === 'note') {
                const more = { key: `${parts[2]}/${own_events.length + 1}`, t_found_s: now_s() };
                own_events.push({ ...entered(parts[2], body.t_s ?? now_s(), body.text), ...more });
            }
            const before = own_events.find((one) => one.key === body.key && /^(marker|note)\//.test(one.key));
            if (before && (parts[2] === 'change_mark' || parts[2] === 'take_back')) {
                const text = body.text ?? before.text;
                const data = body.text === undefined ? { text, taken_back: true } : { text };
                own_events.push({ ...entered(before.kind, before.t_s, text), key: body.key, data, t_found_s: now_s() });
            }
            if (parts[2] === 'flight_name') own_events.push({ ...named(now_s(), body.name), t_found_s: now_s() });
            return json({});
        });
        return undefined;
    }
    const debriefed = debrief(request.method, url, {});
    if (debriefed) return json(debriefed, debriefed.error ? 404 : 200);
    if (parts[1] === 'session') {
        const position = position_of(request);
        const role = is_operator(request) ? 'operator' : 'viewer';
        return json({ role, version: '0.1.0', ...(position && { position }) });
    }
    if (parts[1] === 'map')
        return json({ overlays: [{ title: 'ground', shapes: kOverlay }], tiles: null, problems: [] });
    if (parts[1] !== 'recordings') return json({ error: 'no such request' }, 404);
    if (parts.length === 2)
        return json({
            recordings: [live_id, ...finished.keys()].map((id) => ({ ...recording(id), vehicles: 'sanderling' })),
            live: live_id,
        });
    const id = parts[2] === 'live' ? live_id : decodeURIComponent(parts[2]);
    const end = finished.get(id) ?? now_s();
    if (parts[3] === 'description') return json(description(id));
    if (parts[3] === 'events') return json({ events: [...events, ...own_events, ...done].filter((e) => e.t_s <= end) });
    if (parts[3] === 'latest') return json({ latest: latest(Number(url.searchParams.get('t_s'))) });
    if (parts[3] === 'download') {
        response.writeHead(200, { 'Content-Disposition': `attachment; filename="${id}.sqlite"` });
        return response.end('SQLite format 3\0');
    }
    if (parts[3] === 'shocks') return json(shocks(end));
    if (parts[3] === 'frames') {
        const good = url.searchParams.get('newest') === 'good';
        return json({ frames: [{ ...(good ? kGoodFrame : kBadFrame), t_rx_s: end - (good ? 0.1 : 42) }] });
    }
    if (parts[3] === 'series') {
        const table = tables[Number(url.searchParams.get('table'))];
        const from = Number(url.searchParams.get('from_s') ?? 0);
        const to = Math.min(end, Number(url.searchParams.get('to_s') ?? end));
        response.writeHead(200, { 'Content-Type': 'application/vnd.turnstone.series' });
        return response.end(
            series(
                table,
                url.searchParams.get('columns')?.split(',') ?? table.columns.map((column) => column.name),
                from,
                to,
                Number(url.searchParams.get('points') ?? 1000),
            ),
        );
    }
    return json({ error: 'no such request' }, 404);
});

/** Ends the live recording and begins another, with the flight from its start. */
function start_recording(name) {
    finished.set(live_id, now_s());
    live_id = new_id();
    meta.set(live_id, { name, notes: '' });
    started_ms = Date.now();
    own_events.length = 0;
    for (const begin of begins) begin();
}

const begins = new Set();
const sockets = new WebSocketServer({ server: http, path: '/api/stream' });
sockets.on('connection', (socket, request) => {
    let replay;
    let seq = 0;
    let told = now_s();
    const send = (message) => socket.send(JSON.stringify(message));
    const hello = (id, mode) =>
        send({
            type: 'hello',
            version: 1,
            role: is_operator(request) ? 'operator' : 'viewer',
            server_id: 'mock',
            description: description(id),
            roles,
            mode,
            latest: latest(mode === 'live' ? now_s() : 0),
        });
    const tell = (more = {}) =>
        send({
            type: 'replay',
            cursor_s: replay.cursor,
            playing: replay.playing,
            rate: replay.rate,
            t_end_s: kEnd_s,
            ...more,
        });
    const begin = () => {
        replay = undefined;
        told = now_s();
        hello(live_id, 'live');
    };
    begin();
    begins.add(begin);
    const beat = setInterval(() => {
        const now = now_s();
        if (replay) {
            if (!replay.playing) return;
            const next = Math.min(kEnd_s, replay.cursor + 0.05 * replay.rate);
            socket.send(block_message(replay.cursor, next, seq++, true));
            replay.cursor = next;
            if (next >= kEnd_s) replay.playing = false;
            if (seq % 2 === 0 || !replay.playing) tell();
            return;
        }
        if (now > told) socket.send(block_message(told, now, seq++, false));
        for (const e of [...events, ...own_events, ...done]) if (e.t_found_s > told && e.t_found_s <= now) send(e);
        told = now;
    }, 50);
    const status = setInterval(
        () =>
            send({
                type: 'status',
                t_s: now_s(),
                viewers: sockets.clients.size,
                utc_ns: `${Math.round(kUtcStart_ms + now_s() * 1000)}000000`,
                links: [
                    {
                        name: 'radio',
                        state: 'open',
                        detail: '',
                        bytes: Math.floor(now_s() * 5210),
                        t_last_s: now_s() - 0.02,
                    },
                ],
                recorder: {
                    recording: true,
                    fault: '',
                    file_bytes: Math.floor(now_s() * 21000),
                },
            }),
        1000,
    );
    socket.on('message', (data) => {
        const request = JSON.parse(String(data));
        if (request.type === 'live') begin();
        else if (request.type === 'time') send({ type: 'time', t_s: now_s(), request: request.request });
        else if (request.type === 'lead' || request.type === 'follow') return;
        else if (request.type === 'open') {
            replay = { cursor: 0, playing: false, rate: 1 };
            hello(request.recording, 'replay');
            tell({ latest: latest(0) });
        } else if (!replay) send({ type: 'error', message: 'no recording is open; send open first' });
        else if (request.type === 'seek') {
            replay.cursor = request.t_s;
            tell({ latest: latest(replay.cursor) });
        } else if (request.type === 'play') {
            replay.playing = true;
            replay.rate = request.rate ?? 1;
            tell();
        } else if (request.type === 'pause') {
            replay.playing = false;
            tell({ latest: latest(replay.cursor) });
        } else if (request.type === 'step') {
            replay.cursor += 0.005 * request.packets;
            tell({ latest: latest(replay.cursor) });
        }
    });
    socket.on('close', () => {
        begins.delete(begin);
        clearInterval(beat);
        clearInterval(status);
    });
});
http.listen(Number(option('port', '8400')), '127.0.0.1', () =>
    console.log(`mock on http://127.0.0.1:${http.address().port}/`),
);
