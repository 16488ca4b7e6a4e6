// Foreign data is `unknown` until it has been read here.

export type Fields = Record<string, unknown>;

export function is_fields(value: unknown): value is Fields {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

export function text_of(fields: Fields, name: string): string {
  const value = fields[name];
  return typeof value === 'string' ? value : '';
}

/** The server's error shape, `{error: {message, kept, todo}}`, as one text; null if it is something else. */
export function server_error(body: unknown): string | null {
  if (!is_fields(body)) return null;
  const error = body.error;
  if (typeof error === 'string') return sentence(error);
  if (!is_fields(error)) return null;
  const parts = ['message', 'kept', 'todo'].map((name) => text_of(error, name).trim()).filter((part) => part !== '');
  return parts.length === 0 ? null : parts.map(sentence).join(' ');
}

export function json(text: string): unknown {
  try {
    return JSON.parse(text) as unknown;
  } catch {
    return undefined;
  }
}

/** With a capital at the start and a stop at the end. */
function sentence(part: string): string {
  const begun = part.charAt(0).toUpperCase() + part.slice(1);
  return /[.!?]$/.test(begun) ? begun : `${begun}.`;
}
