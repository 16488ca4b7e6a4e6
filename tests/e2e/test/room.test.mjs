// Walking a room: facts by tap and by number, verdicts with reasons, fixtures added, copied and struck, photos.

import assert from 'node:assert/strict';
import { bring_in } from '../harness/house.mjs';
import { PNG } from '../harness/images.mjs';
import { scene } from '../harness/stage.mjs';
import { until } from '../harness/until.mjs';

async function in_the_bar(server, open, permit, adoption) {
  await bring_in(server, permit, ['okafor'], adoption);
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await tablet.leaveSignal();
  await hand.open_job(permit);
  await hand.open_visit('Final');
  await hand.enter('Wet bar');
  return { tablet, hand };
}

scene('a measure on the tape is judged at once, with reason, section, limit and what was seen', async ({ server, tablet: open }) => {
  const { tablet, hand } = await in_the_bar(server, open, 'E2E-0101');
  assert.equal(await hand.verdict_word('Bar sink', 'tailpiece.reach'), 'undetermined');
  const before = await hand.still_to_see();
  await hand.record_number('Bar sink', 'tailpiece.length', '23 5/8');
  assert.equal(await hand.verdict_word('Bar sink', 'tailpiece.reach'), 'complies');
  assert.ok((await hand.still_to_see()) < before, 'what is still to see must shrink');

  await hand.record_number('Bar sink', 'tailpiece.length', '26 1/16');
  await until('the verdict turns', async () => (await hand.verdict_word('Bar sink', 'tailpiece.reach')) === 'violates');
  const line = await hand.verdict('Bar sink', 'tailpiece.reach').first().innerText();
  assert.match(line, /26[- ]1\/16 in/, line);
  assert.match(line, /24 in/, line);
  assert.match(line, /P3201\.6|3280\.606/, line);
  await tablet.picture('room');

  await hand.verdict('Bar sink', 'tailpiece.reach').first().getByRole('button').click();
  const reason = await tablet.page.getByRole('dialog').innerText();
  for (const part of [/Violates/, /26[- ]1\/16 in/, /24 in/, /P3201\.6|3280\.606/, /measured/i, /R\. Okafor/, /sewer gas/]) {
    assert.match(reason, part);
  }
  await tablet.picture('reason');
});

scene('a county that changed a limit is named with the limit it changed', async ({ server, tablet: open }) => {
  const { tablet, hand } = await in_the_bar(server, open, 'E2E-0109', 'alderfen');
  await hand.record_number('Bar sink', 'tailpiece.length', '23 5/8');
  await until('the county is stricter', async () => (await hand.verdict_word('Bar sink', 'tailpiece.reach')) === 'violates');
  await hand.verdict('Bar sink', 'tailpiece.reach').first().getByRole('button').click();
  const reason = await tablet.page.getByRole('dialog').innerText();
  for (const part of [/23[- ]5\/8 in/, /18 in/, /24 in/, /Alderfen Ord\. 88, s\. 3/]) assert.match(reason, part);
});

scene('a tap on a word is a fact, and the list of what is still to see shrinks with each', async ({ server, tablet: open }) => {
  const { hand } = await in_the_bar(server, open, 'E2E-0102');
  const before = await hand.still_to_see();
  await hand.record_word('Bar sink', 'trap.form', 'Full S trap');
  assert.equal(await hand.verdict_word('Bar sink', 'trap.form'), 'violates');
  const after = await hand.still_to_see();
  assert.ok(after < before, `${before} then ${after}`);
  await hand.record_word('Bar sink', 'trap.form', 'P trap');
  assert.equal(await hand.verdict_word('Bar sink', 'trap.form'), 'complies');
});

scene('a note goes with the value it explains', async ({ server, tablet: open }) => {
  const { hand } = await in_the_bar(server, open, 'E2E-0103');
  await hand.light('Bar sink', 'tailpiece.length');
  await hand.dock.getByRole('button', { name: 'Note' }).click();
  await hand.dock.getByLabel(/^Note/).fill('behind the ice maker');
  await hand.key_in('22');
  await hand.act(() => hand.dock.getByRole('button', { name: /^Record ./ }).click());
  assert.match(await hand.fact('Bar sink', 'tailpiece.length').innerText(), /behind the ice maker/);
});

scene('a photo is kept on the tablet without a signal, named by its content, and shown after a kill', async ({ server, tablet: open }) => {
  const { tablet, hand } = await in_the_bar(server, open, 'E2E-0104');
  await hand.subject('Bar sink').getByLabel('Photo of Bar sink').setInputFiles({ name: 'bar.png', mimeType: 'image/png', buffer: PNG });
  await tablet.page.getByLabel('What it shows').fill('Tape at the tailpiece');
  await hand.act(() => tablet.page.getByRole('button', { name: 'Keep photo' }).click());
  const image = () => hand.subject('Bar sink').getByRole('img', { name: 'Tape at the tailpiece' });
  await image().waitFor();
  const here = await tablet.page.evaluate(() => location.hash);
  await tablet.kill();
  await tablet.reopen(here);
  await image().waitFor();
  assert.ok(await image().evaluate((element) => element.naturalWidth > 0), 'the picture must be drawn');

  await tablet.returnToSignal();
  await hand.sign_in_again_if_asked(server.person('okafor'));
  await hand.wait_standing('Safe on the server, complete', 60_000);
});

scene('a file that is not an image is refused with what to do, and nothing is added', async ({ server, tablet: open }) => {
  const { tablet, hand } = await in_the_bar(server, open, 'E2E-0105');
  await hand.subject('Bar sink').getByLabel('Photo of Bar sink').setInputFiles({ name: 'bar.jpg', mimeType: 'image/jpeg', buffer: Buffer.from('no image') });
  await tablet.page.getByRole('button', { name: 'Keep photo' }).click();
  const alarm = await tablet.page.getByRole('dialog').getByRole('alert').innerText();
  assert.match(alarm, /not an image/);
  assert.match(alarm, /Nothing was added/);
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Close', exact: true }).click();
  assert.equal(await hand.subject('Bar sink').getByRole('img', { name: /Bar sink/ }).count(), 0);
});

scene('a number without a unit, or beyond what can be, is not recorded and says what to type', async ({ server, tablet: open }) => {
  const { hand } = await in_the_bar(server, open, 'E2E-0106');
  await hand.light('Bar sink', 'tailpiece.length');
  await hand.key_in('9999');
  await until('it is refused', async () => (await hand.dock.locator('#read-back').innerText()).trim() !== '');
  assert.ok(await hand.dock.getByRole('button', { name: 'Record', exact: true }).isDisabled());
  await hand.dock.getByRole('textbox').first().fill('23 5/8 gal');
  await until('gallons are no length', async () => /in|ft/.test(await hand.dock.locator('#read-back').innerText()));
  assert.ok(await hand.dock.getByRole('button', { name: 'Record', exact: true }).isDisabled());
  assert.match(await hand.fact('Bar sink', 'tailpiece.length').innerText(), /not seen/);
});

scene('fixtures are added, copied without what was seen, struck with a reason and restored', async ({ server, tablet: open }) => {
  const { tablet, hand } = await in_the_bar(server, open, 'E2E-0107');
  await tablet.page.getByRole('button', { name: 'Add what stands here' }).click();
  await tablet.page.getByLabel('Find a kind').fill('floor drain');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Floor drain' }).click();
  await tablet.page.getByLabel('What it is called').fill('Drain by the ice maker');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Add', exact: true }).click();
  await hand.subject('Drain by the ice maker').waitFor();

  await hand.record_number('Bar sink', 'tailpiece.length', '20');
  await hand.more('Bar sink', 'Copy');
  await tablet.page.getByLabel('What the copy is called').fill('Second bar sink');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Copy', exact: true }).click();
  await hand.subject('Second bar sink').waitFor();
  assert.match(await hand.fact('Second bar sink', 'tailpiece.length').innerText(), /not seen/);

  await hand.more('Drain by the ice maker', 'Strike');
  await tablet.page.getByLabel('Reason').fill('Not there after all');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Strike', exact: true }).click();
  await until('it is struck', async () => /Struck by R\. Okafor.*Not there after all/s.test(await hand.subject('Drain by the ice maker').innerText()));
  await hand.more('Drain by the ice maker', 'Restore');
  await tablet.page.getByLabel('Why it counts again').fill('Under the mat');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Restore', exact: true }).click();
  await until('it counts again', async () => !/Struck by/.test(await hand.subject('Drain by the ice maker').innerText()));
});

scene('a room that could not be seen is left open with the reason and named on the notice', async ({ server, tablet: open }) => {
  const { tablet, hand } = await in_the_bar(server, open, 'E2E-0108');
  await tablet.page.getByRole('button', { name: 'Could not see everything here' }).click();
  await tablet.page.getByLabel('What could not be seen, and why').fill('Cabinet locked');
  await tablet.page.getByRole('dialog').getByRole('button', { name: 'Save' }).click();
  await until('it says so', async () => /Left open by R\. Okafor: Cabinet locked/.test(await tablet.page.locator('.rail').innerText()));
  await hand.notice();
  assert.match(await tablet.page.getByRole('article', { name: 'Notice' }).innerText(), /Wet bar.*Cabinet locked/s);
});
