/** Files to take away: fetched, so that what goes wrong is told in words, then handed to the browser to keep. */

import { api } from './api';

export async function take(path: string, signal: AbortSignal): Promise<string> {
  const { blob, name } = await api.file(path, signal);
  const url = URL.createObjectURL(blob);
  const link = document.createElement('a');
  link.href = url;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
  return name;
}
