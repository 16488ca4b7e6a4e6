import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type { Store, StoredPhoto } from './store';
import { type PhotoPlace, Uploads } from './uploads';

const IMAGE = Uint8Array.from({ length: 600_000 }, (_, index) => index % 251);

/** A server that holds photos, and a line to it that fails when told. */
class Server {
  held = new Map<string, number[]>();
  requests: string[] = [];
  fail_next = 0;

  answer = async (path: string | URL | Request, init: RequestInit = {}): Promise<Response> => {
    const method = init.method ?? 'GET';
    this.requests.push(method);
    if (this.fail_next > 0) {
      this.fail_next -= 1;
      throw new TypeError('line lost');
    }
    const key = String(path);
    const held = this.held.get(key);
    const headers = (bytes: number[]) => ({
      'upload-offset': String(bytes.length),
      'upload-complete': bytes.length === IMAGE.length ? '?1' : '?0',
    });
    if (method === 'HEAD')
      return held === undefined ? new Response(null, { status: 404 }) : new Response(null, { headers: headers(held) });
    if (method === 'PATCH') {
      const bytes = held ?? [];
      const offset = Number(new Headers(init.headers).get('upload-offset'));
      if (offset !== bytes.length) return new Response('{}', { status: 409 });
      for (const byte of new Uint8Array(init.body as ArrayBuffer)) bytes.push(byte);
      this.held.set(key, bytes);
      return new Response(null, { status: 204, headers: headers(bytes) });
    }
    return held === undefined ? new Response('{}', { status: 404 }) : new Response(Uint8Array.from(held));
  };
}

function tablet(here: boolean) {
  const places = new Map<string, PhotoPlace>([['f00', { here, on_server: false }]]);
  const stored = new Map<string, StoredPhoto>();
  if (here) stored.set('f00', { doc: 'a', sha256: 'f00', image: IMAGE.buffer as ArrayBuffer, on_server: false });
  const store = {
    photo: async (_doc: string, sha256: string) => stored.get(sha256),
    add_photo: async (photo: StoredPhoto) => void stored.set(photo.sha256, photo),
  } as unknown as Store;
  const troubles: string[] = [];
  const uploads = new Uploads(store, {
    referenced: () => [{ doc: 'a', sha256: 'f00' }],
    place: (_doc, sha256) => places.get(sha256) ?? { here: false, on_server: false },
    in_order: (job) => job(),
    moved: (_doc, sha256, place) => void places.set(sha256, place),
    trouble: (message) => void troubles.push(message),
    connected: () => true,
  });
  return { uploads, places, stored, troubles };
}

let server: Server;
beforeEach(() => {
  vi.useFakeTimers();
  server = new Server();
  vi.stubGlobal('fetch', server.answer);
});
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

it('sends a photo in pieces and calls it there only when the server says that it is whole', async () => {
  const { uploads, places } = tablet(true);
  await uploads.run();
  expect([...server.held.values()][0]).toEqual([...IMAGE]);
  expect(server.requests).toEqual(['HEAD', 'PATCH', 'PATCH', 'PATCH', 'HEAD']);
  expect(places.get('f00')).toEqual({ here: true, on_server: true });
});

it('goes on where it was cut off, by itself, although the connection stayed', async () => {
  const { uploads, places } = tablet(true);
  // The first piece arrives, the second is lost.
  const first = server.answer;
  let patches = 0;
  vi.stubGlobal('fetch', (path: string, init: RequestInit) => {
    if (init.method === 'PATCH' && ++patches === 2) server.fail_next = 1;
    return first(path, init);
  });
  await uploads.run();
  expect(places.get('f00')?.on_server).toBe(false);
  await vi.advanceTimersByTimeAsync(1_000);
  expect(places.get('f00')?.on_server).toBe(true);
  expect([...server.held.values()][0]).toEqual([...IMAGE]);
  expect(server.requests).toEqual(['HEAD', 'PATCH', 'PATCH', 'HEAD', 'PATCH', 'PATCH', 'HEAD']);
});

it('fetches what somebody else took, as soon as it is there', async () => {
  const { uploads, stored } = tablet(false);
  await uploads.run();
  expect(stored.size).toBe(0);
  server.held.set('/api/photos/a/f00', [...IMAGE]);
  await vi.advanceTimersByTimeAsync(1_000);
  expect(stored.get('f00')?.image?.byteLength).toBe(IMAGE.length);
});
