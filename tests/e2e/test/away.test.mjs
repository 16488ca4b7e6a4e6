// Before leaving, and in the house without a signal.

import assert from 'node:assert/strict';
import { bring_in } from '../harness/house.mjs';
import { scene } from '../harness/stage.mjs';

scene('the day\'s jobs come along and say what a visit needs', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0001', ['okafor']);
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  const row = await tablet.page.getByTestId('job:E2E-0001').innerText();
  for (const part of ['E2E-0001', '12 Culvert Row, Marlstead', 'New house, three levels', 'Final', '1 visit before', 'Ready to go without a signal']) {
    assert.ok(row.includes(part), `the row lacks "${part}":\n${row}`);
  }
  await tablet.picture('day');
  await hand.open_job('E2E-0001');
  const page = await tablet.page.locator('main').innerText();
  for (const part of ['Law in force', 'Visits before', 'Water test held.', 'Basement', 'First floor', 'Second floor']) {
    assert.ok(page.includes(part), `the job's page lacks "${part}"`);
  }
});

scene('a whole house of three levels and more than thirty things is walked without a signal', async ({ server, tablet: open, context }) => {
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await tablet.leaveSignal();
  await hand.open_job('AC-2026-0418');
  await hand.open_visit('Final');
  const stops = tablet.page.getByRole('list', { name: 'Places' }).getByRole('link');
  const places = (await stops.allInnerTexts()).map((text) => text.split(':')[0].trim());
  for (const level of ['Basement', 'First floor', 'Second floor']) assert.ok(places.includes(level), `${level} is not among ${places.join(', ')}`);
  const things = new Set();
  const judged = new Set();
  for (const [index, place] of places.entries()) {
    await stops.nth(index).click();
    await tablet.page.getByRole('heading', { name: place, level: 1 }).waitFor();
    for (const name of await tablet.page.locator('article.subject').evaluateAll((all) => all.map((one) => one.getAttribute('aria-label')))) things.add(`${place}/${name}`);
    for (const name of await tablet.page.locator('[data-testid^="verdict:"]').evaluateAll((all) => all.map((one) => one.dataset.testid))) judged.add(name);
    await hand.walk();
  }
  context.diagnostic(`${places.length} places, ${things.size} things, ${judged.size} verdicts`);
  assert.ok(things.size >= 30, `${things.size} things`);
  // What must be computed over the house, not only ticked.
  for (const provision of ['heater.capacity', 'arm.reach', 'drain.load', 'line.gap', 'hammer.arrestor', 'bibb.count']) {
    assert.ok([...judged].some((one) => one.includes(provision)), `no verdict of ${provision} in the house`);
  }
});

scene('a job is not on the tablet of somebody it is not assigned to', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0002', ['okafor']);
  const { tablet, hand } = await open('Truck 9');
  await hand.sign_in(server.person('lindqvist'));
  await hand.take_along();
  assert.equal(await tablet.page.getByTestId('job:E2E-0002').count(), 0);
});

scene('without a signal the tablet reloads, and opens again after its browser was killed, with everything that was recorded', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0003', ['okafor']);
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await tablet.leaveSignal();
  await server.kill();

  await hand.open_job('E2E-0003');
  await hand.open_visit('Final');
  await hand.enter('Wet bar');
  await hand.record_number('Bar sink', 'tailpiece.length', '23 5/8');
  await tablet.reload();
  assert.match(await hand.fact('Bar sink', 'tailpiece.length').innerText(), /23[- ]5\/8 in/);
  assert.equal(await hand.verdict_word('Bar sink', 'tailpiece.reach'), 'complies');

  const here = await tablet.page.evaluate(() => location.hash);
  await tablet.kill();
  await tablet.reopen(here);
  assert.match(await hand.fact('Bar sink', 'tailpiece.length').innerText(), /23[- ]5\/8 in/);
  assert.equal(await hand.verdict_word('Bar sink', 'tailpiece.reach'), 'complies');
  assert.ok((await hand.standing()).includes('Only on this tablet'), 'it must not say that the server has it');
});

scene('a browser that is killed between two taps loses nothing that the screen called saved', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0004', ['okafor']);
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await tablet.leaveSignal();
  await hand.open_job('E2E-0004');
  await hand.open_visit('Final');
  await hand.enter('Wet bar');
  // Each value is there after a kill that follows the word "saved" at once; the one being typed is not.
  for (const inches of ['20', '21 1/2', '22 3/16', '25']) {
    await hand.record_number('Bar sink', 'tailpiece.length', inches);
    await hand.light('Bar sink', 'tailpiece.length');
    await hand.key_in('9');
    const here = await tablet.page.evaluate(() => location.hash);
    await tablet.kill();
    await tablet.reopen(here);
    const shown = await hand.fact('Bar sink', 'tailpiece.length').innerText();
    assert.ok(shown.replaceAll('-', ' ').includes(`${inches} in`), `after the kill the screen shows: ${shown}`);
  }
  await hand.light('Bar sink', 'tailpiece.length');
  await hand.dock.getByRole('button', { name: 'History' }).click();
  const history = await tablet.page.getByRole('list', { name: /recorded, oldest first/ }).getByRole('listitem').allInnerTexts();
  assert.equal(history.length, 4, `history:\n${history.join('\n')}`);
});
