/** Which of a station's addresses others are to use. */
import type { JoinAddress } from '../stream/api';

const kOwn = /^https?:\/\/(127\.|\[::1\]|localhost)/;

export interface Ways {
  /** Others reach them, plain ones first. */
  plain: JoinAddress[];
  encrypted: JoinAddress[];
  /** Nobody else does: the station listens to this computer alone. */
  alone: boolean;
}

export function ways_of(addresses: readonly JoinAddress[]): Ways {
  const shared = addresses.filter((one) => !kOwn.test(one.address));
  return {
    plain: shared.filter((one) => !one.encrypted),
    encrypted: shared.filter((one) => one.encrypted),
    alone: shared.length === 0,
  };
}
