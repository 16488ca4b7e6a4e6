// Two inspectors and a supervisor in one house, all without a signal, coming back in any order.

import assert from 'node:assert/strict';
import { bring_in } from '../harness/house.mjs';
import { heads_on } from '../harness/record.mjs';
import { scene } from '../harness/stage.mjs';
import { until } from '../harness/until.mjs';

const ORDERS = [['okafor', 'lindqvist', 'adeyemi'], ['adeyemi', 'okafor', 'lindqvist'], ['lindqvist', 'adeyemi', 'okafor']];

for (const [index, order] of ORDERS.entries()) {
  scene(`three who edited one job without a signal and return in the order ${order.join(', ')} hold one record`, async ({ server, tablet: open }) => {
    const permit = `E2E-03${index}0`;
    const doc = await bring_in(server, permit, ['okafor', 'lindqvist']);
    const at = {};
    for (const user of ['okafor', 'lindqvist', 'adeyemi']) {
      at[user] = await open(`Tablet of ${user}`);
      await at[user].hand.sign_in(server.person(user));
      await at[user].hand.take_along();
    }
    await at.okafor.hand.open_job(permit);
    await at.okafor.hand.open_visit('Final');
    for (const { hand } of Object.values(at)) {
      await hand.open_job(permit);
      await hand.page.getByTestId('disposition').waitFor();
      await hand.wait_standing('Safe on the server');
    }
    for (const { tablet } of Object.values(at)) await tablet.leaveSignal();

    // One fact set differently by two; the rest are their own.
    await at.okafor.hand.enter('Wet bar');
    await at.okafor.hand.record_number('Bar sink', 'tailpiece.length', '23');
    await at.okafor.hand.enter('Kitchen');
    await at.okafor.hand.record_number('Kitchen sink', 'tailpiece.length', '12 1/2');
    await at.lindqvist.hand.enter('Wet bar');
    await at.lindqvist.hand.record_number('Bar sink', 'tailpiece.length', '27');
    await at.lindqvist.hand.record_word('Bar sink', 'trap.form', 'P trap');
    await at.adeyemi.hand.enter('Bath');
    await at.adeyemi.hand.record_word('Lavatory', 'trap.form', 'Full S trap');
    await at.adeyemi.hand.more('Water closet', 'Copy');
    await at.adeyemi.hand.page.getByLabel('What the copy is called').fill('Second closet');
    await at.adeyemi.hand.page.getByRole('dialog').getByRole('button', { name: 'Copy', exact: true }).click();
    await at.adeyemi.hand.subject('Second closet').waitFor();

    for (const user of order) {
      await at[user].tablet.returnToSignal();
      await at[user].hand.wait_standing('Safe on the server', 60_000);
    }
    const one = await until('all hold the same heads', async () => {
      const heads = [];
      for (const { tablet } of Object.values(at)) heads.push((await heads_on(tablet, doc)).join());
      return new Set(heads).size === 1 && heads[0];
    }, 60_000);
    assert.notEqual(one, '');

    // Each sees both values with their authors, and the disposition waits.
    const seen = [];
    for (const { hand } of Object.values(at)) {
      await hand.open_job(permit);
      await until('the disagreement is on the screen', async () => /1 disagreement to decide/.test(await hand.page.locator('main').innerText()));
      const list = await hand.page.getByRole('region', { name: 'Disagreements' }).innerText();
      for (const part of [/23 in/, /R\. Okafor/, /27 in/, /T\. Lindqvist/]) assert.match(list, part);
      assert.equal(await hand.disposition(), 'open');
      assert.match(await hand.page.getByRole('region', { name: 'Disposition so far' }).innerText(), /differ/);
      await hand.enter('Bath');
      await hand.subject('Second closet').waitFor();
      await hand.enter('Wet bar');
      assert.match(await hand.fact('Bar sink', 'tailpiece.length').innerText(), /23 in.*27 in|27 in.*23 in/s);
      seen.push(await hand.page.locator('.subjects').innerText());
    }
    assert.deepEqual([seen[1], seen[2]], [seen[0], seen[0]], 'all three see the same');
    if (index === 0) await at.adeyemi.tablet.picture('disagreement');

    // The supervisor, who has seen both, decides; both values stay readable.
    await at.adeyemi.hand.light('Bar sink', 'tailpiece.length');
    await at.adeyemi.hand.act(() => at.adeyemi.hand.dock.getByRole('button', { name: /^Decide for 27 in/ }).click());
    for (const { hand } of Object.values(at)) {
      await until('the decision arrives', async () => (await hand.fact('Bar sink', 'tailpiece.length').getAttribute('data-state')) === 'seen');
      assert.equal(await hand.verdict_word('Bar sink', 'tailpiece.reach'), 'violates');
      await hand.open_job(permit);
      await until('the disposition no longer waits', async () => (await hand.disposition()) === 'corrections_required');
    }
    await at.okafor.hand.enter('Wet bar');
    await at.okafor.hand.light('Bar sink', 'tailpiece.length');
    await at.okafor.hand.dock.getByRole('button', { name: 'History' }).click();
    const history = await at.okafor.hand.page.getByRole('list', { name: /recorded, oldest first/ }).innerText();
    for (const part of [/23 in/, /27 in/, /R\. Okafor/, /T\. Lindqvist/, /S\. Adeyemi/]) assert.match(history, part);
  });
}
