// The one owner of core, storage and socket. Order is everything here: propose on a fork, store strictly, accept,
// and only then answer the page or the server. Every step that touches the core runs in one queue.

import type { CoreFace } from '../core/face';
import init, { Core } from '../core/pkg/core.js';
import wasm from '../core/pkg/core_bg.wasm?url';
import type { Command, FactHistory, JobView, NoticeView, PlacePage, ReadValue, ReasonPage } from '../core/types';
import {
  type FromWorker,
  type ImportOutcome,
  type JobRow,
  type LinkState,
  type Look,
  Plain,
  type Session,
  type Standing,
  type Status,
  type Views,
} from '../shared/messages';
import { is_fields, json, text_of } from '../shared/parse';
import { Queue } from '../shared/queue';
import * as api from './api';
import { Link } from './link';
import { prepare } from './photo';
import { ELSEWHERE, Store, type StoredRow } from './store';
import { Uploads } from './uploads';
import { seek, take_over } from './writer';

/** Beyond this many stored chunks a job is written anew as one snapshot. */
const CHUNKS_BEFORE_SNAPSHOT = 64;
/** How long a tab waits for the writer's place before it says that another tab has it. */
const WRITER_PATIENCE_MS = 1_500;

/** The status comes this much after a tap's answer, so that the verdict is painted first. */
const FOLLOWS_MS = 60;

const NO_CORE = 'Crownweir stopped after a fault. What was saved is on this tablet. Start it again.';

export class Desk {
  readonly #say: (message: FromWorker) => void;
  readonly #queue = new Queue();
  readonly #store = new Store();
  readonly #link: Link;
  readonly #uploads: Uploads;
  readonly #tabs = new BroadcastChannel('crownweir');

  #core: CoreFace | null = null;
  #stopped = false;
  #session: Session | null = null;
  #writer: Status['writer'] = 'elsewhere';
  #rows: StoredRow[] = [];
  #rulesets: Status['rulesets'] = { loaded: false, digest: '', problem: null };
  #etag = '';
  #jobs = new Map<string, JobView>();
  #problems = new Map<string, string>();
  #safe = new Map<string, boolean>();
  #photos = new Map<string, { here: boolean; on_server: boolean }>();
  #chunks = new Map<string, number>();
  #saved_at: number | null = null;
  #trouble: string | null = null;
  #taking = false;
  #look: Look = { screen: 'day' };
  /** Jobs whose views are no longer fresh. */
  #dirty = new Set<string>();
  /** Something of the status alone changed: where the work is. */
  #moved = false;
  #following = false;
  /** The job views last drawn: a place is shown beside the one before until the fresh one follows. */
  #drawn = new Map<string, JobView>();

  constructor(say: (message: FromWorker) => void) {
    this.#say = say;
    this.#link = new Link({
      core: () => this.#core,
      wanted: () => this.#wanted(),
      receive: (frame) => this.#receive(frame),
      in_order: (job) => this.#in_order(async () => job()),
      state: (state) => this.#link_said(state),
    });
    this.#uploads = new Uploads(this.#store, {
      referenced: () => this.#referenced(),
      place: (doc, sha256) => this.#photos.get(`${doc}/${sha256}`) ?? { here: false, on_server: false },
      in_order: (job) => this.#in_order(job),
      moved: (doc, sha256, place) => {
        this.#photos.set(`${doc}/${sha256}`, place);
        this.#dirty.add(doc);
      },
      trouble: (message) => this.#worry(message),
      connected: () => this.#link.state === 'connected',
    });
    let following = false;
    this.#tabs.onmessage = () => {
      if (this.#writer !== 'elsewhere' || following) return;
      following = true;
      void this.#in_order(() => {
        following = false;
        return this.#boot();
      });
    };
    addEventListener('online', () => this.#link.poke());
  }

  // ---- asks of the page -------------------------------------------------------------------------------------------

  async start(): Promise<Status> {
    await init({ module_or_path: wasm });
    const mine = await seek(this.#writer_events, WRITER_PATIENCE_MS);
    await this.#in_order(async () => {
      if (mine) await this.#claim();
      await this.#boot();
    });
    if (mine) this.#connect();
    return this.#status();
  }

  async sign_in(user: string, password: string, device: string): Promise<Session> {
    this.#writer_only();
    const session = await api.sign_in(user, password, device);
    await this.#in_order(async () => {
      const another = this.#session?.user !== session.user;
      await this.#store.set_session(session);
      this.#session = session;
      // A different person needs a fresh actor: nothing of one may be written in the name of the other.
      if (another) await this.#boot();
      this.#trouble = null;
      this.#push_status();
    });
    this.#link.start();
    void this.take_along().catch(() => undefined);
    return session;
  }

  async sign_out(): Promise<null> {
    this.#writer_only();
    this.#link.stop();
    await api.sign_out().catch(() => undefined);
    await this.#in_order(async () => {
      await this.#store.set_session(null);
      await this.#boot();
    });
    return null;
  }

  /** Fetches the law and the list of jobs, and follows every job of it until it is here. */
  async take_along(): Promise<null> {
    this.#writer_only();
    const session = this.#session;
    if (session === null) throw new Plain('sign_in', 'Sign in to take jobs along.');
    this.#taking = true;
    this.#push_status();
    try {
      const fresh = await api.rulesets(this.#etag);
      const listed = await api.jobs(session.user);
      await this.#in_order(async () => {
        if (fresh !== null) await this.#store.set_rulesets(fresh);
        await this.#list(listed, session.user);
        // The law changes hands only here: between visits, by the user's own action or at a fresh start.
        if (fresh !== null) await this.#boot();
        this.#tabs.postMessage('rows');
      });
      if (this.#link.state === 'connected') await this.#link.follow(this.#wanted());
      else this.#link.start();
      void this.#uploads.run();
    } catch (error) {
      if (error instanceof Plain && error.kind === 'sign_in') this.#link.stop('sign_in');
      throw error;
    } finally {
      this.#taking = false;
      this.#push_status();
    }
    return null;
  }

  watch(look: Look): Promise<Views> {
    this.#look = look;
    return this.#in_order(async () => this.#views());
  }

  command(doc: string, command: Command): Promise<null> {
    this.#writer_only();
    return this.#in_order(async () => {
      await this.#propose(doc, command);
      return null;
    });
  }

  /** The bytes are stored strictly before the record refers to them. */
  async photo(doc: string, subject: string, caption: string, image: Blob): Promise<null> {
    this.#writer_only();
    const { sha256, bytes } = await prepare(image);
    await this.#in_order(async () => {
      const key = `${doc}/${sha256}`;
      if (this.#photos.get(key)?.here !== true) {
        await this.#store.add_photo({
          doc,
          sha256,
          image: bytes,
          on_server: this.#photos.get(key)?.on_server ?? false,
        });
        this.#photos.set(key, { here: true, on_server: this.#photos.get(key)?.on_server ?? false });
      }
      await this.#propose(doc, { do: 'add_photo', subject, sha256, bytes: bytes.byteLength, caption });
    });
    void this.#uploads.run();
    return null;
  }

  async photo_image(doc: string, sha256: string): Promise<Blob | null> {
    const stored = await this.#store.photo(doc, sha256);
    return stored?.image ? new Blob([stored.image], { type: 'image/jpeg' }) : null;
  }

  read_value(doc: string, subject: string, fact: string, text: string): Promise<ReadValue> {
    return this.#in_order(
      async () => JSON.parse(this.#core_or_throw().read_value(doc, subject, fact, text)) as ReadValue,
    );
  }

  async import_jobs(text: string): Promise<ImportOutcome[]> {
    this.#writer_only();
    const outcome = await api.import_jobs(text);
    void this.take_along().catch(() => undefined);
    return outcome;
  }

  async shown(shown: boolean): Promise<null> {
    if (shown) {
      // A frozen tab may wake with a dead connection to its storage, and a socket that nobody answers.
      await this.#in_order(() => this.#store.reopen());
      this.#link.poke();
    }
    return null;
  }

  async take_over(): Promise<null> {
    take_over(this.#writer_events);
    return null;
  }

  // ---- one writer -------------------------------------------------------------------------------------------------

  readonly #writer_events = {
    gained: (): void => {
      void this.#in_order(async () => {
        await this.#claim();
        await this.#boot();
      }).then(() => this.#connect());
    },
    lost: (): void => {
      this.#writer = 'elsewhere';
      this.#link.stop();
      void this.#in_order(() => this.#boot());
      // In line again, for when the tab that took over is closed.
      void seek(this.#writer_events, 0).then((mine) => mine && this.#writer_events.gained());
    },
  };

  async #claim(): Promise<void> {
    await this.#store.claim(crypto.randomUUID());
    this.#writer = 'here';
  }

  #writer_only(): void {
    if (this.#writer !== 'here') throw new Plain('elsewhere', ELSEWHERE);
  }

  #connect(): void {
    if (this.#session === null) return;
    this.#link.start();
    // At a fresh start, as after signing in, the list and the law are looked at once; with no signal they stay as they are.
    void this.take_along().catch(() => undefined);
  }

  // ---- opening what is stored -------------------------------------------------------------------------------------

  /** Builds the core anew from storage: at the start, for another person, another law, or in the other tab's wake. */
  async #boot(): Promise<void> {
    const [session, rulesets, rows, photos] = await Promise.all([
      this.#store.session(),
      this.#store.rulesets(),
      this.#store.rows(),
      this.#store.photo_places(),
    ]);
    this.#link_rest();
    this.#core?.free();
    const core: CoreFace = new Core();
    this.#core = core;
    this.#jobs.clear();
    this.#drawn.clear();
    this.#problems.clear();
    this.#session = session;
    this.#rows = rows;
    this.#etag = rulesets?.etag ?? '';
    this.#rulesets = { loaded: false, digest: rulesets?.digest ?? '', problem: null };
    this.#photos = new Map(photos.map(({ doc, sha256, here, on_server }) => [`${doc}/${sha256}`, { here, on_server }]));
    if (rulesets !== null) {
      try {
        core.load_rulesets(rulesets.files);
        this.#rulesets.loaded = true;
      } catch (error) {
        this.#rulesets.problem = `The codes stored on this tablet do not load (${message_of(error)}). Records can be read and written, verdicts cannot be reached. Take the jobs along again when there is a signal.`;
      }
    }
    if (session !== null) {
      core.begin(JSON.stringify(session), crypto.getRandomValues(new Uint8Array(32)));
      for (const row of this.#mine()) await this.#open(core, row.doc);
    }
    for (const row of this.#mine()) this.#dirty.add(row.doc);
    if (this.#link.state === 'connected') this.#link.start_over();
  }

  async #open(core: CoreFace, doc: string): Promise<void> {
    const { ids, bytes } = await this.#store.chunks(doc);
    this.#chunks.set(doc, ids.length);
    this.#safe.set(doc, await this.#store.safe(doc));
    if (ids.length === 0) return;
    try {
      core.open(doc, bytes);
    } catch (error) {
      if (error instanceof WebAssembly.RuntimeError) throw error;
      this.#problems.set(
        doc,
        `This job's record could not be opened (${message_of(error)}). It is kept on this tablet as it is; tell your supervisor before you clear anything.`,
      );
      return;
    }
    if (ids.length > CHUNKS_BEFORE_SNAPSHOT && this.#writer === 'here') await this.#compact(core, doc, ids);
  }

  /** Writes a job as one snapshot, reads it back in a core of its own, and only then lets go of what it covers. */
  async #compact(core: CoreFace, doc: string, covered: number[]): Promise<void> {
    const snapshot = core.snapshot(doc);
    const probe: CoreFace = new Core();
    try {
      probe.open(doc, snapshot);
    } catch (error) {
      if (error instanceof WebAssembly.RuntimeError) throw error;
      // The many small pieces are still there and read well; only time is lost.
      return;
    } finally {
      probe.free();
    }
    await this.#store.compact(doc, snapshot, covered);
    this.#chunks.set(doc, 1);
  }

  /** The rows of the person who is signed in. */
  #mine(): StoredRow[] {
    return this.#rows.filter((row) => row.user === this.#session?.user);
  }

  #wanted(): string[] {
    return this.#mine()
      .filter((row) => row.listed && !this.#problems.has(row.doc) && this.#core?.is_open(row.doc) === false)
      .map((row) => row.doc);
  }

  /** Takes over the server's list. Nothing that only this tablet has ever leaves it. */
  async #list(listed: StoredRow[], user: string): Promise<void> {
    const stored = new Set(await this.#store.docs());
    const next = new Map<string, StoredRow>();
    const withheld: string[] = [];
    for (const row of this.#rows) {
      if (row.user !== user) next.set(row.doc, row);
      else if (stored.has(row.doc)) next.set(row.doc, { ...row, listed: false });
    }
    for (const row of listed) {
      const before = next.get(row.doc);
      if (before !== undefined && before.user !== user && stored.has(row.doc) && !(await this.#store.safe(row.doc))) {
        withheld.push(row.permit);
        continue;
      }
      next.set(row.doc, row);
    }
    this.#rows = [...next.values()];
    await this.#store.set_rows(this.#rows);
    const core = this.#core;
    if (core !== null) for (const row of this.#mine()) if (!core.is_open(row.doc)) await this.#open(core, row.doc);
    for (const row of this.#mine()) this.#dirty.add(row.doc);
    if (withheld.length > 0) {
      this.#trouble = `Work of another person on permit ${withheld.join(', ')} is on this tablet only, and must go over in that person's name. It is kept. Let them sign in here once, then take the jobs along again.`;
    }
  }

  // ---- writing ----------------------------------------------------------------------------------------------------

  async #propose(doc: string, command: Command): Promise<void> {
    const core = this.#core_or_throw();
    let bytes: Uint8Array;
    try {
      bytes = core.propose(doc, JSON.stringify(command), Date.now());
    } catch (error) {
      if (error instanceof WebAssembly.RuntimeError) throw error;
      throw new Plain('refused', message_of(error));
    }
    try {
      if (bytes.length > 0) await this.#store.add_chunk(doc, bytes, true);
    } catch (error) {
      core.discard(doc);
      throw error;
    }
    core.accept(doc);
    this.#saved_at = Date.now();
    this.#safe.set(doc, false);
    this.#changed(doc);
    this.#tabs.postMessage(doc);
    this.#link.flush();
    await this.#compact_if_long(core, doc);
  }

  /** One frame of the server: stage, store strictly, accept, and only then let the answers go. */
  #receive(frame: Uint8Array): Promise<void> {
    return this.#in_order(async () => {
      const core = this.#core;
      if (core === null) return;
      const received = json(core.link_receive(frame));
      const docs = is_fields(received) && Array.isArray(received.store) ? received.store.map(doc_of) : [];
      try {
        for (const doc of docs) {
          const bytes = core.staged(doc);
          if (bytes.length > 0) await this.#store.add_chunk(doc, bytes, false);
        }
      } catch (error) {
        // Lets go of all that is staged; the server sends it again when the link starts afresh.
        core.link_close();
        this.#worry(message_of(error));
        throw error;
      }
      core.link_settle();
      for (const doc of docs) {
        this.#changed(doc);
        this.#tabs.postMessage(doc);
      }
      this.#link.flush();
      await this.#acknowledged(core);
      for (const doc of docs) await this.#compact_if_long(core, doc);
      if (docs.length > 0) void this.#uploads.run();
    });
  }

  /** Keeps on disk what the server acknowledged, so that it is still known after a start without a signal. */
  async #acknowledged(core: CoreFace): Promise<void> {
    for (const { doc } of this.#mine()) {
      if (!core.is_open(doc)) continue;
      const standing = json(core.standing(doc));
      if (!is_fields(standing)) continue;
      const safe = standing.safe === true;
      const heard = Array.isArray(standing.server_heads) && standing.server_heads.length > 0;
      if (safe === this.#safe.get(doc) || (!safe && !heard)) continue;
      await this.#store.set_safe(doc, safe);
      this.#safe.set(doc, safe);
      this.#moved = true;
    }
  }

  async #compact_if_long(core: CoreFace, doc: string): Promise<void> {
    const count = (this.#chunks.get(doc) ?? 0) + 1;
    this.#chunks.set(doc, count);
    if (count <= CHUNKS_BEFORE_SNAPSHOT) return;
    const { ids } = await this.#store.chunks(doc);
    await this.#compact(core, doc, ids);
  }

  // ---- reading ----------------------------------------------------------------------------------------------------

  #changed(doc: string): void {
    this.#jobs.delete(doc);
    this.#dirty.add(doc);
  }

  #job(doc: string): JobView | null {
    const core = this.#core;
    if (core === null || !core.is_open(doc)) return null;
    const known = this.#jobs.get(doc);
    if (known !== undefined) return known;
    const view = JSON.parse(core.job(doc)) as JobView;
    this.#jobs.set(doc, view);
    this.#drawn.set(doc, view);
    return view;
  }

  #views(): Views {
    const look = this.#look;
    const views: Views = { look, job: null, place: null, notice: null, reason: null, history: null, problem: null };
    if (look.screen === 'day') return views;
    const core = this.#core_or_throw();
    const { doc } = look;
    try {
      views.job = (look.screen === 'place' && core.is_open(doc) ? this.#drawn.get(doc) : null) ?? this.#job(doc);
      if (views.job === null) {
        views.problem =
          this.#problems.get(doc) ?? 'This job is not on this tablet yet. Take the jobs along where there is a signal.';
        return views;
      }
      if (look.screen === 'notice') views.notice = JSON.parse(core.notice(doc)) as NoticeView;
      if (look.screen === 'place') views.place = JSON.parse(core.place(doc, look.place)) as PlacePage;
      const sheet = look.screen === 'notice' ? null : look.sheet;
      if (sheet?.sheet === 'reason')
        views.reason = JSON.parse(core.reason(doc, sheet.provision, sheet.subject)) as ReasonPage;
      if (sheet?.sheet === 'fact')
        views.history = JSON.parse(core.fact_history(doc, sheet.subject, sheet.fact)) as FactHistory;
    } catch (error) {
      if (error instanceof WebAssembly.RuntimeError) throw error;
      views.problem = message_of(error);
    }
    return views;
  }

  #referenced(): { doc: string; sha256: string }[] {
    const core = this.#core;
    if (core === null) return [];
    return this.#mine().flatMap(({ doc }) =>
      core.is_open(doc) ? photos_of(core, doc).map((sha256) => ({ doc, sha256 })) : [],
    );
  }

  #status(): Status {
    const rows = this.#mine().map((row) => this.#row(row));
    const due = rows.filter((row) => row.listed);
    const here = due.filter((row) => row.on_tablet || row.problem !== null).length;
    const taking = this.#taking || (this.#link.state === 'connected' && here < due.length);
    return {
      session: this.#session,
      link: this.#link.state,
      writer: this.#writer,
      rulesets: this.#rulesets,
      saved_at: this.#saved_at,
      rows,
      taking: taking ? { done: here, of: due.length } : null,
      trouble: this.#trouble,
    };
  }

  #row(stored: StoredRow): JobRow {
    const { user: _, ...row } = stored;
    let job: JobView | null = null;
    let problem = this.#problems.get(row.doc) ?? null;
    try {
      job = this.#job(row.doc);
    } catch (error) {
      if (error instanceof WebAssembly.RuntimeError) throw error;
      problem = message_of(error);
    }
    return {
      ...row,
      on_tablet: this.#core?.is_open(row.doc) === true,
      ready:
        job !== null && this.#rulesets.loaded && job.adoption.problem === null && this.#photos_missing(row.doc) === 0,
      law: job === null ? row.adoption : job.adoption.title,
      visits_before: job?.history.length ?? 0,
      last_visit: job?.history.at(-1) ?? null,
      visit_open: job?.visit?.stage_label ?? '',
      disposition: job === null ? null : { word: job.disposition.word, label: job.disposition.label },
      tally: job?.tally ?? null,
      standing: this.#standing(row.doc),
      problem: problem ?? job?.adoption.problem ?? null,
    };
  }

  #standing(doc: string): Standing {
    const core = this.#core;
    if (core === null || !core.is_open(doc))
      return { word: 'absent', photos_waiting: 0, refused: null, trouble: null, unavailable: false };
    const said = json(core.standing(doc));
    const fields = is_fields(said) ? said : {};
    const refused = text_of(fields, 'refused');
    const safe = fields.safe === true || this.#safe.get(doc) === true;
    const photos_waiting = photos_of(core, doc).filter(
      (sha256) => this.#photos.get(`${doc}/${sha256}`)?.on_server !== true,
    ).length;
    return {
      word: safe && refused === '' ? (photos_waiting === 0 ? 'complete' : 'safe') : 'tablet',
      photos_waiting,
      refused: refused === '' ? null : refused,
      trouble: text_of(fields, 'trouble') || null,
      unavailable: fields.unavailable === true,
    };
  }

  #photos_missing(doc: string): number {
    const core = this.#core;
    if (core === null) return 0;
    return photos_of(core, doc).filter((sha256) => this.#photos.get(`${doc}/${sha256}`)?.here !== true).length;
  }

  // ---- the queue and what is told ---------------------------------------------------------------------------------

  #in_order<T>(job: () => Promise<T>): Promise<T> {
    return this.#queue.run(async () => {
      if (this.#stopped) throw new Plain('broken', NO_CORE);
      try {
        return await job();
      } catch (error) {
        if (error instanceof WebAssembly.RuntimeError) this.#stop(error);
        throw error;
      } finally {
        if (this.#dirty.size > 0 || this.#moved) this.#push();
      }
    });
  }

  /** Draws what changed: the place on the screen at once, the job and the status when the answer is out. */
  #push(): void {
    if (this.#stopped) return;
    const dirty = new Set(this.#dirty);
    this.#dirty.clear();
    this.#moved = false;
    const look = this.#look;
    this.#guarded(() => {
      if (look.screen !== 'day' && dirty.has(look.doc)) this.#say({ type: 'views', views: this.#views() });
    });
    if (this.#following) return;
    this.#following = true;
    setTimeout(() => void this.#queue.run(() => this.#follow()), FOLLOWS_MS);
  }

  #follow(): void {
    this.#following = false;
    if (this.#stopped) return;
    this.#guarded(() => {
      const now = this.#look;
      const job = now.screen === 'place' ? this.#job(now.doc) : null;
      if (now.screen === 'place' && job !== null) this.#say({ type: 'job', doc: now.doc, job });
      this.#say({ type: 'status', status: this.#status() });
    });
  }

  #guarded(job: () => void): void {
    try {
      job();
    } catch (error) {
      if (error instanceof WebAssembly.RuntimeError) this.#stop(error);
      else this.#trouble = message_of(error);
    }
  }

  #push_status(): void {
    if (!this.#stopped && this.#core !== null) this.#say({ type: 'status', status: this.#status() });
  }

  #worry(message: string): void {
    this.#trouble = message;
    this.#push_status();
  }

  /** A trap leaves the core's memory in no known state: nothing more is asked of it. The record is on disk. */
  #stop(error: unknown): void {
    if (this.#stopped) return;
    this.#stopped = true;
    this.#core = null;
    this.#link.stop();
    this.#say({ type: 'stopped', message: `${NO_CORE} (${message_of(error)})` });
  }

  #link_rest(): void {
    this.#core?.link_close();
  }

  #link_said(state: LinkState): void {
    this.#push_status();
    if (state === 'connected') void this.#uploads.run();
  }

  #core_or_throw(): CoreFace {
    if (this.#core === null) throw new Plain('broken', NO_CORE);
    return this.#core;
  }
}

function photos_of(core: CoreFace, doc: string): string[] {
  const photos = json(core.photos(doc));
  return Array.isArray(photos) ? photos.filter(is_fields).map((photo) => text_of(photo, 'sha256')) : [];
}

function doc_of(entry: unknown): string {
  return typeof entry === 'string' ? entry : is_fields(entry) ? text_of(entry, 'doc') : '';
}

function message_of(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
