// Runs after `vite build`: the shell must start with no network, so a precache without the core is a failed build;
// then writes a brotli copy beside each text or wasm file, so that the server never has to compress.
import { readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { brotliCompressSync, constants } from 'node:zlib';

const dist = fileURLToPath(new URL('../dist', import.meta.url));

/** @param {string} folder @returns {string[]} */
function files(folder) {
  return readdirSync(folder).flatMap((name) => {
    const path = join(folder, name);
    return statSync(path).isDirectory() ? files(path) : [path];
  });
}

const serviceWorker = readFileSync(join(dist, 'sw.js'), 'utf8');
const precached = [...serviceWorker.matchAll(/url:\s*"([^"]+)"/g)].map((match) => match[1]);
const wanted = files(dist)
  .map((path) => path.slice(dist.length + 1).replaceAll('\\', '/'))
  .filter((path) => /\.(wasm|js|css|html)$/.test(path) && !/^(sw|workbox-.*)\.js$/.test(path));
const missing = wanted.filter((path) => !precached.includes(path));
if (!wanted.some((path) => path.endsWith('.wasm'))) {
  console.error('build: dist holds no .wasm: build the core first (cargo xtask wasm), then run this again');
  process.exit(1);
}
if (missing.length > 0) {
  console.error(`build: the service worker does not precache ${missing.join(', ')}; the app would not start offline`);
  process.exit(1);
}

let plain = 0;
let packed = 0;
for (const path of files(dist)) {
  if (!/\.(js|css|html|wasm|svg|webmanifest)$/.test(path)) continue;
  const bytes = readFileSync(path);
  const small = brotliCompressSync(bytes, {
    params: { [constants.BROTLI_PARAM_QUALITY]: 11, [constants.BROTLI_PARAM_SIZE_HINT]: bytes.length },
  });
  writeFileSync(`${path}.br`, small);
  plain += bytes.length;
  packed += small.length;
}
console.log(
  `build: ${precached.length} files precached; ${(plain / 1000).toFixed(0)} kB, ${(packed / 1000).toFixed(0)} kB as brotli`,
);
