// The socket to the server. It carries frames that the core makes and reads; it never looks into one.
// `navigator.onLine` is no evidence of a route: this probes, and backs off with jitter.

import type { CoreFace } from '../core/face';
import { backoff_ms } from '../shared/backoff';
import type { LinkState } from '../shared/messages';
import { whoami } from './api';

export interface LinkEnds {
  core(): CoreFace | null;
  /** Jobs that are wanted although nothing of them is stored yet. */
  wanted(): string[];
  /** Runs in the worker's queue: stages, stores and accepts what one frame brought. */
  receive(frame: Uint8Array): Promise<void>;
  /** Runs a job in the worker's queue. */
  in_order<T>(job: () => T | Promise<T>): Promise<T>;
  state(state: LinkState): void;
}

/** Without a word from the server for this long after we spoke, the route is looked at. */
const SILENCE_MS = 10_000;

export class Link {
  #socket: WebSocket | null = null;
  #state: LinkState = 'off';
  #attempt = 0;
  #retry: ReturnType<typeof setTimeout> | undefined;
  #silence: ReturnType<typeof setTimeout> | undefined;
  #wanted = false;
  readonly #ends: LinkEnds;

  constructor(ends: LinkEnds) {
    this.#ends = ends;
  }

  get state(): LinkState {
    return this.#state;
  }

  /** Connects, and keeps trying until `stop`. Called again, it tries at once. */
  start(): void {
    this.#wanted = true;
    this.#attempt = 0;
    if (this.#socket === null) void this.#connect();
  }

  stop(state: LinkState = 'off'): void {
    this.#wanted = false;
    clearTimeout(this.#retry);
    this.#drop();
    this.#say(state);
  }

  /** Something suggests that there may be a route now (tab shown, network event): looks at once. */
  poke(): void {
    if (!this.#wanted) return;
    if (this.#socket === null) this.start();
    else void this.#look_at_route();
  }

  /** The core was built anew: its side of the conversation is gone, so the socket starts over too. */
  start_over(): void {
    if (!this.#wanted) return;
    this.#drop();
    void this.#connect();
  }

  /** Sends what the core has to send. Must run in the worker's queue. */
  flush(): void {
    const core = this.#ends.core();
    if (core === null || this.#socket?.readyState !== WebSocket.OPEN) return;
    for (const frame of core.link_send()) this.#send(frame);
  }

  #send(frame: Uint8Array): void {
    this.#socket?.send(new Uint8Array(frame));
    this.#silence ??= setTimeout(() => void this.#look_at_route(), SILENCE_MS);
  }

  #heard(): void {
    clearTimeout(this.#silence);
    this.#silence = undefined;
  }

  async #connect(): Promise<void> {
    clearTimeout(this.#retry);
    this.#say('connecting');
    // A refused socket does not say why; the session is asked first, which tells no signal from no session.
    try {
      if ((await whoami()) === null) {
        this.stop('sign_in');
        return;
      }
    } catch {
      this.#again();
      return;
    }
    if (!this.#wanted || this.#socket !== null) return;
    const socket = new WebSocket(`${location.protocol === 'https:' ? 'wss' : 'ws'}://${location.host}/ws`);
    socket.binaryType = 'arraybuffer';
    this.#socket = socket;
    socket.onopen = () =>
      void this.#ends.in_order(() => {
        const core = this.#ends.core();
        if (core === null || this.#socket !== socket) return;
        for (const frame of core.link_open(`tablet-${crypto.randomUUID()}`)) this.#send(frame);
        for (const doc of this.#ends.wanted()) core.link_follow(doc);
        this.flush();
        this.#attempt = 0;
        this.#say('connected');
      });
    socket.onmessage = (message: MessageEvent<unknown>) => {
      if (this.#socket !== socket) return;
      this.#heard();
      if (message.data instanceof ArrayBuffer) {
        // A failure has been told to the user by `receive`; the link starts afresh, later.
        this.#ends.receive(new Uint8Array(message.data)).catch(() => this.#lost(socket));
      }
    };
    socket.onclose = () => this.#lost(socket);
    socket.onerror = () => this.#lost(socket);
  }

  /** Follows jobs that came onto the list while connected. */
  follow(docs: string[]): Promise<void> {
    return this.#ends.in_order(() => {
      const core = this.#ends.core();
      if (core === null || this.#state !== 'connected') return;
      for (const doc of docs) core.link_follow(doc);
      this.flush();
    });
  }

  #lost(socket: WebSocket): void {
    if (this.#socket !== socket) return;
    this.#drop();
    this.#again();
  }

  #drop(): void {
    const socket = this.#socket;
    this.#socket = null;
    this.#heard();
    if (socket === null) return;
    socket.onopen = socket.onmessage = socket.onclose = socket.onerror = null;
    socket.close();
    void this.#ends.in_order(() => {
      if (this.#socket === null) this.#ends.core()?.link_close();
    });
  }

  #again(): void {
    if (!this.#wanted) return;
    this.#say('no_signal');
    clearTimeout(this.#retry);
    this.#retry = setTimeout(() => void this.#connect(), backoff_ms(this.#attempt, Math.random()));
    this.#attempt += 1;
  }

  async #look_at_route(): Promise<void> {
    this.#heard();
    const socket = this.#socket;
    try {
      if ((await whoami()) === null) this.stop('sign_in');
    } catch {
      if (socket !== null) this.#lost(socket);
    }
  }

  #say(state: LinkState): void {
    if (this.#state === state) return;
    this.#state = state;
    this.#ends.state(state);
  }
}
