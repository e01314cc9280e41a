/** What a person last took the columns of a log for, kept on this device for the next log with the same columns. */
import { read_mapping, type FirstLook, type Mapping } from '../stream/imports';
import { object, text } from '../stream/json';
import { list } from '../stream/json_lists';

const kKey = 'turnstone.mappings';
const kMost = 8; // loggers that a group has

interface Kept {
  columns: string;
  mapping: Mapping;
}

/** What separates them too: the same table saved on another computer may have others. */
const columns_of = ({ columns, separator }: FirstLook): string =>
  separator + columns.map(({ name }) => name).join('\n');

/** The newest first. What cannot be read is none. */
function read_kept(stored: string): Kept[] {
  try {
    return list({ kept: JSON.parse(stored) as unknown }, 'kept', 'kept', (entry, at) => {
      const one = object(entry, at);
      return { columns: text(one, 'columns', at), mapping: read_mapping(one['mapping'], `${at}/mapping`) };
    });
  } catch {
    return [];
  }
}

export const mapping_in = (stored: string, look: FirstLook): Mapping | undefined =>
  read_kept(stored).find(({ columns }) => columns === columns_of(look))?.mapping;

export function with_mapping(stored: string, look: FirstLook, mapping: Mapping): string {
  const columns = columns_of(look);
  const others = read_kept(stored).filter((one) => one.columns !== columns);
  return JSON.stringify([{ columns, mapping }, ...others].slice(0, kMost));
}

const stored = (): string => {
  try {
    return localStorage.getItem(kKey) ?? '[]';
  } catch {
    return '[]'; // a browser that stores nothing
  }
};

export const kept_mapping = (look: FirstLook): Mapping | undefined => mapping_in(stored(), look);

export function keep_mapping(look: FirstLook, mapping: Mapping): void {
  try {
    localStorage.setItem(kKey, with_mapping(stored(), look, mapping));
  } catch {
    // The next log is mapped by hand again.
  }
}
