export function debrief(method: string, url: URL, body: object): unknown;
