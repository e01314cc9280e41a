/** Words of the comparison. */
import { figure_words, interval_words, mean_of } from '../debrief/figures';
import { capital, format_fixed, format_fraction } from '../text/format';
import { lower } from '../text/title';
import type { Comparison, ComparedFigure, Outlier, Trend } from './answer';

export const kAligns = {
  liftoff: 'liftoff',
  burnout: 'burnout',
  apogee: 'apogee',
  drogue_out: 'drogue out',
} as const;
export type AlignName = keyof typeof kAligns;

export const kCompareWords = {
  working: 'Comparing flights',
  align: 'Clocks start at',
  series: 'Also draw',
  bands: '± of each',
  mean: 'Mean and spread',
  prediction: 'Predicted',
  prediction_about: 'predicted: on the rail',
  simulated: 'Simulated',
  simulated_about: 'simulated: the files flown again in the wind that was found',
  remove: 'Remove',
  report: 'Print',
  figures: 'Key figures',
  mean_spread: 'mean, spread',
  below: 'under it: 95 % of the mean, spread in %',
  at_cursor: 'At the cursor',
  less_predicted: 'less the prediction',
  changes: 'What changed in the vehicle file',
  no_changes: 'Nothing changed.',
  trend: 'Trend over the days',
  outliers: 'Unlike the others',
  no_outliers: 'No flight is unlike the others, as far as so few can tell.',
  too_few: 'Choose two flights or more in the log book.',
  not_in_file: 'not in the file',
} as const;

const kCounts = ['no', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine'];

/** How many standard deviations of the others the odd one lies away from their mean, at least. */
const kClearlyOutside = 3;

/** The one that lies farthest from the mean of the others, when that is clearly outside their spread. */
function odd_one(figure: ComparedFigure): { place: number; away: number } | undefined {
  if (figure.n < 3) return undefined;
  let odd = { place: -1, away: 0 };
  let spread = NaN;
  figure.values.forEach(({ value }, place) => {
    const { mean, sd } = mean_of(figure.values.filter((_, i) => i !== place).map((one) => one.value));
    if (Math.abs(value - mean) > Math.abs(odd.away)) [odd, spread] = [{ place, away: value - mean }, sd];
  });
  return Math.abs(odd.away) > kClearlyOutside * spread ? odd : undefined;
}

/** "Apogee of three flights 1090 ± 20 m. Flight 5 flew 40 m lower." */
export function comparison_sentence(comparison: Comparison, titles: readonly string[]): string {
  const apogee = comparison.figures.find((figure) => figure.key === 'apogee_m');
  const count = comparison.flights.length;
  const flights = `${kCounts[count] ?? count} flights`;
  if (!apogee || apogee.n < 2) return `${capital(flights)} compared.`;
  const first = `Apogee of ${flights} ${figure_words('m', apogee.mean, apogee.sd)}.`;
  const odd = odd_one(apogee);
  if (!odd) return first;
  const far = figure_words('m', Math.abs(odd.away), apogee.sd);
  return `${first} ${titles[odd.place] ?? ''} flew ${far.replace(/\s±\s?[\d.]+/u, '')} ${odd.away < 0 ? 'lower' : 'higher'}.`;
}

export const outlier_words = ({ test, statistic, critical }: Outlier, title: string, flight: string): string =>
  `${flight}: ${lower(title)} (${test}, ${format_fixed(statistic, 2)} against ${format_fixed(critical, 2)}).`;

export function trend_words(trend: Trend, title: string, unit: string): string {
  const [low, high] = trend.interval;
  const sure = low > 0 || high < 0;
  const slope = figure_words(unit, trend.slope_per_day, trend.slope_error);
  const known = `${title}: ${slope} a day, 95 % interval ${interval_words(unit, trend.interval)}`;
  return sure ? `${known}.` : `${known}: no trend that ${trend.n} flights can show.`;
}

export const relative_words = (fraction: number): string => format_fraction(fraction, 'under ');
