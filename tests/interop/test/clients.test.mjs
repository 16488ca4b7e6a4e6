// Unmodified automerge-repo clients read what the server has, write what others see, and are refused without a loop.

import assert from 'node:assert/strict';
import { after, afterEach, before, test } from 'node:test';
import * as Automerge from '@automerge/automerge';
import { Server, entries, until } from '../harness.mjs';

let server;
const clients = [];

async function signed_in(user) {
  const client = await server.sign_in(user);
  clients.push(client);
  return client;
}

before(async () => {
  server = await Server.demo();
});

afterEach(async () => {
  for (const client of clients.splice(0)) await client.end();
});

after(async () => {
  await server.end();
});

const job_of = (client, n = 0) => client.jobs.filter((job) => job.assigned.some((one) => one.user === 'okafor'))[n].doc;

test('a job imported by the server is read by a JavaScript client', async () => {
  const client = await signed_in('okafor');
  const handle = await client.find(job_of(client));
  const kinds = [...entries(handle).values()].map((entry) => entry.t);
  assert.equal(Number(handle.doc().schema), 1);
  for (const kind of ['session', 'job', 'subject']) assert.ok(kinds.includes(kind), kind);
});

test('an observation of one client reaches the other, and the server after it is killed', async () => {
  const one = await signed_in('okafor');
  const two = await signed_in('adeyemi');
  const doc = job_of(one);
  const mine = await one.find(doc);
  const theirs = await two.find(doc);
  const [subject] = [...entries(mine)].find(([, entry]) => entry.t === 'subject' && entry.kind === 'house');
  const id = one.write(mine, { t: 'seen', subject, fact: 'main_shutoff', value: 'yes', how: 'seen', note: 'left of the meter', after: [] });
  await until('the other client has it', () => entries(theirs).get(id)?.value === 'yes');
  const back = two.write(theirs, { t: 'words', text: 'shutoff confirmed by phone' });
  await until('and the first has the answer', () => entries(mine).get(back)?.text === 'shutoff confirmed by phone');

  await server.kill();
  await server.start();
  const later = await signed_in('lindqvist');
  const read = entries(await later.find(doc));
  assert.equal(read.get(id)?.note, 'left of the meter');
  assert.equal(read.get(back)?.t, 'words');
});

test('plain JavaScript strings, which are text objects, are taken as well', async () => {
  const one = await signed_in('okafor');
  const two = await signed_in('adeyemi');
  const doc = job_of(one);
  const mine = await one.find(doc);
  const theirs = await two.find(doc);
  const id = one.write(mine, { t: 'words', text: 'written as a text object' }, (text) => text);
  await until('the other client has it', () => entries(theirs).get(id)?.text === 'written as a text object');
});

test('a client that comes back after a cut sends what it wrote meanwhile', async () => {
  const one = await signed_in('okafor');
  const doc = job_of(one);
  const mine = await one.find(doc);
  await server.kill();
  const id = one.write(mine, { t: 'words', text: 'written without a server' });
  await server.start();
  await one.renew(server);
  const theirs = await (await signed_in('adeyemi')).find(doc);
  await until('it arrives', () => entries(theirs).get(id)?.text === 'written without a server');
});

test('a job that is not there, or not for this user, is unavailable', async () => {
  const client = await signed_in('okafor');
  await assert.rejects(client.find('4NMNnkMhL8jXrdJ9jamS58PAVdXu'), /unavailable/i);
});

test('a document that a client makes up does not become a job', async () => {
  const client = await signed_in('okafor');
  const handle = client.repo.create({ schema: 1, entries: {} });
  const other = await signed_in('adeyemi');
  await assert.rejects(other.find(handle.documentId), /unavailable/i);
  // The connection goes on.
  const job = await client.find(job_of(client));
  assert.ok(entries(job).size > 0);
});

test('a forged author is refused, nothing loops, and the other jobs go on', async () => {
  const client = await signed_in('okafor');
  const honest = await signed_in('adeyemi');
  const [bad, good] = [job_of(client, 0), job_of(client, 1)];
  const handle = await client.find(bad);
  const seen = await honest.find(bad);
  const before = Automerge.getHeads(seen.doc());
  let messages = 0;
  client.adapter.on('message', (message) => {
    if (message.documentId === bad) messages += 1;
  });
  const actor = Automerge.getActorId(handle.doc());
  handle.change((doc) => {
    const forged = { t: 'session', at: 0, user: 'adeyemi', name: 'S. Adeyemi', role: 'supervisor', device: 'x', actor };
    doc.entries[`${actor.slice(0, 16)}.0`] = new Automerge.ImmutableString(JSON.stringify(forged));
  });
  const other = await client.find(good);
  const id = client.write(other, { t: 'words', text: 'the other job goes on' });
  const watched = await honest.find(good);
  await until('the other job goes on', () => entries(watched).get(id)?.text === 'the other job goes on');
  assert.deepEqual(Automerge.getHeads(seen.doc()), before);
  assert.ok(messages < 10, `${messages} messages about a refused job`);
});

test('an overwritten entry of somebody else is refused', async () => {
  const client = await signed_in('okafor');
  const honest = await signed_in('adeyemi');
  const handle = await client.find(job_of(client, 0));
  const seen = await honest.find(job_of(client, 0));
  const [id] = [...entries(handle)].find(([, entry]) => entry.t === 'job');
  const was = entries(handle).get(id).address;
  const good = await client.find(job_of(client, 1));
  const watched = await honest.find(job_of(client, 1));
  handle.change((doc) => {
    doc.entries[id] = new Automerge.ImmutableString(JSON.stringify({ ...entries(handle).get(id), address: 'elsewhere' }));
  });
  const marker = client.write(good, { t: 'words', text: 'marker' });
  await until('the marker arrives', () => entries(watched).has(marker));
  assert.equal(entries(seen).get(id).address, was);
});

test('without a ticket the socket is closed with a reason', async () => {
  const { default: WebSocket } = await import('ws');
  for (const query of ['', '?ticket=none']) {
    const socket = new WebSocket(`ws://127.0.0.1:${server.port}/ws${query}`);
    const [code, reason] = await new Promise((resolve, reject) => {
      socket.on('close', (code, reason) => resolve([code, reason.toString()]));
      socket.on('error', reject);
    });
    assert.equal(code, 4401);
    assert.match(reason, /sign in again/);
  }
});
