// The core's WASM by itself, in a page of a real browser without the shell around it.

import { createServer } from 'node:http';
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const PKG = new URL('../../../web-shell/src/core/pkg/', import.meta.url);
const FILES = {
  '/': ['text/html', () => '<!doctype html><title>core</title>'],
  '/core.js': ['text/javascript', () => readFileSync(fileURLToPath(new URL('core.js', PKG)))],
  '/core_bg.wasm': ['application/wasm', () => readFileSync(fileURLToPath(new URL('core_bg.wasm', PKG)))],
};

/** A page that has the core as `globalThis.core` with these rulesets; `end` closes it. */
export async function core_page(tablet, rulesets) {
  const site = createServer((request, response) => {
    const [type, body] = FILES[new URL(request.url, 'http://x').pathname] ?? [];
    if (type === undefined) return response.writeHead(404).end();
    response.writeHead(200, { 'content-type': type }).end(body());
  });
  await new Promise((resolve) => site.listen(0, '127.0.0.1', resolve));
  const page = await tablet.context.newPage();
  await page.goto(`http://localhost:${site.address().port}/`);
  await page.evaluate(async (files) => {
    const { default: start, Core } = await import('/core.js');
    await start({ module_or_path: '/core_bg.wasm' });
    globalThis.core = new Core();
    globalThis.core.load_rulesets(files);
    const session = { user: 'okafor', name: 'R. Okafor', role: 'inspector', device: 'Bench', agency: 'Bench' };
    globalThis.core.begin(JSON.stringify(session), crypto.getRandomValues(new Uint8Array(32)));
  }, JSON.stringify(rulesets.files));
  return {
    page,
    async end() {
      await page.close();
      await new Promise((resolve) => site.close(resolve));
    },
  };
}
