// A house of the tests' own, written as a job file: three levels, so that nothing depends on what the demo happens to hold.

/** A job file. `norhaven` is the state's law alone, `alderfen` the county's on top of it. */
export function house(permit, assigned, adoption = 'norhaven') {
  return {
    permit,
    address: '12 Culvert Row, Marlstead',
    scope: 'New house, three levels',
    contractor: 'Tidewright Piping',
    adoption,
    applied_on: '2026-03-02',
    stage: 'final',
    assigned,
    scheduled: '2026-11-25',
    history: [{ on: '2026-09-14', stage: 'rough', disposition: 'approved', by: 'R. Okafor', words: 'Water test held.' }],
    subjects: [
      { key: 'house', kind: 'house', name: 'House' },
      { key: 'basement', kind: 'level', name: 'Basement', in: 'house' },
      { key: 'first', kind: 'level', name: 'First floor', in: 'house' },
      { key: 'second', kind: 'level', name: 'Second floor', in: 'house' },
      { key: 'bar', kind: 'room', name: 'Wet bar', in: 'basement', facts: { use: 'other' } },
      { key: 'bar_sink', kind: 'bar_sink', name: 'Bar sink', in: 'bar' },
      { key: 'kitchen', kind: 'room', name: 'Kitchen', in: 'first', facts: { use: 'kitchen' } },
      { key: 'sink', kind: 'kitchen_sink', name: 'Kitchen sink', in: 'kitchen' },
      { key: 'bath', kind: 'room', name: 'Bath', in: 'second', facts: { use: 'full_bath' } },
      { key: 'lavatory', kind: 'lavatory', name: 'Lavatory', in: 'bath' },
      { key: 'closet', kind: 'water_closet', name: 'Water closet', in: 'bath' },
    ],
  };
}

/** Brings job files in through the office's door; answers with the server's answer. */
export async function hand_in(server, text, user = 'pruitt') {
  const office = await server.client(user);
  return office('/api/jobs', { method: 'POST', headers: { 'content-type': 'application/json' }, body: text });
}

/** Brings a house in; answers with its document. */
export async function bring_in(server, permit, assigned, adoption) {
  const answer = await hand_in(server, JSON.stringify(house(permit, assigned, adoption)));
  const text = await answer.text();
  if (!answer.ok) throw new Error(`import of ${permit}: ${answer.status} ${text}`);
  const office = await server.client('pruitt');
  const found = (await (await office('/api/jobs')).json()).find((job) => job.permit === permit);
  if (found === undefined) throw new Error(`imported, but not listed: ${text}`);
  return found.doc;
}
