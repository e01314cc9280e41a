/** What leads back on the tape, and the station's time to the last milliseconds: a page that has just come shows what is now before it needs any of it. */
export * as api from '../stream/api';
export { ClockExchange } from '../stream/clock_exchange';
export { History } from './history';
export { Loader } from './loader';
