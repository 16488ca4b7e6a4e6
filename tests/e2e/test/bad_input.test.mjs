// Bad input: a clear message, nothing lost.

import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { test } from 'node:test';
import { fileURLToPath } from 'node:url';
import { bring_in, hand_in, house } from '../harness/house.mjs';
import { PNG } from '../harness/images.mjs';
import { Automerge, chunks_on, read } from '../harness/record.mjs';
import { crownweir } from '../harness/server.mjs';
import { scene } from '../harness/stage.mjs';
import { until } from '../harness/until.mjs';

const RULESETS = fileURLToPath(new URL('../../../rulesets', import.meta.url));

function in_a_folder(play) {
  const folder = mkdtempSync(join(tmpdir(), 'crownweir-bad-'));
  try {
    return play(folder);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function assess(job, ...more) {
  return in_a_folder((folder) => {
    const file = join(folder, 'job.json');
    writeFileSync(file, typeof job === 'string' ? job : JSON.stringify(job));
    return crownweir(['assess', file, '--adoption', 'norhaven', '--stage', 'final', ...more]);
  });
}

test('the rulesets as they are pass their check and their cases', () => {
  for (const act of ['check', 'test']) {
    const { code, out, err } = crownweir(['rules', act, RULESETS]);
    assert.equal(code, 0, `${act}: ${out}${err}`);
  }
});

test('a ruleset with a length compared to gallons is refused with file, line, caret and what to do', () => {
  in_a_folder((folder) => {
    cpSync(RULESETS, folder, { recursive: true });
    const file = join(folder, 'irc-ipc-2021', 'traps.rules');
    const text = readFileSync(file, 'utf8');
    const broken = text.replace('limit    reach = 24 in', 'limit    reach = 24 gal');
    assert.notEqual(broken, text);
    writeFileSync(file, broken);
    const { code, out, err } = crownweir(['rules', 'check', folder]);
    assert.equal(code, 2, `${out}${err}`);
    const said = `${out}${err}`;
    assert.match(said, /traps\.rules/);
    assert.match(said, /\^/);
    assert.match(said, /volume|gal/);
    assert.match(said, /length/);
    // The rulesets that work are still those built in.
    assert.notEqual(assess(house('E2E-0600', [])).code, 2);
  });
});

test('a ruleset with a word the language does not know names the line', () => {
  in_a_folder((folder) => {
    cpSync(RULESETS, folder, { recursive: true });
    const file = join(folder, 'irc-ipc-2021', 'traps.rules');
    writeFileSync(file, readFileSync(file, 'utf8').replace('  require  trap.form is p_trap', '  requier  trap.form is p_trap'));
    const { code, out, err } = crownweir(['rules', 'check', folder]);
    assert.equal(code, 2);
    for (const part of [/traps\.rules:8/, /`requier`/, /\^{7}/]) assert.match(`${out}${err}`, part);
  });
});

test('the command line assesses a good job as text and as JSON', () => {
  const job = house('E2E-0601', []);
  job.subjects.find((one) => one.key === 'bar_sink').facts = { 'tailpiece.length': '26 1/2 in', 'trap.form': 'p_trap' };
  const text = assess(job);
  assert.equal(text.code, 1, `a violation is exit 1: ${text.err}`);
  for (const part of [/26[- ]1\/2 in/, /24 in/, /P3201\.6/, /Bar sink/, /Wet bar/]) assert.match(text.out, part);
  const report = JSON.parse(assess(job, '--format', 'json').out);
  const reach = report.verdicts.find((one) => one.provision.endsWith('tailpiece.reach') && one.subject_name === 'Bar sink');
  assert.equal(reach.verdict, 'violates');
  assert.ok(reach.reasons.length > 0);
});

for (const [what, change, expected] of [
  ['an unknown fixture kind', (job) => job.subjects.push({ key: 'x', kind: 'bar_snik', name: 'Odd', in: 'bar' }), [/bar_snik/, /bar_sink/]],
  ['a number without a unit', (job) => { job.subjects[5].facts = { 'tailpiece.length': '23' }; }, [/tailpiece\.length/, /unit/, /\bin\b/]],
  ['an unknown fact', (job) => { job.subjects[5].facts = { 'tailpiece.lenght': '23 in' }; }, [/tailpiece\.lenght/]],
  ['a place inside a fixture', (job) => job.subjects.push({ key: 'x', kind: 'room', name: 'Odd', in: 'bar_sink' }), [/room/i]],
]) {
  test(`the command line refuses a job file with ${what} and says where`, () => {
    const job = house('E2E-0602', []);
    change(job);
    const { code, out, err } = assess(job);
    assert.equal(code, 2, out + err);
    for (const part of expected) assert.match(err, part);
    assert.ok(!/panicked|RUST_BACKTRACE/.test(err), err);
  });
}

test('a file that is no job at all is refused without a fright', () => {
  for (const text of ['', '{', '[]', 'null', '\u0000\u0001\u0002', '{"permit": 3}']) {
    const { code, err } = assess(text);
    assert.equal(code, 2, `${JSON.stringify(text)}: ${err}`);
    assert.ok(err.trim().length > 0 && !/panicked/.test(err), err);
  }
});

scene('the office\'s import takes the good jobs of a file and names what is wrong with the rest', async ({ server, tablet: open }) => {
  const bad_kind = house('E2E-0611', ['okafor']);
  bad_kind.subjects.push({ key: 'x', kind: 'bar_snik', name: 'Odd', in: 'bar' });
  const bad_value = house('E2E-0612', ['okafor']);
  bad_value.subjects[5].facts = { 'tailpiece.length': '23' };
  const good = house('E2E-0613', ['okafor']);
  const answer = await (await hand_in(server, JSON.stringify({ jobs: [bad_kind, bad_value, good] }))).text();
  for (const part of [/E2E-0611/, /bar_snik/, /E2E-0612/, /unit/, /E2E-0613/]) assert.match(answer, part);
  const office = await server.client('adeyemi');
  const permits = (await (await office('/api/jobs')).json()).map((job) => job.permit);
  assert.ok(permits.includes('E2E-0613') && !permits.includes('E2E-0611') && !permits.includes('E2E-0612'), permits.join());

  const refused = await hand_in(server, JSON.stringify(house('E2E-0614', ['okafor'])), 'okafor');
  assert.equal(refused.status, 403, 'an inspector does not import');

  // The same through the screen.
  const { tablet, hand } = await open('Counter');
  await hand.sign_in(server.person('pruitt'));
  await tablet.page.getByLabel('Import a job file').setInputFiles({ name: 'jobs.json', mimeType: 'application/json', buffer: Buffer.from(JSON.stringify(bad_kind)) });
  await until('the screen says what is wrong', async () => /was not taken.*bar_snik/s.test(await tablet.page.locator('main').innerText()));
});

scene('an upload that is not an image, or not what its name says, is refused and not kept', async ({ server }) => {
  const doc = await bring_in(server, 'E2E-0621', ['okafor']);
  const client = await server.client('okafor');
  const send = (bytes, name) =>
    client(`/api/photos/${doc}/${name}`, {
      method: 'PATCH',
      headers: { 'upload-offset': '0', 'upload-length': String(bytes.length), 'content-type': 'application/octet-stream' },
      body: bytes,
    });
  const sha256 = (bytes) => createHash('sha256').update(bytes).digest('hex');
  const words = Buffer.from('this is not a picture');
  const refused = await send(words, sha256(words));
  assert.equal(refused.status, 422);
  const { error } = await refused.json();
  for (const part of ['message', 'kept', 'todo']) assert.ok(error[part].length > 0, part);
  assert.equal((await client(`/api/photos/${doc}/${sha256(words)}`, { method: 'HEAD' })).status, 404);
  const misnamed = await send(PNG, sha256(words));
  assert.ok(misnamed.status >= 400, `a picture under a foreign name was answered with ${misnamed.status}`);
  assert.equal((await client(`/api/photos/${doc}/${sha256(words)}`, { method: 'HEAD' })).status, 404);
});

scene('a stale or missing session is told what was kept and what to do', async ({ server }) => {
  for (const headers of [{}, { cookie: `crownweir_session=${'0'.repeat(64)}` }]) {
    const answer = await fetch(`${server.url}/api/jobs`, { headers });
    assert.equal(answer.status, 401);
    const { error } = await answer.json();
    assert.match(error.todo, /sign in/i);
    assert.ok(error.kept.length > 0);
  }
});

scene('a document of a newer schema opens read-only with the reason, on the tablet and on the command line', async ({ server, tablet: open }) => {
  const doc = await bring_in(server, 'E2E-0631', ['okafor']);
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await tablet.leaveSignal();
  await hand.open_job('E2E-0631');
  await hand.open_visit('Final');
  const newer = Automerge.change(read(await chunks_on(tablet, doc)), (document) => {
    document.schema = 2;
  });
  await tablet.page.evaluate(async ({ doc, bytes }) => {
    for (const { name } of await indexedDB.databases()) {
      const database = await new Promise((resolve) => {
        const asked = indexedDB.open(name);
        asked.onsuccess = () => resolve(asked.result);
      });
      if (database.objectStoreNames.contains('chunks')) {
        await new Promise((resolve, reject) => {
          const transaction = database.transaction('chunks', 'readwrite');
          transaction.objectStore('chunks').add({ doc, bytes: Uint8Array.from(bytes) });
          transaction.oncomplete = resolve;
          transaction.onabort = () => reject(transaction.error);
        });
      }
      database.close();
    }
  }, { doc, bytes: [...Automerge.getLastLocalChange(newer)] });
  await tablet.reload();
  await hand.open_job('E2E-0631');
  await until('the job says why it is read-only', async () => /newer/i.test(await tablet.page.locator('main').innerText()));
  assert.match(await tablet.page.locator('main').innerText(), /E2E-0631/, 'it is still readable');
  await hand.enter('Wet bar');
  assert.equal(await tablet.page.getByRole('button', { name: 'Add what stands here' }).count(), 0);
  assert.match(await hand.dock.innerText(), /newer/i);

  in_a_folder((folder) => {
    const file = join(folder, 'newer.automerge');
    writeFileSync(file, Automerge.save(newer));
    const { code, err } = crownweir(['assess', file, '--adoption', 'norhaven']);
    assert.equal(code, 2, err);
    assert.match(err, /newer/i);
  });
});
