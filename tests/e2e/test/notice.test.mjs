// The notice: it follows from the verdicts, carries sections, and prints without a signal.

import assert from 'node:assert/strict';
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { bring_in } from '../harness/house.mjs';
import { PNG } from '../harness/images.mjs';
import { scene } from '../harness/stage.mjs';
import { until } from '../harness/until.mjs';

scene('without a signal the correction notice carries place, section, measure, limit, photo and words, and prints', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0201', ['okafor']);
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await tablet.leaveSignal();
  await hand.open_job('E2E-0201');
  await hand.open_visit('Final');
  assert.equal(await hand.disposition(), 'open');
  await hand.enter('Wet bar');
  await hand.record_number('Bar sink', 'tailpiece.length', '26');
  await hand.subject('Bar sink').getByLabel('Photo of Bar sink').setInputFiles({ name: 'bar.png', mimeType: 'image/png', buffer: PNG });
  await tablet.page.getByLabel('What it shows').fill('Tape at the tailpiece');
  await tablet.page.getByRole('button', { name: 'Keep photo' }).click();
  await hand.subject('Bar sink').getByRole('img', { name: 'Tape at the tailpiece' }).waitFor();

  await hand.notice();
  const paper = tablet.page.getByRole('article', { name: 'Notice' });
  await until('the disposition follows', async () => (await hand.disposition()) === 'corrections_required');
  await tablet.page.getByRole('region', { name: 'What to do with the notice' }).getByRole('button', { name: 'Add words' }).click();
  await tablet.page.getByRole('dialog').getByRole('textbox', { name: 'Words' }).fill('Call when the tailpiece is cut.');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Add words' }).click();
  await until('the words stand on it', async () => (await paper.innerText()).includes('Call when the tailpiece is cut.'));
  assert.equal(await hand.disposition(), 'corrections_required', 'words do not overrule');

  const text = await paper.innerText();
  for (const part of [/E2E-0201/, /12 Culvert Row, Marlstead/, /Corrections required/i, /Wet bar/, /Bar sink/, /P3201\.6/, /26 in/, /24 in/, /code official decides/i]) {
    assert.match(text, part);
  }
  await paper.getByRole('img', { name: 'Tape at the tailpiece' }).waitFor();
  await tablet.picture('notice');

  await tablet.page.emulateMedia({ media: 'print' });
  for (const name of ['Print', 'Hand over', 'Add words']) {
    assert.equal(await tablet.page.getByRole('button', { name, exact: true }).first().isVisible().catch(() => false), false, `"${name}" must not be printed`);
  }
  assert.ok(await paper.getByText('P3201.6').first().isVisible());
  assert.ok(await paper.getByText('Received by').isVisible(), 'a line to sign');
  const folder = process.env.PICTURES ?? '.';
  mkdirSync(folder, { recursive: true });
  const pdf = await tablet.page.pdf({ path: join(folder, 'notice.pdf'), preferCSSPageSize: true, tagged: true });
  assert.equal(pdf.subarray(0, 5).toString(), '%PDF-');
  assert.ok(/\/Subtype\s*\/Image/.test(pdf.toString('latin1')), 'the photo is on the paper');
  await tablet.page.emulateMedia({ media: 'screen' });

  await tablet.page.getByRole('button', { name: 'Hand over' }).click();
  await tablet.page.getByRole('dialog').getByRole('textbox', { name: 'Received by' }).fill('D. Marsh, Tidewright Piping');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Hand over' }).click();
  await until('it is handed over', async () => !/Draft, not handed over/.test(await paper.innerText()));
  await hand.enter('Wet bar');
  await hand.record_number('Bar sink', 'tailpiece.length', '20');
  await hand.notice();
  assert.match(await tablet.page.locator('main').innerText(), /Changed since it was handed over/);
});

for (const [label, word] of [['Not ready', 'not_ready'], ['No access', 'no_access']]) {
  scene(`a visit that could not be held says "${label}" with the reason, and takes it back`, async ({ server, tablet: open }) => {
    await bring_in(server, 'E2E-0202', ['okafor']);
    const { tablet, hand } = await open('Truck 7');
    await hand.sign_in(server.person('okafor'));
    await hand.take_along();
    await tablet.leaveSignal();
    await hand.open_job('E2E-0202');
    await hand.open_visit('Final');
    await hand.notice();
    await tablet.page.getByRole('button', { name: label, exact: true }).click();
    await tablet.page.getByLabel('Reason').fill('Nobody came to the door');
    await tablet.page.getByRole('dialog').getByRole('button', { name: 'Save' }).click();
    await until('it says so', async () => (await hand.disposition()) === word);
    assert.match(await tablet.page.getByRole('article', { name: 'Notice' }).innerText(), /Nobody came to the door/);
    await tablet.page.getByRole('button', { name: 'The visit can be held after all' }).click();
    await until('it is open again', async () => (await hand.disposition()) === 'open');
  });
}
