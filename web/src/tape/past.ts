/** What leads back on the tape; a page that has just come shows what is now before it needs any of it. */
export * as api from '../stream/api';
export { History } from './history';
export { Loader } from './loader';
