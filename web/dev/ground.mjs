// A day of ground tests for the stand-in server (`--ground`): one procedure, one readiness board, a charge, a boat and a
// weather station. What is done is kept as events, and every row is a function of them and of the time, as on the real one.
// `--fired T`: the test was begun before and its charge fired at T seconds.
import { kVehicle, procedures } from './ground_about.mjs';
import { done, kEdges, kFound_s, past } from './ground_rows.mjs';

const fired = process.argv.indexOf('--fired');
const kFired_s = fired < 0 ? NaN : Number(process.argv[fired + 1]);

let ids = 1_000_000;
const say = (t_s, event, data, text, more = {}) =>
    done.push({
        type: 'event',
        id: ++ids,
        t_s,
        t_found_s: t_s,
        t_sigma_s: 0,
        kind: 'procedure',
        level: 'note',
        vehicle: 0,
        key: `${kVehicle}/${event}/${ids}`,
        event,
        text,
        advice: '',
        data,
        ...more,
    });

function fire(t) {
    say(t, 'charge_fired', { charge: 'drogue' }, 'Charge drogue fired');
    for (const [edge, [after_s, sigma_s]] of Object.entries(kEdges))
        say(t + after_s, 'edge_found', { charge: 'drogue', edge, after_s, sigma_s }, `Charge drogue: ${edge}`, {
            t_found_s: t + kFound_s,
        });
    for (const [name, , , limit] of [
        ['shock', 133, 24, 157],
        ['battery', 7.78, 0.38, 7.4],
        ['lid_off', 0.0186, 0.0114, 0.03],
    ])
        say(
            t + kFound_s,
            'check_decided',
            { check: name, procedure: 'separation-test', state: 'holds', limit },
            `${name}: holds`,
        );
}
function deed(t, what, id, by, note) {
    const found = procedures[0].steps.find((one) => one.id === id);
    if (!found) return `no step "${id}"`;
    const word = { done: 'step_done', waive: 'step_waived', repeat: 'step_repeated' }[what];
    say(t, word, { procedure: 'separation-test', step: id, title: found.title, by, note }, `${found.title} ${what}`);
    if (id === 'fire' && what === 'done') fire(t + 0.2);
    return undefined;
}
const board = { kind: 'readiness', vehicle: -1 };

/** Only the size of a QR code. */
const kCode =
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 3 3"><path fill="#fff" d="M0 0h3v3H0z"/><path d="M0 0h1v1H0zM2 0h1v1H2zM1 1h1v1H1z"/></svg>';

/** Position keys that were given out, and what each device may answer for is the mock's business. */
export const keys = new Map();

/** What a request does; an answer for it, or undefined when it is none of these. */
export function act(t, what, body) {
    const { by = '', note = '' } = body;
    switch (what) {
        case 'countdown': {
            const last = done.findLast((one) => one.kind === 'countdown' && one.t_s <= t);
            const held = last?.event === 'countdown_held';
            const left_s = body.left_s ?? (last ? last.data.left_s - (held ? 0 : t - last.t_s) : 0);
            const word = { run: 'runs', resume: 'runs', hold: 'held', off: 'off' }[body.step];
            const why = body.reason ? { reason: body.reason } : {};
            say(t, `countdown_${word}`, word === 'off' ? {} : { left_s, ...why }, word, {
                kind: 'countdown',
                vehicle: -1,
            });
            return {};
        }
        case 'procedure':
            if (body.do === 'begin')
                say(
                    t,
                    'procedure_begun',
                    {
                        procedure: body.procedure,
                        title: procedures[0].title,
                        by,
                        run: past(t, 'procedure_begun').length + 1,
                    },
                    'begun',
                );
            else
                say(
                    t,
                    'procedure_ended',
                    { procedure: body.procedure, title: procedures[0].title, by, verdict: 'passed' },
                    'ended',
                );
            return {};
        case 'step': {
            const error = deed(t, body.do, body.step, by, note);
            return error ? { error } : {};
        }
        case 'statement':
            say(
                t,
                'statement',
                { check: body.check, holds: body.holds, by, note },
                `${body.check}: ${body.holds ? 'confirmed' : 'denied'}`,
            );
            return {};
        case 'entered':
            say(
                t,
                'entered',
                { name: body.name, value: body.value, unit: 'm/s', by },
                `${body.name} ${body.value}`,
                board,
            );
            return {};
        case 'poll':
            say(t, 'poll_asked', { position: body.position }, `${body.position} asked`, board);
            return {};
        case 'answer':
            say(
                t,
                'poll_answered',
                { position: body.position, go: body.go, by, note },
                `${body.position}: ${body.go ? 'go' : 'no-go'}`,
                board,
            );
            return {};
        case 'position': {
            const key = `key-${body.position}`;
            keys.set(key, body.position);
            return { link: `#/ready?position=${body.position}&key=${key}`, svg: kCode };
        }
        default:
            return undefined;
    }
}

if (Number.isFinite(kFired_s)) {
    act(kFired_s - 60, 'procedure', { do: 'begin', procedure: 'separation-test', by: 'RK' });
    procedures[0].steps.slice(0, 4).forEach(({ id }, i) => deed(kFired_s - 50 + 10 * i, 'done', id, 'RK', ''));
    deed(kFired_s - 0.2, 'done', 'fire', 'RK', '');
    deed(kFired_s + 2, 'done', 'wait', 'LM', '');
    for (const [position, go] of [
        ['range_safety', true],
        ['launch', true],
        ['electronics', true],
        ['weather', false],
    ]) {
        act(kFired_s - 40, 'poll', { position });
        act(kFired_s - 30, 'answer', { position, go, by: 'KL', note: go ? '' : 'gusts' });
    }
    say(kFired_s - 20, 'countdown_held', { left_s: 300 }, 'Hold', { kind: 'countdown', vehicle: -1 });
}
