// What is on this tablet: chunks of job documents, photos, the law, the list of jobs, the session.
// A promise of this module fulfils only after the transaction is complete with strict durability.

import { type DBSchema, type IDBPDatabase, openDB } from 'idb';
import { Plain, type Session } from '../shared/messages';

export interface StoredRow {
  /** Whose list it stands on. */
  user: string;
  doc: string;
  permit: string;
  address: string;
  scope: string;
  stage: string;
  scheduled: string;
  adoption: string;
  applied_on: string;
  assigned: { user: string; name: string }[];
  listed: boolean;
}

export interface StoredRulesets {
  digest: string;
  etag: string;
  files: string;
}

export interface StoredPhoto {
  doc: string;
  sha256: string;
  /** Null when the server holds it and this tablet does not. */
  image: ArrayBuffer | null;
  /** The server said that it holds every byte. */
  on_server: boolean;
}

interface Chunk {
  id?: number;
  doc: string;
  bytes: Uint8Array;
}

interface Tables extends DBSchema {
  chunks: { key: number; value: Chunk; indexes: { doc: string } };
  photos: { key: [string, string]; value: StoredPhoto };
  rows: { key: string; value: StoredRow };
  /** Per job: whether the server acknowledged everything stored here; written with the chunk that changes it. */
  safe: { key: string; value: boolean };
  meta: { key: string; value: unknown };
}

type Names = 'chunks' | 'photos' | 'rows' | 'safe' | 'meta';
type Database = IDBPDatabase<Tables>;

const NAME = 'crownweir';
const VERSION = 1;

export class Store {
  #database: Promise<Database> | null = null;
  /** This tab's mark as the one writer; every write looks that it still stands. */
  #mark = '';

  /** Drops the connection; the next call opens a fresh one. A frozen tab may hold a dead one. */
  async reopen(): Promise<void> {
    const old = this.#database;
    this.#database = null;
    try {
      (await old)?.close();
    } catch {
      // It was dead already, which is why it is reopened.
    }
  }

  #open(): Promise<Database> {
    this.#database ??= openDB<Tables>(NAME, VERSION, {
      // Later versions only add: a page a week old may still write.
      upgrade(database) {
        database.createObjectStore('chunks', { keyPath: 'id', autoIncrement: true }).createIndex('doc', 'doc');
        database.createObjectStore('photos', { keyPath: ['doc', 'sha256'] });
        database.createObjectStore('rows', { keyPath: 'doc' });
        database.createObjectStore('safe');
        database.createObjectStore('meta');
      },
      blocking: () => void this.reopen(),
      terminated: () => {
        this.#database = null;
      },
    }).catch((error: unknown) => {
      this.#database = null;
      throw error;
    });
    return this.#database;
  }

  /** Runs a read; a connection that died while the tab was hidden is opened once more. */
  async #read<T>(job: (database: Database) => Promise<T>): Promise<T> {
    try {
      return await job(await this.#open());
    } catch (error) {
      if (!is_dead(error)) throw unreadable(error);
      await this.reopen();
      try {
        return await job(await this.#open());
      } catch (again) {
        throw unreadable(again);
      }
    }
  }

  /** Runs a write in one strict transaction and fulfils only when it is complete. */
  async #write(names: Names[], job: (transaction: Writing) => Promise<void>): Promise<void> {
    const attempt = async (): Promise<void> => {
      const database = await this.#open();
      const transaction = database.transaction<Names[], 'readwrite'>(
        [...new Set<Names>([...names, 'meta'])],
        'readwrite',
        {
          durability: 'strict',
        },
      );
      // A put that fails rejects `done` as well; whichever comes first is reported, the other must not go unheard.
      const done = transaction.done;
      done.catch(() => undefined);
      try {
        const mark = await transaction.objectStore('meta').get('writer');
        if (mark !== this.#mark) throw new Plain('elsewhere', ELSEWHERE);
        await job(transaction);
      } catch (error) {
        try {
          transaction.abort();
        } catch {
          // Already aborted, by the browser.
        }
        throw error;
      }
      await done;
    };
    try {
      await attempt();
    } catch (error) {
      if (error instanceof Plain) throw error;
      if (!is_dead(error)) throw not_saved(error);
      await this.reopen();
      try {
        await attempt();
      } catch (again) {
        throw again instanceof Plain ? again : not_saved(again);
      }
    }
  }

  /** Makes this tab the writer: from now on writes of an earlier holder fail. */
  async claim(mark: string): Promise<void> {
    const database = await this.#open();
    const transaction = database.transaction('meta', 'readwrite', { durability: 'strict' });
    await Promise.all([transaction.store.put(mark, 'writer'), transaction.done]);
    this.#mark = mark;
  }

  /** Stores one chunk of a job. `own` is false for what came from the server, which is safe there already. */
  add_chunk(doc: string, bytes: Uint8Array, own: boolean): Promise<void> {
    return this.#write(['chunks', 'safe'], async (transaction) => {
      await transaction.objectStore('chunks').add({ doc, bytes });
      if (own) await transaction.objectStore('safe').put(false, doc);
    });
  }

  /** All chunks of a job, with the ids that a snapshot of them covers. */
  chunks(doc: string): Promise<{ ids: number[]; bytes: Uint8Array }> {
    return this.#read(async (database) => {
      const chunks = await database.getAllFromIndex('chunks', 'doc', doc);
      const bytes = new Uint8Array(chunks.reduce((sum, chunk) => sum + chunk.bytes.length, 0));
      let at = 0;
      const ids: number[] = [];
      for (const chunk of chunks) {
        bytes.set(chunk.bytes, at);
        at += chunk.bytes.length;
        if (chunk.id !== undefined) ids.push(chunk.id);
      }
      return { ids, bytes };
    });
  }

  chunk_count(doc: string): Promise<number> {
    return this.#read((database) => database.countFromIndex('chunks', 'doc', doc));
  }

  /** The jobs of which something is stored. */
  docs(): Promise<string[]> {
    return this.#read(async (database) => {
      const docs: string[] = [];
      let cursor = await database.transaction('chunks').store.index('doc').openKeyCursor(null, 'nextunique');
      while (cursor) {
        docs.push(cursor.key);
        cursor = await cursor.continue();
      }
      return docs;
    });
  }

  /** Replaces the chunks with these ids by a snapshot that holds all of them, in one transaction. */
  compact(doc: string, snapshot: Uint8Array, covered: number[]): Promise<void> {
    return this.#write(['chunks'], async (transaction) => {
      const chunks = transaction.objectStore('chunks');
      await chunks.add({ doc, bytes: snapshot });
      for (const id of covered) await chunks.delete(id);
    });
  }

  set_safe(doc: string, safe: boolean): Promise<void> {
    return this.#write(['safe'], async (transaction) => {
      await transaction.objectStore('safe').put(safe, doc);
    });
  }

  safe(doc: string): Promise<boolean> {
    return this.#read(async (database) => (await database.get('safe', doc)) ?? false);
  }

  add_photo(photo: StoredPhoto): Promise<void> {
    return this.#write(['photos'], async (transaction) => {
      await transaction.objectStore('photos').put(photo);
    });
  }

  photo(doc: string, sha256: string): Promise<StoredPhoto | undefined> {
    return this.#read((database) => database.get('photos', [doc, sha256]));
  }

  /** Which photos of all jobs are here and on the server, without their bytes staying in memory. */
  photo_places(): Promise<{ doc: string; sha256: string; here: boolean; on_server: boolean }[]> {
    return this.#read(async (database) => {
      const places = [];
      let cursor = await database.transaction('photos').store.openCursor();
      while (cursor) {
        const { doc, sha256, image, on_server } = cursor.value;
        places.push({ doc, sha256, here: image !== null, on_server });
        cursor = await cursor.continue();
      }
      return places;
    });
  }

  rows(): Promise<StoredRow[]> {
    return this.#read((database) => database.getAll('rows'));
  }

  /** Replaces the whole list of jobs. */
  set_rows(rows: StoredRow[]): Promise<void> {
    return this.#write(['rows'], async (transaction) => {
      const table = transaction.objectStore('rows');
      await table.clear();
      for (const row of rows) await table.put(row);
    });
  }

  async session(): Promise<Session | null> {
    return ((await this.#meta('session')) as Session | undefined) ?? null;
  }

  set_session(session: Session | null): Promise<void> {
    return this.#put_meta('session', session);
  }

  async rulesets(): Promise<StoredRulesets | null> {
    return ((await this.#meta('rulesets')) as StoredRulesets | undefined) ?? null;
  }

  set_rulesets(rulesets: StoredRulesets): Promise<void> {
    return this.#put_meta('rulesets', rulesets);
  }

  #meta(key: string): Promise<unknown> {
    return this.#read((database) => database.get('meta', key));
  }

  #put_meta(key: string, value: unknown): Promise<void> {
    return this.#write(['meta'], async (transaction) => {
      await transaction.objectStore('meta').put(value, key);
    });
  }
}

type Writing = import('idb').IDBPTransaction<Tables, Names[], 'readwrite'>;

export const ELSEWHERE =
  'Crownweir is open in another tab of this tablet, and only one may write. Nothing was changed here. Go on in the other tab, or choose "Work in this tab instead".';

function is_dead(error: unknown): boolean {
  return error instanceof DOMException && (error.name === 'InvalidStateError' || error.name === 'UnknownError');
}

function not_saved(error: unknown): Plain {
  const why =
    error instanceof DOMException && error.name === 'QuotaExceededError'
      ? 'the storage of this tablet is full. Free space on the tablet (videos, downloads), then enter it again'
      : `this tablet's storage refused it (${error instanceof Error ? error.message : String(error)}). Enter it again; if that fails, close Crownweir and open it again`;
  return new Plain('not_saved', `Not saved: ${why}. Everything saved before is kept.`);
}

function unreadable(error: unknown): Plain {
  if (error instanceof Plain) return error;
  const why = error instanceof Error ? error.message : String(error);
  return new Plain(
    'unreadable',
    `This tablet's storage could not be read (${why}). Nothing was deleted. Close Crownweir and open it again.`,
  );
}
