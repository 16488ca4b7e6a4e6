// The server's HTTP face. Every answer is parsed here; a failure says whether the network, the session or the
// request was at fault, because the user does something different about each.

import { type ImportOutcome, Plain, type Session } from '../shared/messages';
import { type Fields, is_fields, json, server_error, text_of } from '../shared/parse';
import type { StoredRow } from './store';

const PATIENCE_MS = 15_000;

async function call(path: string, init: RequestInit, patience_ms = PATIENCE_MS): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(path, {
      credentials: 'same-origin',
      cache: 'no-store',
      ...init,
      signal: AbortSignal.timeout(patience_ms),
    });
  } catch {
    throw new Plain(
      'no_signal',
      'The server cannot be reached from here. Your work is kept on this tablet and goes over when there is a signal.',
    );
  }
  if (response.status === 401 && path !== '/api/session') {
    throw new Plain('sign_in', 'Your sign-in has run out. Your work is kept on this tablet; sign in again to send it.');
  }
  return response;
}

async function body(response: Response): Promise<unknown> {
  return json(await response.text());
}

function fault(response: Response, parsed: unknown): Plain {
  const said = server_error(parsed);
  return new Plain(
    'refused',
    said ?? `The server answered with status ${response.status}. Nothing on this tablet was changed. Try again later.`,
  );
}

function session_of(parsed: unknown): Session | null {
  if (!is_fields(parsed)) return null;
  const session = { user: '', name: '', role: '', agency: '', device: '' };
  for (const name of ['user', 'name', 'role', 'agency', 'device'] as const) session[name] = text_of(parsed, name);
  return session.user === '' ? null : session;
}

export async function sign_in(user: string, password: string, device: string): Promise<Session> {
  const response = await call('/api/session', {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ user, password, device }),
  });
  const parsed = await body(response);
  if (!response.ok) {
    const plain = fault(response, parsed);
    if (response.status === 401 && server_error(parsed) === null) {
      throw new Plain(
        'sign_in',
        'User name and password do not match. Nothing was changed. Try again, or ask your supervisor for a new password.',
      );
    }
    throw plain;
  }
  const session = session_of(parsed);
  if (session === null)
    throw new Plain(
      'refused',
      'The server answered the sign-in in a way this version does not understand. Try again later.',
    );
  return session.device === '' ? { ...session, device } : session;
}

/** Who the server thinks we are: null when the session has run out. Throws `no_signal` when there is no way to it. */
export async function whoami(patience_ms = 5_000): Promise<Session | null> {
  const response = await call('/api/session', {}, patience_ms);
  if (response.status === 401) return null;
  if (!response.ok) throw new Plain('no_signal', 'The server is not well just now. Your work is kept on this tablet.');
  return session_of(await body(response));
}

export async function sign_out(): Promise<void> {
  await call('/api/session', { method: 'DELETE' });
}

export async function jobs(user: string): Promise<StoredRow[]> {
  const response = await call('/api/jobs', {});
  const parsed = await body(response);
  if (!response.ok || !Array.isArray(parsed)) throw fault(response, parsed);
  return parsed
    .filter(is_fields)
    .map((fields) => row_of(fields, user))
    .filter((row) => row.doc !== '');
}

function row_of(fields: Fields, user: string): StoredRow {
  const assigned = Array.isArray(fields.assigned) ? fields.assigned.filter(is_fields) : [];
  return {
    user,
    doc: text_of(fields, 'doc'),
    permit: text_of(fields, 'permit'),
    address: text_of(fields, 'address'),
    scope: text_of(fields, 'scope'),
    stage: text_of(fields, 'stage'),
    scheduled: text_of(fields, 'scheduled'),
    adoption: text_of(fields, 'adoption'),
    applied_on: text_of(fields, 'applied_on'),
    assigned: assigned.map((person) => ({ user: text_of(person, 'user'), name: text_of(person, 'name') })),
    listed: true,
  };
}

/** The rulesets in force, or null when what the tablet holds is still current. */
export async function rulesets(etag: string): Promise<{ digest: string; etag: string; files: string } | null> {
  const response = await call('/api/rulesets', etag === '' ? {} : { headers: { 'if-none-match': etag } });
  if (response.status === 304) return null;
  const parsed = await body(response);
  if (!response.ok || !is_fields(parsed) || !Array.isArray(parsed.files)) throw fault(response, parsed);
  return {
    digest: text_of(parsed, 'digest'),
    etag: response.headers.get('etag') ?? '',
    files: JSON.stringify(parsed.files),
  };
}

export async function import_jobs(text: string): Promise<ImportOutcome[]> {
  if (json(text) === undefined) {
    throw new Plain(
      'refused',
      'This file is not JSON, so it cannot be a job file. Nothing was imported. Choose the file that your permit system wrote.',
    );
  }
  const response = await call('/api/jobs', {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: text,
  });
  const parsed = await body(response);
  const list = Array.isArray(parsed)
    ? parsed
    : is_fields(parsed) && Array.isArray(parsed.jobs)
      ? parsed.jobs
      : is_fields(parsed) && 'permit' in parsed
        ? [parsed]
        : null;
  if (list === null) throw fault(response, parsed);
  return list.filter(is_fields).map((one) => ({ permit: text_of(one, 'permit'), problem: server_error(one) }));
}

function photo_path(doc: string, sha256: string): string {
  return `/api/photos/${encodeURIComponent(doc)}/${encodeURIComponent(sha256)}`;
}

/** How much of a photo the server holds. */
export async function photo_state(doc: string, sha256: string): Promise<{ offset: number; complete: boolean }> {
  const response = await call(photo_path(doc, sha256), { method: 'HEAD' });
  if (response.status === 404) return { offset: 0, complete: false };
  if (!response.ok) throw fault(response, undefined);
  const offset = Number(response.headers.get('upload-offset') ?? '0');
  return {
    offset: Number.isSafeInteger(offset) ? offset : 0,
    complete: response.headers.get('upload-complete') === '?1',
  };
}

/** Sends one piece. Fulfils with the server's new offset, or null when it expected another one: ask and go on there. */
export async function photo_piece(
  doc: string,
  sha256: string,
  offset: number,
  length: number,
  piece: ArrayBuffer,
): Promise<number | null> {
  const response = await call(
    photo_path(doc, sha256),
    {
      method: 'PATCH',
      headers: {
        'upload-offset': String(offset),
        'upload-length': String(length),
        'content-type': 'application/octet-stream',
      },
      body: piece,
    },
    60_000,
  );
  if (response.status === 409) return null;
  if (!response.ok) throw fault(response, await body(response));
  const now = Number(response.headers.get('upload-offset') ?? Number.NaN);
  return Number.isSafeInteger(now) ? now : offset + piece.byteLength;
}

export async function photo_image(doc: string, sha256: string): Promise<ArrayBuffer | null> {
  const response = await call(photo_path(doc, sha256), {}, 60_000);
  return response.ok ? response.arrayBuffer() : null;
}
