// Every screen, light and dark: axe's rules, and targets for a gloved finger.

import assert from 'node:assert/strict';
import { smallTargets, violations } from '../harness/axe.mjs';
import { bring_in } from '../harness/house.mjs';
import { scene } from '../harness/stage.mjs';

scene('every screen passes axe in light and dark and has no target under 48 px', async ({ server, tablet: open, context }) => {
  await bring_in(server, 'E2E-0501', ['okafor']);
  const { tablet, hand } = await open('Truck 7');
  const { page } = tablet;
  const wrong = [];
  const look = async (screen) => {
    for (const colorScheme of ['light', 'dark']) {
      await page.emulateMedia({ colorScheme });
      for (const line of await violations(page)) wrong.push(`${screen}, ${colorScheme}: ${line}`);
      await tablet.picture(`screen-${screen.replaceAll(' ', '-')}-${colorScheme}`);
    }
    await page.emulateMedia({ colorScheme: 'light' });
    for (const line of await smallTargets(page)) wrong.push(`${screen}: too small: ${line}`);
    context.diagnostic(`looked at ${screen}`);
  };

  await look('sign in');
  await hand.sign_in(server.person('okafor'));
  await look('day before taking along');
  await hand.take_along();
  await look('day');
  await page.getByRole('link', { name: 'Settings' }).click();
  await page.getByRole('heading', { name: 'Settings' }).waitFor();
  await look('settings');
  await hand.open_job('E2E-0501');
  await look('job before the visit');
  await hand.open_visit('Final');
  await look('job');
  await hand.enter('Wet bar');
  await look('room');
  await hand.light('Bar sink', 'trap.form');
  await look('room with choices');
  await hand.record_word('Bar sink', 'trap.form', 'Full S trap');
  await hand.light('Bar sink', 'tailpiece.length');
  await hand.key_in('26');
  await look('room with keypad');
  await hand.act(() => hand.dock.getByRole('button', { name: /^Record ./ }).click());
  await hand.verdict('Bar sink', 'tailpiece.reach').first().getByRole('button').click();
  await page.getByRole('dialog').waitFor();
  await look('reason');
  await page.getByRole('dialog').getByRole('button', { name: 'Close', exact: true }).click();
  await hand.light('Bar sink', 'tailpiece.length');
  await hand.dock.getByRole('button', { name: 'History' }).click();
  await page.getByRole('dialog').waitFor();
  await look('history');
  await page.getByRole('dialog').getByRole('button', { name: 'Close', exact: true }).click();
  await page.getByRole('button', { name: 'Add what stands here' }).click();
  await page.getByRole('dialog').waitFor();
  await look('add');
  await page.getByRole('dialog').getByRole('button', { name: 'Close', exact: true }).click();
  await page.getByRole('button', { name: 'More for Bar sink', exact: true }).click();
  await page.getByRole('dialog').waitFor();
  await look('more');
  await page.getByRole('dialog').getByRole('button', { name: 'Close', exact: true }).click();
  await hand.notice();
  await look('notice');
  assert.deepEqual(wrong, []);
});

scene('at 320 px width nothing scrolls sideways, and forced colours keep every verdict readable', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0502', ['okafor']);
  const { tablet, hand } = await open('Truck 7');
  const { page } = tablet;
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await hand.open_job('E2E-0502');
  await hand.open_visit('Final');
  await hand.enter('Wet bar');
  await hand.record_word('Bar sink', 'trap.form', 'Full S trap');
  await page.setViewportSize({ width: 320, height: 640 });
  const wide = async () => page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok((await wide()) <= 0, 'the room scrolls sideways');
  await hand.walk();
  assert.ok((await wide()) <= 0, 'the walk scrolls sideways');
  await hand.notice();
  assert.ok((await wide()) <= 0, 'the notice scrolls sideways');
  await hand.jobs();
  assert.ok((await wide()) <= 0, 'the day scrolls sideways');
  await page.setViewportSize({ width: 820, height: 1180 });
  await page.emulateMedia({ forcedColors: 'active' });
  await hand.open_job('E2E-0502');
  await hand.enter('Wet bar');
  assert.match(await hand.verdict('Bar sink', 'trap.form').first().innerText(), /Violates/);
  await tablet.picture('room-forced-colours');
});
