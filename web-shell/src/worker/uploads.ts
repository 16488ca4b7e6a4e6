// Photos go over HTTP, in pieces, later than the record: ask what the server has, send the rest, believe nothing but
// its answer. Photos that other people took are fetched, so that the notice can show them without a signal.

import { backoff_ms } from '../shared/backoff';
import { Plain } from '../shared/messages';
import { photo_image, photo_piece, photo_state } from './api';
import type { Store } from './store';

const PIECE_BYTES = 256 * 1000;
/** Pieces in a row that the server answers without moving on; then the photo waits for the next round. */
const MOST_STUCK = 4;

export interface PhotoPlace {
  here: boolean;
  on_server: boolean;
}

export interface UploadEnds {
  /** Every photo that an open job refers to. */
  referenced(): { doc: string; sha256: string }[];
  place(doc: string, sha256: string): PhotoPlace;
  /** Runs in the worker's queue. */
  in_order<T>(job: () => Promise<T>): Promise<T>;
  moved(doc: string, sha256: string, place: PhotoPlace): void;
  trouble(message: string): void;
  connected(): boolean;
}

export class Uploads {
  #running = false;
  #again = false;
  #attempt = 0;
  #later: ReturnType<typeof setTimeout> | undefined;

  constructor(
    readonly store: Store,
    readonly ends: UploadEnds,
  ) {}

  /**
   * Sends and fetches what is due; a call while it runs makes it look once more at the end. What is left over (a piece
   * lost on the way, a photo that another tablet has yet to send) is looked at again later, while there is a connection.
   */
  async run(): Promise<void> {
    clearTimeout(this.#later);
    if (this.#running) {
      this.#again = true;
      return;
    }
    this.#running = true;
    try {
      do {
        this.#again = false;
        await this.#round();
      } while (this.#again);
    } finally {
      this.#running = false;
    }
    if (!this.ends.connected() || this.#due().length === 0) {
      this.#attempt = 0;
      return;
    }
    this.#later = setTimeout(() => void this.run(), backoff_ms(this.#attempt, Math.random()));
    this.#attempt += 1;
  }

  #due(): { doc: string; sha256: string; place: PhotoPlace }[] {
    return this.ends
      .referenced()
      .map(({ doc, sha256 }) => ({ doc, sha256, place: this.ends.place(doc, sha256) }))
      .filter(({ place }) => !(place.here && place.on_server));
  }

  async #round(): Promise<void> {
    for (const { doc, sha256, place } of this.#due()) {
      if (!this.ends.connected()) return;
      try {
        await this.#one(doc, sha256, place);
      } catch (error) {
        if (!(error instanceof Plain)) throw error;
        if (error.kind === 'refused')
          this.ends.trouble(`A photo could not be sent: ${error.message} It is kept on this tablet.`);
        else if (error.kind === 'not_saved') this.ends.trouble(error.message);
        // Any other photo would meet the same: no signal, or no session.
        else return;
      }
    }
  }

  async #one(doc: string, sha256: string, place: PhotoPlace): Promise<void> {
    const { offset, complete } = await photo_state(doc, sha256);
    const stored = place.here ? await this.store.photo(doc, sha256) : undefined;
    const image = stored?.image ?? null;
    if (complete) {
      const bytes = image ?? (await photo_image(doc, sha256));
      await this.#keep(doc, sha256, bytes);
      return;
    }
    // Without its bytes here it is another tablet's to send.
    if (image === null) return;
    let at = offset;
    let stuck = 0;
    while (at < image.byteLength && stuck < MOST_STUCK) {
      const next = await photo_piece(doc, sha256, at, image.byteLength, image.slice(at, at + PIECE_BYTES));
      const now = next ?? (await photo_state(doc, sha256)).offset;
      stuck = now > at ? 0 : stuck + 1;
      at = now;
    }
    if ((await photo_state(doc, sha256)).complete) await this.#keep(doc, sha256, image);
  }

  #keep(doc: string, sha256: string, image: ArrayBuffer | null): Promise<void> {
    return this.ends.in_order(async () => {
      await this.store.add_photo({ doc, sha256, image, on_server: true });
      this.ends.moved(doc, sha256, { here: image !== null, on_server: true });
    });
  }
}
