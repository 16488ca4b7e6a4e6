// "Safe on the server" is said only when it is on the server's disk.

import assert from 'node:assert/strict';
import { bring_in } from '../harness/house.mjs';
import { scene } from '../harness/stage.mjs';
import { until } from '../harness/until.mjs';

scene('while the server does not answer the tablet says "only on this tablet", and a server killed right after "safe" still has it', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0401', ['okafor', 'lindqvist']);
  const { hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await hand.open_job('E2E-0401');
  await hand.open_visit('Final');
  await hand.wait_standing('Safe on the server');
  await hand.enter('Wet bar');

  // The server hangs: its socket still takes bytes, nothing is stored.
  server.child.kill('SIGSTOP');
  await hand.record_number('Bar sink', 'tailpiece.length', '19 3/4');
  await hand.wait_standing('Only on this tablet');
  // What it says must stay so for as long as nothing was acknowledged: asked again and again over many round trips.
  for (let times = 0; times < 20; times += 1) {
    await hand.page.evaluate(() => new Promise((resolve) => requestAnimationFrame(() => setTimeout(resolve, 25))));
    assert.match(await hand.standing(), /Only on this tablet/);
  }
  server.child.kill('SIGCONT');
  await hand.wait_standing('Safe on the server', 60_000);
  await server.kill();
  await server.start();

  const other = await open('Truck 9');
  await other.hand.sign_in(server.person('lindqvist'));
  await other.hand.take_along();
  await other.hand.open_job('E2E-0401');
  await other.hand.enter('Wet bar');
  assert.match(await other.hand.fact('Bar sink', 'tailpiece.length').innerText(), /19[- ]3\/4 in.*R\. Okafor/s);
});

scene('after a stale session the tablet keeps working and everything goes over after signing in again', async ({ server, tablet: open }) => {
  await bring_in(server, 'E2E-0402', ['okafor', 'lindqvist']);
  const { tablet, hand } = await open('Truck 7');
  await hand.sign_in(server.person('okafor'));
  await hand.take_along();
  await hand.open_job('E2E-0402');
  await hand.open_visit('Final');
  await hand.wait_standing('Safe on the server');
  // The session ends on the server, as it does when it is revoked or too old.
  await tablet.leaveSignal();
  const [cookie] = await tablet.context.cookies(tablet.line.url);
  const ended = await fetch(`${server.url}/api/session`, { method: 'DELETE', headers: { cookie: `${cookie.name}=${cookie.value}` } });
  assert.ok(ended.ok, `ending the session: ${ended.status}`);
  await tablet.returnToSignal();

  await hand.enter('Wet bar');
  await hand.record_number('Bar sink', 'tailpiece.length', '18 1/2');
  const strip = tablet.page.getByRole('region', { name: 'Where your work is' });
  await until('the tablet says that it is signed out', async () => /Sign in again to send; your work is kept here/.test(await strip.innerText()), 60_000);
  assert.match(await hand.standing(), /Only on this tablet/);
  await hand.record_word('Bar sink', 'trap.form', 'P trap');

  await hand.sign_in_again(server.person('okafor'));
  await hand.wait_standing('Safe on the server', 60_000);

  const other = await open('Truck 9');
  await other.hand.sign_in(server.person('lindqvist'));
  await other.hand.take_along();
  await other.hand.open_job('E2E-0402');
  await other.hand.enter('Wet bar');
  assert.match(await other.hand.fact('Bar sink', 'tailpiece.length').innerText(), /18[- ]1\/2 in/);
  assert.match(await other.hand.fact('Bar sink', 'trap.form').innerText(), /P trap/);
});
