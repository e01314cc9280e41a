// What happens in the invented flight.
import { apogee_t, kLiftoff_s, main_t, touchdown_t } from './truth.mjs';

const kVehicle = 'sanderling';
let ids = 0;
const event = (t_s, kind, level, key, text, data = {}) => ({
    type: 'event',
    id: ++ids,
    t_s,
    t_found_s: t_s + 0.08,
    t_sigma_s: 0.02,
    kind,
    level,
    vehicle: kind === 'link_state' || key.startsWith('link/') ? -1 : 0,
    key,
    text,
    data,
});
const phase = (t_s, name, text) => event(t_s, 'phase', 'note', `${kVehicle}/phase/${name}`, text);
const flight_event = (t_s, name, text) => event(t_s, 'flight_event', 'note', `${kVehicle}/flight/${name}`, text);

export const events = [
    event(0.02, 'recording', 'note', 'recording/started', 'Recording started'),
    event(0.02, 'recording', 'note', `${kVehicle}/missing/engine`, 'No engine estimate: needs the role engine_speed', {
        estimate: 'engine',
        needs: ['engine_speed'],
        any: false,
    }),
    phase(0.1, 'on_the_rail', 'on the rail'),
    event(8.3, 'marker', 'note', 'operator/marker', 'Igniter connected'),
    flight_event(kLiftoff_s, 'liftoff', 'Liftoff'),
    phase(kLiftoff_s, 'under_thrust', 'under thrust'),
    flight_event(kLiftoff_s + 2.1, 'burnout', 'Burnout'),
    phase(kLiftoff_s + 2.1, 'coasting', 'coasting'),
    flight_event(apogee_t, 'apogee', 'Apogee'),
    phase(apogee_t + 0.05, 'under_drogue', 'under drogue'),
    flight_event(apogee_t + 0.4, 'drogue_out', 'Drogue out'),
    event(apogee_t + 0.4, 'flight_event', 'note', `${kVehicle}/pulse/pressure`, 'Pressure pulse of 900 Pa for 90 ms'),
    event(61.6, 'alert_raised', 'caution', 'link/radio/down', 'Link radio: no data'),
    event(64.3, 'alert_cleared', 'caution', 'link/radio/down', 'Link radio: open'),
    event(
        100,
        'alert_raised',
        'warning',
        `${kVehicle}/example/warning`,
        'An example of a warning, so that its mark can be looked at',
    ),
    event(103, 'alert_cleared', 'warning', `${kVehicle}/example/warning`, 'The example is over'),
    event(
        104,
        'alert_raised',
        'advisory',
        `${kVehicle}/estimate/landing/outside_boundary`,
        '3 % of predicted landings lie outside the boundary. Advisory: the range safety officer decides',
    ),
    flight_event(main_t, 'main_out', 'Main out'),
    phase(main_t, 'under_main', 'under main'),
    flight_event(touchdown_t, 'touchdown', 'Touchdown'),
    phase(touchdown_t, 'down', 'down'),
].sort((a, b) => a.t_s - b.t_s);
