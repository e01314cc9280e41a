/** No answer came to a request; any other failure carries what the server said. */
export class NoAnswer extends Error {
  override name = 'NoAnswer';
}
