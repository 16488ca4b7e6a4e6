// The real server binary with a demo agency in a folder of its own.

import { spawn, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';

/** The binary under test; `cargo xtask e2e` names it. */
export const CROWNWEIR = process.env.CROWNWEIR ?? fail('CROWNWEIR must name the crownweir binary; run `cargo xtask e2e`');

function fail(message) {
  throw new Error(message);
}

/** Runs the command line; answers with its exit code and what it said. */
export function crownweir(args, options = {}) {
  const done = spawnSync(CROWNWEIR, args, { encoding: 'utf8', maxBuffer: 64 * 1024 * 1024, ...options });
  if (done.error) throw done.error;
  return { code: done.status, out: done.stdout, err: done.stderr };
}

export class Server {
  /** Seeds the demo agency and serves it. */
  static async demo() {
    const data = mkdtempSync(join(tmpdir(), 'crownweir-data-'));
    const { code, out, err } = crownweir(['demo', '--data', data]);
    if (code !== 0) throw new Error(`crownweir demo ended with ${code}: ${err}`);
    const server = new Server(data, accounts(out));
    await server.start();
    return server;
  }

  constructor(data, people) {
    this.data = data;
    /** user -> { user, password, role, name } */
    this.people = people;
    this.port = 0;
    this.log = '';
  }

  /** Starts, on the same port as before if there was one. */
  async start() {
    const child = spawn(CROWNWEIR, ['serve', '--data', this.data, '--listen', `127.0.0.1:${this.port}`], {
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    this.child = child;
    child.stderr.on('data', (bytes) => {
      this.log += bytes;
    });
    this.port = await new Promise((resolve, reject) => {
      child.once('exit', (code) => reject(new Error(`crownweir serve ended with ${code}: ${this.log}`)));
      createInterface({ input: child.stdout }).on('line', (line) => {
        const match = /listening on http:\/\/[^:]+:(\d+)/.exec(line);
        if (match) resolve(Number(match[1]));
      });
    });
  }

  get url() {
    return `http://localhost:${this.port}`;
  }

  person(user) {
    return this.people.get(user) ?? fail(`the demo has no account ${user}`);
  }

  /** Ends it at once, as a power cut does. */
  async kill() {
    if (this.child === undefined || this.child.exitCode !== null || this.child.signalCode !== null) return;
    const ended = new Promise((resolve) => this.child.once('exit', resolve));
    this.child.kill('SIGKILL');
    await ended;
  }

  async end() {
    await this.kill();
    rmSync(this.data, { recursive: true, force: true });
  }

  /** A signed-in client without a browser. */
  async client(user, device = 'office') {
    const { password } = this.person(user);
    const answer = await fetch(`${this.url}/api/session`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ user, password, device }),
    });
    if (answer.status !== 200) throw new Error(`sign-in of ${user}: ${answer.status} ${await answer.text()}`);
    const cookie = answer.headers.getSetCookie()[0].split(';')[0];
    return (path, options = {}) =>
      fetch(`${this.url}${path}`, { ...options, headers: { cookie, ...options.headers } });
  }
}

/** Lines of `user password role name` as `crownweir demo` prints them. */
function accounts(text) {
  const people = new Map();
  for (const line of text.split('\n')) {
    const match = /^\s+(\S+)\s+(\S+)\s+(inspector|supervisor|clerk|administrator)\s+(.+?)\s*$/.exec(line);
    if (match) people.set(match[1], { user: match[1], password: match[2], role: match[3], name: match[4] });
  }
  if (people.size === 0) throw new Error(`crownweir demo named no accounts:\n${text}`);
  return people;
}
