// The tablet's core and the command line reach the same verdicts on the same record, byte for byte.

import assert from 'node:assert/strict';
import { readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { core_page } from '../harness/core.mjs';
import { hand_in } from '../harness/house.mjs';
import { saved_on } from '../harness/record.mjs';
import { crownweir } from '../harness/server.mjs';
import { scene } from '../harness/stage.mjs';

const DEMO = fileURLToPath(new URL('../../../sync-server/demo', import.meta.url));

scene('WASM in the browser and native reach byte-identical verdicts on every demo job at every stage', async ({ server, tablet: open, context }) => {
  // The day's jobs are as bare as on the morning of the visit; the walked ones hold what was seen.
  for (const file of readdirSync(DEMO).filter((name) => /^walked-.*\.json$/.test(name))) {
    const job = JSON.parse(readFileSync(join(DEMO, file), 'utf8'));
    // They are later states of the day's jobs, whose permits are taken.
    const answer = await hand_in(server, JSON.stringify({ ...job, permit: `${job.permit} ${file}` }));
    assert.ok(answer.ok, `${file}: ${await answer.text()}`);
  }
  const { tablet, hand } = await open('Office');
  await hand.sign_in(server.person('adeyemi'));
  await hand.take_along();
  const office = await server.client('adeyemi');
  const jobs = await (await office('/api/jobs')).json();
  assert.ok(jobs.length > 0, 'the demo has jobs');
  const core = await core_page(tablet, await (await office('/api/rulesets')).json());
  const words = new Map();
  try {
    for (const job of jobs) {
      const record = await saved_on(tablet, job.doc);
      for (const stage of ['groundwork', 'rough', 'final', 'reinspection']) {
        const { report, snapshot } = await core.page.evaluate(({ doc, bytes, stage }) => {
          const { core } = globalThis;
          if (core.is_open(doc)) core.close(doc);
          core.open(doc, Uint8Array.from(bytes));
          core.propose(doc, JSON.stringify({ do: 'open_visit', stage, on: '2026-11-25' }), 1_790_000_000_000);
          core.accept(doc);
          return { report: core.report(doc), snapshot: [...core.snapshot(doc)] };
        }, { doc: job.doc, bytes: [...record], stage });
        const file = join(server.data, `${job.doc}-${stage}.automerge`);
        writeFileSync(file, Uint8Array.from(snapshot));
        const native = crownweir(['assess', file, '--adoption', job.adoption, '--format', 'json']);
        assert.ok(native.code === 0 || native.code === 1, `assess ended with ${native.code}: ${native.err}`);
        // White space between the tokens is the terminal's matter; every token and its order is compared.
        assert.equal(JSON.stringify(JSON.parse(report)), JSON.stringify(JSON.parse(native.out)), `${job.permit} at ${stage}`);
        for (const line of JSON.parse(report).verdicts) words.set(line.verdict, (words.get(line.verdict) ?? 0) + 1);
      }
    }
  } finally {
    await core.end();
  }
  context.diagnostic(`compared over ${jobs.length} jobs: ${JSON.stringify([...words])}`);
  for (const word of ['complies', 'violates', 'undetermined']) assert.ok(words.get(word) > 0, `no verdict "${word}" was compared`);
});
