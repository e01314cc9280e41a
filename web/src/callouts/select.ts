/**
 * What is called out as the cursor moves on: flight events, altitudes passed, fall rates, alerts. Each once, soon after it
 * was found; after a jump of the cursor nothing of what lies behind it. Pure but for what it has said.
 */
import type { TapeSeconds } from '../stream/clocks';
import type { TapeEvent } from '../stream/messages';
import { estimate } from '../tape/estimates';
import { find_event } from '../tape/events';
import { bearing_deg, vehicle_place } from '../places/landing';
import { motion_at } from '../tape/motion';
import type { Tape } from '../tape/tape';
import type { CallOutKind } from '../text/callouts';
import { format_bearing } from '../text/format';
import { sentence_in, unit_of, with_sigma, type Quantity, type Units } from '../text/viewer';
import { aloud, digits_aloud, kCallOutWords } from './wording';

/** Later ones of equal weight take the place of earlier ones that still wait. */
export type Weight = 'altitude' | 'figure' | 'event' | 'caution' | 'warning';

export interface CallOut {
  text: string;
  weight: Weight;
  kind: CallOutKind;
}

export interface Wanted {
  kinds: ReadonlySet<CallOutKind>;
  /** Altitudes are called out at every multiple of this, in the viewer's unit; 0: none. */
  every: number;
  units: Units;
}

const kLate_s = 3; // a page in the background looks once a second
const kJump_s = 10; // further on than any pause of a page
const kRateAfter_s = 3; // a parachute takes that long to fill
const kFresh_s = 1;

export class CallOuts {
  private readonly said = new Set<number>();
  private last_s: TapeSeconds = NaN;
  private level: number | undefined;
  private rate_due_s: TapeSeconds = Infinity;

  look(tape: Tape, vehicle: number, wanted: Wanted): CallOut[] {
    const now_s = tape.cursor_s;
    const moved_s = now_s - this.last_s;
    if (!(moved_s >= -0.5 && moved_s <= kJump_s)) this.jump(tape, now_s);
    this.last_s = now_s;
    return [
      ...this.alerts(tape, vehicle, now_s, wanted.units),
      ...this.events(tape, vehicle, now_s, wanted.units),
      ...this.figures(tape, vehicle, now_s, wanted),
    ].filter((one) => wanted.kinds.has(one.kind));
  }

  private jump(tape: Tape, now_s: TapeSeconds): void {
    this.said.clear();
    for (const event of tape.log.events) if (found_s(event) <= now_s) this.said.add(event.id);
    this.level = undefined;
    this.rate_due_s = Infinity;
  }

  /** Events found of late that have not been said. */
  private fresh(tape: Tape, vehicle: number, now_s: TapeSeconds): TapeEvent[] {
    return tape.log.events.filter((event) => {
      const t_s = found_s(event);
      if (t_s > now_s || (event.vehicle >= 0 && event.vehicle !== vehicle) || this.said.has(event.id)) return false;
      this.said.add(event.id);
      return now_s - t_s <= kLate_s;
    });
  }

  private alerts(tape: Tape, vehicle: number, now_s: TapeSeconds, units: Units): CallOut[] {
    const standing = tape.log.alerts_at(now_s);
    return standing.flatMap(({ event, acknowledged, shelved_until_s }): CallOut[] => {
      const { level } = event;
      if (level !== 'caution' && level !== 'warning') return [];
      if (this.said.has(event.id) || acknowledged || !Number.isNaN(shelved_until_s)) return [];
      this.said.add(event.id);
      if (now_s - found_s(event) > kLate_s) return [];
      // A warning is said as the band says it: with time, place and what to do; a caution as briefly as there.
      const sentence = tape.log.sentence_at(vehicle, now_s);
      const { alert, alert_text } = sentence?.data ?? {};
      const brief = alert === event.key ? alert_text : undefined;
      const text =
        level === 'warning' && sentence?.level === 'warning' ? sentence.text : `${String(brief ?? event.text)}.`;
      const words = `${kCallOutWords.alert[level]} ${aloud(sentence_in(text, units), units)}`;
      return [{ text: words, weight: level, kind: 'alerts' }];
    });
  }

  private events(tape: Tape, vehicle: number, now_s: TapeSeconds, units: Units): CallOut[] {
    return this.fresh(tape, vehicle, now_s).flatMap((event): CallOut[] => {
      const say = (text: string, kind: CallOutKind): CallOut[] => [{ text, weight: 'event', kind }];
      switch (event.event) {
        case 'liftoff':
        case 'burnout':
          return say(kCallOutWords[event.event], 'liftoff');
        case 'apogee':
          return say(kCallOutWords.apogee(apogee_aloud(tape, vehicle, units)), 'apogee');
        case 'drogue_out':
        case 'main_out':
          this.rate_due_s = now_s + kRateAfter_s;
          return say(kCallOutWords[event.event], 'parachutes');
        case 'touchdown':
          return say(touchdown_aloud(tape, vehicle, units), 'touchdown');
        default:
          return [];
      }
    });
  }

  private figures(tape: Tape, vehicle: number, now_s: TapeSeconds, { every, units }: Wanted): CallOut[] {
    const happened = tape.log.happened(vehicle, now_s);
    const flying = find_event(happened, 'liftoff') !== undefined && find_event(happened, 'touchdown') === undefined;
    const { altitude_m, vertical_speed_mps } = motion_at(tape, vehicle);
    if (!flying || !(now_s - altitude_m.measured_s <= kFresh_s)) return [];
    const found: CallOut[] = [];
    if (now_s >= this.rate_due_s) {
      this.rate_due_s = Infinity;
      const text = kCallOutWords.falling(said('speed', -vertical_speed_mps.value, vertical_speed_mps.sigma, units));
      if (vertical_speed_mps.value < 0) found.push({ text, weight: 'figure', kind: 'fall_rate' });
    }
    const { gain, spoken } = unit_of('length', units);
    const level = every > 0 ? Math.floor((altitude_m.value * gain) / every) : NaN;
    const before = this.level;
    this.level = level;
    if (before === undefined || Number.isNaN(level) || level === before) return found;
    // Going up the mark just passed, going down the one just left.
    const mark = Math.max(level, before) * every;
    if (mark > 0)
      found.push({ text: kCallOutWords.altitude(`${mark} ${spoken}`), weight: 'altitude', kind: 'altitude' });
    return found;
  }
}

const found_s = (event: TapeEvent): TapeSeconds => Math.max(event.t_s, event.t_found_s);

function said(quantity: Quantity, value: number, sigma: number, units: Units): string {
  const { text } = with_sigma(quantity, value, sigma, units);
  return Number.isFinite(value) ? `${text} ${unit_of(quantity, units).spoken}` : '';
}

function apogee_aloud(tape: Tape, vehicle: number, units: Units): string {
  const derived = estimate(tape, vehicle, 'derived');
  const { altitude_m } = motion_at(tape, vehicle);
  const reached = Math.max(derived.value('altitude_max_m') || 0, altitude_m.value || 0);
  return reached > 0 ? said('length', reached, altitude_m.sigma, units) : '';
}

function touchdown_aloud(tape: Tape, vehicle: number, units: Units): string {
  const place = vehicle_place(tape, vehicle);
  if (!place) return kCallOutWords.touchdown('', '');
  const bearing = format_bearing(bearing_deg(place.east_m, place.north_m));
  return kCallOutWords.touchdown(
    said('length', Math.hypot(place.east_m, place.north_m), NaN, units),
    /^\d/.test(bearing) ? digits_aloud(bearing.replace('°', '')) : '',
  );
}
