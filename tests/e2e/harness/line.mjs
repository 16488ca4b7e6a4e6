// A network line of one tablet, which can be cut. The browser's own "offline" leaves open sockets of workers alone;
// a line that refuses and drops does not.

import { createServer, connect } from 'node:net';

export class Line {
  /** A line to a server; its address stays the same through cuts, so the tablet's storage does too. */
  static async to(server) {
    const line = new Line(server);
    await line.join();
    return line;
  }

  constructor(server) {
    this.server = server;
    this.port = 0;
    this.open = new Set();
  }

  get url() {
    return `http://localhost:${this.port}`;
  }

  async join() {
    if (this.listener !== undefined) return;
    const listener = createServer((near) => {
      const far = connect(this.server.port, '127.0.0.1');
      for (const [one, other] of [[near, far], [far, near]]) {
        this.open.add(one);
        one.on('error', () => other.destroy());
        one.on('close', () => {
          this.open.delete(one);
          other.destroy();
        });
        one.pipe(other);
      }
    });
    await new Promise((resolve, reject) => {
      listener.once('error', reject);
      listener.listen(this.port, '127.0.0.1', resolve);
    });
    this.port = listener.address().port;
    this.listener = listener;
  }

  async cut() {
    if (this.listener === undefined) return;
    const closed = new Promise((resolve) => this.listener.close(resolve));
    this.listener = undefined;
    for (const socket of this.open) socket.destroy();
    await closed;
  }
}
