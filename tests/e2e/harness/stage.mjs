// Setting a scene: one server, some tablets, everything put away at the end whatever happened.

import { test } from 'node:test';
import assert from 'node:assert/strict';
import { Hand } from './hand.mjs';
import { Server } from './server.mjs';
import { Tablet } from './tablet.mjs';

/** A test with a server of its own; `scene.tablet(name)` gives a browser. */
export function scene(name, play) {
  test(name, { timeout: 300_000 }, async (context) => {
    const ends = [];
    try {
      const server = await Server.demo();
      ends.push(() => server.end());
      const tablets = [];
      await play({
        context,
        server,
        async tablet(name) {
          const tablet = await Tablet.at(server, name);
          ends.push(() => tablet.end());
          tablets.push(tablet);
          return { tablet, hand: new Hand(tablet) };
        },
      });
      for (const tablet of tablets) assert.deepEqual(tablet.faults, [], `the page of ${tablet.name} threw`);
    } finally {
      for (const end of ends.reverse()) await end();
    }
  });
}
