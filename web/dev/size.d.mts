export function sizes(out: string): { lines: string[]; good: boolean };
