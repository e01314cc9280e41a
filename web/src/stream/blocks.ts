/**
 * Binary row blocks of the stream and binary answers of the series request (protocol/STREAM.md, sections 2 and 4).
 * Every length is taken as hostile: it is checked against what is there before anything is read or made.
 */

/** Rows of one table as they lie in a message; valid only during the call that hands it out. */
export interface Block {
  table: number;
  columns: number;
  rows: number;
  /** Byte offset of the row times, then of the values (column-major), in `view`. */
  t_offset: number;
  values_offset: number;
  view: DataView;
}

export interface BlockMessage {
  replay: boolean;
  coalesced: boolean;
  seq: number;
  newest_t_s: number;
  blocks: number;
}

export class BlockError extends Error {
  override name = 'BlockError';
}

const kHeader = 24;
const kBlockHeader = 8;
export const kTablesMax = 4096;

/** Calls `on_block` for each block in order. Throws BlockError, before any call, when a length does not fit. */
export function read_blocks(bytes: ArrayBuffer, on_block: (block: Block, message: BlockMessage) => void): BlockMessage {
  const view = new DataView(bytes);
  if (bytes.byteLength < kHeader)
    throw new BlockError(`block message: ${bytes.byteLength} bytes, header needs ${kHeader}`);
  if (view.getUint8(0) !== 1) throw new BlockError(`block message: version ${view.getUint8(0)}, this page reads 1`);
  if (view.getUint8(1) !== 1) throw new BlockError(`block message: kind ${view.getUint8(1)}, this page reads 1`);
  const flags = view.getUint16(2, true);
  const message: BlockMessage = {
    replay: (flags & 1) !== 0,
    coalesced: (flags & 2) !== 0,
    seq: view.getUint32(8, true) + view.getUint32(12, true) * 2 ** 32,
    newest_t_s: view.getFloat64(16, true),
    blocks: view.getUint32(4, true),
  };
  if (message.blocks > kTablesMax)
    throw new BlockError(`block message: claims ${message.blocks} blocks, limit ${kTablesMax}`);

  const walk = (visit: ((block: Block) => void) | undefined): void => {
    let offset = kHeader;
    for (let i = 0; i < message.blocks; i++) {
      if (offset + kBlockHeader > bytes.byteLength)
        throw new BlockError(`block ${i}: header passes the end of the message`);
      const columns = view.getUint16(offset + 2, true);
      const rows = view.getUint32(offset + 4, true);
      const size = kBlockHeader + 8 * rows * (1 + columns);
      if (offset + size > bytes.byteLength) {
        throw new BlockError(`block ${i}: ${rows} rows of ${columns} columns pass the end of the message`);
      }
      if (visit) {
        const t_offset = offset + kBlockHeader;
        visit({
          table: view.getUint16(offset, true),
          columns,
          rows,
          t_offset,
          values_offset: t_offset + 8 * rows,
          view,
        });
      }
      offset += size;
    }
    if (offset !== bytes.byteLength)
      throw new BlockError(`block message: ${bytes.byteLength - offset} bytes left over`);
  };
  walk(undefined);
  walk((block) => on_block(block, message));
  return message;
}

/** A window of one table's history. Value of column c in row i at [c * rows + i]; undecimated answers share one array. */
export interface Series {
  table: number;
  columns: number;
  rows: number;
  decimated: boolean;
  t_s: Float64Array;
  min: Float64Array;
  max: Float64Array;
  mean: Float64Array;
}

export function read_series(bytes: ArrayBuffer): Series {
  if (bytes.byteLength < 16) throw new BlockError(`series: ${bytes.byteLength} bytes, header needs 16`);
  const view = new DataView(bytes);
  if (view.getUint32(0, false) !== 0x54535331) throw new BlockError('series: does not begin with TSS1');
  const table = view.getUint16(4, true);
  const columns = view.getUint16(6, true);
  const rows = view.getUint32(8, true);
  const decimated = (view.getUint32(12, true) & 1) !== 0;
  const size = 16 + 8 * rows * (1 + columns * (decimated ? 3 : 1));
  if (size !== bytes.byteLength) {
    throw new BlockError(`series: ${rows} rows of ${columns} columns need ${size} bytes, got ${bytes.byteLength}`);
  }
  const part = (place: number, length: number): Float64Array => new Float64Array(bytes, 16 + 8 * place, length);
  const t_s = part(0, rows);
  const min = part(rows, rows * columns);
  return {
    table,
    columns,
    rows,
    decimated,
    t_s,
    min,
    max: decimated ? part(rows * (1 + columns), rows * columns) : min,
    mean: decimated ? part(rows * (1 + 2 * columns), rows * columns) : min,
  };
}
