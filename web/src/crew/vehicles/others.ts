/** Every other vehicle in a few words: how it is, and whether anything is wrong with it. */
import type { Urgency } from '../../draw/strokes';
import { machine_strips, main_strips, stage_of } from '../../strips/arrangement';
import type { StripGroup } from '../../tape/strips';
import type { Tape } from '../../tape/tape';
import { format_age } from '../../text/format';
import { shown_unit } from '../../text/units';
import { measured_place } from '../../tape/flight/measured';
import { bearing_deg } from '../../places/landing';
import { format_bearing, format_fixed } from '../../text/format';
import { rounded } from '../../text/rounding';
import { told_decimals } from '../../text/told';

export interface OtherVehicle {
  vehicle: number;
  title: string;
  /** Of its newest row; empty without one. */
  age: string;
  old: boolean;
  /** Its sentence. */
  sentence: string;
  /** The most urgent alert that stands; undefined: none. */
  alert: { urgency: Urgency; text: string } | undefined;
  /** `name`: beside the figure, where the unit does not tell what it is; `title`: what it is in any case. */
  figures: { name: string; text: string; unit: string; title: string }[];
}

const kFigures = 3; // a line of them
const kOld_s = 5;

/** `groups_of`: the strips of a vehicle, which the caller keeps. */
export function select_others(
  tape: Tape,
  vehicle: number,
  groups_of: (vehicle: number) => readonly StripGroup[],
): OtherVehicle[] {
  const { cursor_s, log, description } = tape;
  const alerts = log.alerts_at(cursor_s).filter((alert) => Number.isNaN(alert.shelved_until_s));
  return description.vehicles.flatMap(({ title, rocket }, other) => {
    if (other === vehicle) return [];
    const age_s = cursor_s - newest_s(tape, other);
    const alert = alerts.find(({ event }) => event.vehicle === other)?.event;
    const stage = stage_of(log.phase_at(other, cursor_s)?.phase ?? '');
    const place = measured_place(tape, other);
    const strips = rocket
      ? main_strips(description, groups_of(other), stage)
      : machine_strips(description, groups_of(other));
    const figures = strips.flatMap((strip) => {
      const series = strip.series[0];
      const column = series && tape.tables[series.table]?.table.columns[series.column];
      if (!series || !column) return [];
      const { value } = tape.value_at_cursor(series.table, series.column);
      if (Number.isNaN(value)) return [];
      const decimals = Math.min(column.decimals, told_decimals(value));
      const { text } = rounded({ ...column, decimals }, value, NaN);
      const unit = shown_unit(strip.unit).symbol;
      const plain = rocket && unit !== '' && unit !== '%'; // a unit that says what it is of
      return [{ name: plain ? '' : strip.title, text, unit, title: strip.title }];
    });
    return [
      {
        vehicle: other,
        title,
        age: Number.isNaN(age_s) ? '' : `${format_age(age_s)} old`,
        old: age_s > kOld_s,
        // A sentence leads with the alert where one stands.
        sentence: rocket ? (log.sentence_at(other, cursor_s)?.text ?? '').replace(`${alert?.text}. `, '') : '',
        alert: alert && { urgency: alert.level === 'note' ? ('advisory' as const) : alert.level, text: alert.text },
        figures: [
          ...(place
            ? [
                {
                  name: '',
                  text: `${format_fixed(Math.hypot(place.east_m, place.north_m), 0)} m`,
                  unit: `at ${format_bearing(bearing_deg(place.east_m, place.north_m))}`,
                  title: 'from the pad',
                },
              ]
            : []),
          ...figures,
        ].slice(0, kFigures),
      },
    ];
  });
}

/** Time of the newest packet of a vehicle; NaN without one. */
function newest_s(tape: Tape, vehicle: number): number {
  const times = tape.description.tables
    .filter((table) => table.vehicle === vehicle && (table.kind === 'packet' || table.kind === 'batch'))
    .map((table) => tape.value_at_cursor(table.id, 0).t_s)
    .filter((t_s) => !Number.isNaN(t_s));
  return times.length > 0 ? Math.max(...times) : NaN;
}
