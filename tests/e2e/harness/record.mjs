// Records as they lie on disk, read without the program that wrote them: by the JavaScript Automerge package.

import * as Automerge from '@automerge/automerge';

/** The stored chunks of one document on a tablet, in the order in which they were stored. */
export async function chunks_on(tablet, doc) {
  const lists = await tablet.page.evaluate(async (doc) => {
    const names = (await indexedDB.databases()).map((one) => one.name);
    const found = [];
    for (const name of names) {
      const database = await new Promise((resolve, reject) => {
        const asked = indexedDB.open(name);
        asked.onsuccess = () => resolve(asked.result);
        asked.onerror = () => reject(asked.error);
      });
      if (database.objectStoreNames.contains('chunks')) {
        const rows = await new Promise((resolve, reject) => {
          const asked = database.transaction('chunks').objectStore('chunks').index('doc').getAll(doc);
          asked.onsuccess = () => resolve(asked.result);
          asked.onerror = () => reject(asked.error);
        });
        for (const row of rows) found.push([...new Uint8Array(row.bytes)]);
      }
      database.close();
    }
    return found;
  }, doc);
  if (lists.length === 0) throw new Error(`${tablet.name} has nothing of ${doc}`);
  return lists.map((list) => Uint8Array.from(list));
}

export function read(chunks) {
  return chunks.reduce((document, chunk) => Automerge.loadIncremental(document, chunk), Automerge.init());
}

/** The heads of a document on a tablet's disk. */
export async function heads_on(tablet, doc) {
  return Automerge.getHeads(read(await chunks_on(tablet, doc))).sort();
}

/** One document as a file. */
export async function saved_on(tablet, doc) {
  return Automerge.save(read(await chunks_on(tablet, doc)));
}

export { Automerge };
