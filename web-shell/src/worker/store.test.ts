import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { beforeEach, describe, expect, it } from 'vitest';
import { Plain } from '../shared/messages';
import { Store } from './store';

const bytes = (...values: number[]): Uint8Array => Uint8Array.from(values);

async function writer(): Promise<Store> {
  const store = new Store();
  await store.claim(crypto.randomUUID());
  return store;
}

/** What a promise is refused with. */
async function refusal(job: Promise<unknown>): Promise<Plain> {
  const error: unknown = await job.then(
    () => undefined,
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(Plain);
  return error as Plain;
}

beforeEach(() => {
  globalThis.indexedDB = new IDBFactory();
});

describe('what is on the tablet', () => {
  it('gives a job back as it was stored, piece after piece, and no other job', async () => {
    const store = await writer();
    await store.add_chunk('a', bytes(1, 2), true);
    await store.add_chunk('b', bytes(9), true);
    await store.add_chunk('a', bytes(3), false);
    const { ids, bytes: stored } = await new Store().chunks('a');
    expect([...stored]).toEqual([1, 2, 3]);
    expect(ids).toHaveLength(2);
    expect(await store.docs()).toEqual(['a', 'b']);
  });

  it('is no longer called safe from the moment something of its own is added, and stays safe for what the server sent', async () => {
    const store = await writer();
    await store.set_safe('a', true);
    await store.add_chunk('a', bytes(1), false);
    expect(await store.safe('a')).toBe(true);
    await store.add_chunk('a', bytes(2), true);
    expect(await store.safe('a')).toBe(false);
    expect(await store.safe('never heard of')).toBe(false);
  });

  it('lets go of exactly the pieces that a snapshot covers', async () => {
    const store = await writer();
    await store.add_chunk('a', bytes(1), true);
    await store.add_chunk('a', bytes(2), true);
    const { ids } = await store.chunks('a');
    await store.add_chunk('a', bytes(3), true);
    await store.compact('a', bytes(12), ids);
    expect([...(await store.chunks('a')).bytes].sort((x, y) => x - y)).toEqual([3, 12]);
    expect(await store.chunk_count('a')).toBe(2);
  });

  it('keeps a photo by job and hash, and says where it is without its bytes', async () => {
    const store = await writer();
    await store.add_photo({ doc: 'a', sha256: 'f00', image: bytes(1, 2, 3).buffer as ArrayBuffer, on_server: false });
    await store.add_photo({ doc: 'b', sha256: 'f00', image: null, on_server: true });
    expect((await store.photo('a', 'f00'))?.image?.byteLength).toBe(3);
    expect(await store.photo_places()).toEqual([
      { doc: 'a', sha256: 'f00', here: true, on_server: false },
      { doc: 'b', sha256: 'f00', here: false, on_server: true },
    ]);
  });
});

describe('a write that cannot be kept', () => {
  it('is refused with what to do, and leaves everything as it was', async () => {
    const store = await writer();
    await store.set_safe('a', true);
    const beyond_storing = (() => undefined) as unknown as Uint8Array;
    const refused = await refusal(store.add_chunk('a', beyond_storing, true));
    expect(refused.kind).toBe('not_saved');
    expect(refused.message).toMatch(/^Not saved: .* Everything saved before is kept\.$/);
    expect(await store.safe('a')).toBe(true);
    expect(await store.chunk_count('a')).toBe(0);
  });

  it('is refused to a tab whose place another has taken', async () => {
    const first = await writer();
    await first.add_chunk('a', bytes(1), true);
    const second = await writer();
    const refused = await refusal(first.add_chunk('a', bytes(2), true));
    expect(refused.kind).toBe('elsewhere');
    await second.add_chunk('a', bytes(3), true);
    expect([...(await second.chunks('a')).bytes]).toEqual([1, 3]);
  });

  it('is refused to a tab that never had the place', async () => {
    await writer();
    expect((await refusal(new Store().add_chunk('a', bytes(1), true))).kind).toBe('elsewhere');
  });

  it('goes through after the connection was dropped', async () => {
    const store = await writer();
    await store.reopen();
    await store.add_chunk('a', bytes(1), true);
    expect(await store.chunk_count('a')).toBe(1);
  });
});
