/** Gives something to the person at the page: into the clipboard, or as a file. */

/** Where the page is not secure the clipboard is shut; then the browser's older way still copies what is selected. */
export async function copy_text(text: string): Promise<void> {
  if (window.isSecureContext) return navigator.clipboard.writeText(text);
  const field = document.createElement('textarea');
  field.value = text;
  field.style.position = 'fixed';
  document.body.append(field);
  field.select();
  const copied = document.execCommand('copy');
  field.remove();
  if (!copied) throw new Error('This browser does not let the page copy.');
}

export function save_file(name: string, content: Blob): void {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(content);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}
