// The real server with a demo agency, and unmodified automerge-repo clients of it.

import { spawn, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import * as Automerge from '@automerge/automerge';
import { Repo } from '@automerge/automerge-repo';
import { WebSocketClientAdapter } from '@automerge/automerge-repo-network-websocket';

const CROWNWEIR = process.env.CROWNWEIR;
if (CROWNWEIR === undefined) throw new Error('CROWNWEIR must name the crownweir binary; run `cargo xtask interop`');

/** How long something may take that has no reason to take long. */
const PATIENCE_MS = 30_000;

export class Server {
  static async demo() {
    const data = mkdtempSync(join(tmpdir(), 'crownweir-interop-'));
    const seeded = spawnSync(CROWNWEIR, ['demo', '--data', data], { encoding: 'utf8' });
    if (seeded.status !== 0) throw new Error(`crownweir demo ended with ${seeded.status}: ${seeded.stderr}`);
    const server = new Server();
    server.data = data;
    server.passwords = new Map(
      [...seeded.stdout.matchAll(/^\s+(\S+)\s+(\S+)\s+(?:inspector|supervisor|clerk|administrator)\s/gm)].map((m) => [m[1], m[2]]),
    );
    await server.start();
    return server;
  }

  async start() {
    this.child = spawn(CROWNWEIR, ['serve', '--data', this.data, '--listen', `127.0.0.1:${this.port ?? 0}`], {
      stdio: ['ignore', 'pipe', 'inherit'],
    });
    this.port = await new Promise((resolve, reject) => {
      this.child.once('exit', (code) => reject(new Error(`crownweir serve ended with ${code}`)));
      createInterface({ input: this.child.stdout }).on('line', (line) => {
        const found = /listening on http:\/\/[^:]+:(\d+)/.exec(line);
        if (found) resolve(Number(found[1]));
      });
    });
  }

  /** Ends it as a power cut ends a process. */
  async kill() {
    const ended = new Promise((resolve) => this.child.once('exit', resolve));
    this.child.kill('SIGKILL');
    await ended;
  }

  async end() {
    await this.kill();
    rmSync(this.data, { recursive: true, force: true });
  }

  async call(path, options = {}) {
    const answer = await fetch(`http://127.0.0.1:${this.port}${path}`, options);
    if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
    return answer;
  }

  /** Signs in and gives what a client without cookies needs. */
  async admit(user) {
    const answer = await this.call('/api/session', {
      method: 'POST',
      body: JSON.stringify({ user, password: this.passwords.get(user), device: 'interop' }),
    });
    const headers = { cookie: answer.headers.getSetCookie()[0].split(';')[0] };
    const { role, name } = await answer.json();
    const { ticket } = await (await this.call('/api/ticket', { method: 'POST', headers })).json();
    const jobs = await (await this.call('/api/jobs', { headers })).json();
    const who = { user, name, role, device: 'interop' };
    return { who, jobs, url: `ws://127.0.0.1:${this.port}/ws?ticket=${ticket}` };
  }

  async sign_in(user) {
    return new Client(await this.admit(user));
  }
}

/** A repository as anybody would set one up. */
export class Client {
  constructor({ who, jobs, url }) {
    this.who = who;
    this.jobs = jobs;
    this.adapter = new WebSocketClientAdapter(url, 500);
    // The package throws what it does not expect of a dying line, past anybody who could catch it; a line that is reset
    // by a killed server is what these tests are about. It reconnects by its `close` handler, which stays as it is.
    this.adapter.onError = () => {};
    this.repo = new Repo({ network: [this.adapter] });
    this.counters = new Map();
  }

  /** Tickets end with the server that gave them: the next attempt to connect brings a new one. */
  async renew(server) {
    this.adapter.url = (await server.admit(this.who.user)).url;
  }

  find(doc) {
    return this.repo.find(`automerge:${doc}`, { signal: AbortSignal.timeout(PATIENCE_MS) });
  }

  /** Writes an entry as the record's shape asks: under a name that begins with the writing actor, the session first. */
  write(handle, entry, value = (text) => new Automerge.ImmutableString(text)) {
    const actor = Automerge.getActorId(handle.doc());
    const prefix = actor.slice(0, 16);
    const next = this.counters.get(actor) ?? 1;
    handle.change((doc) => {
      if (next === 1) {
        doc.entries[`${prefix}.0`] = value(JSON.stringify({ t: 'session', at: Date.now(), ...this.who, actor }));
      }
      doc.entries[`${prefix}.${next.toString(36)}`] = value(JSON.stringify({ at: Date.now(), ...entry }));
    });
    this.counters.set(actor, next + 1);
    return `${prefix}.${next.toString(36)}`;
  }

  async end() {
    // Not `repo.shutdown()`: it waits for a storage that these clients do not have.
    this.adapter.disconnect();
  }
}

/** The entries of a record, parsed. */
export function entries(handle) {
  return new Map(Object.entries(handle.doc().entries).map(([id, text]) => [id, JSON.parse(String(text))]));
}

export async function until(what, holds) {
  const end = Date.now() + PATIENCE_MS;
  while (!(await holds())) {
    if (Date.now() > end) throw new Error(`it never came about that ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}
