/** The link that an operator gives to a position: what stands behind the question mark of its address. */
export interface PositionLink {
  position: string;
  /** Undefined once it was traded. */
  key: string | undefined;
}

/** Undefined for the address of the board itself. */
export function read_position_link(query: string): PositionLink | undefined {
  const given = new URLSearchParams(query);
  const position = given.get('position');
  return position === null || position === '' ? undefined : { position, key: given.get('key') ?? undefined };
}

export const position_address = (position: string): string => `#/ready?position=${encodeURIComponent(position)}`;
