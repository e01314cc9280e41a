// What the people of the stand-in server wrote down: a procedure, a readiness board, and the vehicles they are about.
export const kVehicle = 'sanderling';

const check = (id, title, required, more = {}) => ({ id, title, why: '', severity: 'must', required, ...more });
const drogue = (column) => ({ value: { table: 'charge/drogue', column } });
export const procedure_checks = [
    check('lid_off', 'Lid off', '≤ 30 ms', {
        most: 0.03,
        room: 0.03,
        why: 'A late lid opens late.',
        ...drogue('lid_off'),
    }),
    check('pulse', 'Pulse', '≥ 20 hPa', { least: 2000, room: 2000, ...drogue('pulse_peak') }),
    check('barometer_back', 'Barometer back', '≤ 500 ms', { most: 0.5, room: 0.5, ...drogue('barometer_back') }),
    check('shock', 'Shock', '≤ 157 m/s²', { most: 157, room: 157, ...drogue('shock') }),
    check('battery', 'Battery', '≥ 7.4 V', { least: 7.4, room: 0.84, ...drogue('battery_least') }),
    check('missed', 'Readings missed', '≤ 2', { most: 2, room: 2, severity: 'should', ...drogue('readings_missed') }),
    check('restarts', 'Reboots', '≤ 0', drogue('restarts')),
    check('seen', 'Lid seen to leave', 'confirmed', {
        statement: true,
        why: 'The record can miss what everybody saw.',
    }),
];
const step = (id, kind, title, more = {}) => ({ id, kind, title, text: '', caution: '', checks: [], ...more });
export const procedures = [
    {
        id: 'separation-test',
        title: 'Tethered separation test',
        steps: [
            step('clear', 'instruct', 'Range clear, tether set', {
                text: 'Two people look at the tether, one at the range.',
            }),
            step('pressure', 'instruct', 'Site pressure entered'),
            step('agree', 'check', 'Electronics on, sensors agree'),
            step('arm', 'instruct', 'Arm, by hand at the stand', {
                text: 'Only the person with the arming key is at the stand.',
                caution: 'A charge can fire from here on. Eye and ear protection, nobody in line with the lid.',
            }),
            step('fire', 'instruct', 'Drogue charge', {
                text: 'Fired by the wired box, not by this program.',
                caution: 'Everybody behind the line. Call it aloud before it is fired.',
            }),
            step('wait', 'instruct', 'Wait 60 s, stay clear'),
            step('disarm', 'instruct', 'Disarm, then look at the lid', {
                text: 'Tick when done. The safety officer decides who goes.',
                caution: 'If it did not fire, wait 60 s and treat the charge as live.',
            }),
            step('photograph', 'hold', 'Photograph the lid and the line', { checks: ['seen'] }),
        ],
        checks: procedure_checks,
    },
];
const groups = [
    [
        'Vehicle',
        check('drogue_circuit', 'Drogue circuit', 'closed'),
        check('battery', 'Battery', '≥ 7.9 V', { room: 7.9 }),
        check('storage', 'Storage', '≥ 20 %'),
        check('version', 'Dictionary', "the dictionary's version"),
    ],
    [
        'Sensors',
        check('gravity', 'Gravity', '± 0.15 m/s²', { room: 0.15 }),
        check('barometer', 'Barometer − site', '± 1 hPa', { room: 100 }),
        check('satellites', 'Satellites', '≥ 6'),
        check('still', 'Not moved for', '≥ 120 s'),
    ],
    [
        'Links',
        check('loss', 'Radio loss', '≤ 5 %'),
        check('disk', 'Disk', '≥ 2 h'),
        check('alerts', 'Alerts', 'none raised'),
    ],
    [
        'Site',
        check('wind_mean', 'Wind, mean', '≤ 8.9 m/s', {
            most: 8.9,
            value: { vehicle: 'mast', table: 'estimate/wind', column: 'mean_mps' },
        }),
        check('wind_gust', 'Gust', '≤ 8.9 m/s', {
            most: 8.9,
            room: 8.9,
            entered: 'wind_gust_mps',
            why: 'Codes set 20 mph.',
            value: { vehicle: 'mast', table: 'estimate/wind', column: 'gust_mps' },
        }),
        check('cloud', 'Cloud base', 'confirmed', { statement: true, why: 'By eye: above the predicted apogee.' }),
        check('range_clear', 'Range clear', 'confirmed', { statement: true }),
        check('tested', 'Separation test', 'passed in the last 30 days', { severity: 'should' }),
    ],
];
export const positions = ['Range safety', 'Launch', 'Electronics', 'Weather', 'Recovery'];
export const id_of = (title) => title.toLowerCase().replaceAll(' ', '_');
export const readiness = {
    groups: groups.map(([title, ...checks]) => ({ title, checks })),
    positions: positions.map((title) => ({ id: id_of(title), title })),
};

export const vehicles = [
    { name: kVehicle, title: 'Sanderling', dictionary_version: '1.0.0', has_rocket: true, procedures, readiness },
    {
        name: 'petrel',
        title: 'Petrel',
        dictionary_version: '1.0.0',
        has_rocket: false,
        procedures: [],
        readiness: null,
    },
    { name: 'mast', title: 'Mast', dictionary_version: '1.0.0', has_rocket: false, procedures: [], readiness: null },
];
