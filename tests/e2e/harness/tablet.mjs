// A browser as a tablet: a profile of its own on disk, touch, a line that can be cut, a process that can be killed.

import { mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from 'playwright-core';
import { Line } from './line.mjs';

const CHROMIUM = process.env.CHROMIUM ?? '';
const PICTURES = process.env.PICTURES ?? join(tmpdir(), 'crownweir-pictures');

const ARGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
  '--disable-component-update', '--disable-sync', '--disable-dev-shm-usage'];

export const PORTRAIT = { width: 820, height: 1180 };

export class Tablet {
  static async at(server, name) {
    if (CHROMIUM === '') throw new Error('CHROMIUM must name the browser; run `cargo xtask e2e`');
    const tablet = new Tablet(name, await Line.to(server));
    await tablet.open();
    await tablet.page.goto(tablet.line.url);
    await tablet.ready();
    return tablet;
  }

  constructor(name, line) {
    this.name = name;
    this.line = line;
    this.profile = mkdtempSync(join(tmpdir(), 'crownweir-tablet-'));
    /** What went wrong in the page without a test asking. */
    this.faults = [];
    this.offline = false;
  }

  async open() {
    this.context = await chromium.launchPersistentContext(this.profile, {
      executablePath: CHROMIUM,
      headless: true,
      args: ARGS,
      viewport: PORTRAIT,
      hasTouch: true,
      acceptDownloads: true,
      locale: 'en-US',
    });
    this.context.setDefaultTimeout(20_000);
    await this.context.setOffline(this.offline);
    this.page = this.context.pages()[0] ?? (await this.context.newPage());
    this.page.on('pageerror', (error) => this.faults.push(String(error)));
  }

  /** The page has drawn its first screen. */
  async ready() {
    await this.page.waitForSelector('html[data-ready]');
  }

  /** The signal is gone: the browser says so, and nothing gets through. */
  async leaveSignal() {
    this.offline = true;
    await this.line.cut();
    await this.context.setOffline(true);
  }

  async returnToSignal() {
    this.offline = false;
    await this.line.join();
    await this.context.setOffline(false);
  }

  async reload() {
    await this.page.reload();
    await this.ready();
  }

  /** Kills every process of this browser, as an empty battery does, without a word of warning. */
  async kill() {
    const gone = new Promise((resolve) => this.context.once('close', resolve));
    for (const pid of processesOf(this.profile)) {
      try {
        process.kill(pid, 'SIGKILL');
      } catch (error) {
        if (error.code !== 'ESRCH') throw error;
      }
    }
    await gone;
    rmSync(join(this.profile, 'SingletonLock'), { force: true });
  }

  /** Starts the browser again on the same profile, in or out of signal as it was, at the given place. */
  async reopen(hash = '') {
    await this.open();
    await this.page.goto(`${this.line.url}/${hash}`);
    await this.ready();
  }

  async picture(name) {
    mkdirSync(PICTURES, { recursive: true });
    await this.page.screenshot({ path: join(PICTURES, `${name}.png`) });
  }

  async end() {
    await this.context.close().catch(() => undefined);
    await this.line.cut();
    rmSync(this.profile, { recursive: true, force: true, maxRetries: 5 });
  }
}

/** Ids of the processes that were started with this profile (Linux; the folder's name is unique to one test). */
function processesOf(profile) {
  return readdirSync('/proc')
    .filter((name) => /^\d+$/.test(name))
    .map(Number)
    .filter((pid) => {
      try {
        return readFileSync(`/proc/${pid}/cmdline`, 'utf8').includes(`--user-data-dir=${profile}`);
      } catch {
        return false;
      }
    });
}
