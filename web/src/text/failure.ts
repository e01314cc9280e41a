/** What is said of a request that failed. */
import { NoAnswer } from '../stream/no_answer';

/** The server's own sentence when it gave one. */
export function failure_words(error: unknown): string {
  if (error instanceof NoAnswer) return 'The ground station did not answer.';
  return error instanceof Error ? error.message : String(error);
}
