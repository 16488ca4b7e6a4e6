import { expect, it } from 'vitest';
import { backoff_ms } from './backoff';
import { json, server_error } from './parse';
import { Queue } from './queue';

const wait = (turns: number): Promise<void> =>
  turns === 0 ? Promise.resolve() : Promise.resolve().then(() => wait(turns - 1));

it('runs jobs one at a time, in the order asked, however long each takes', async () => {
  const queue = new Queue();
  const log: string[] = [];
  let running = 0;
  const job = (name: string, turns: number) =>
    queue.run(async () => {
      running += 1;
      expect(running).toBe(1);
      await wait(turns);
      log.push(name);
      running -= 1;
      return name;
    });
  const results = await Promise.all([job('first', 20), job('second', 0), job('third', 5)]);
  expect(log).toEqual(['first', 'second', 'third']);
  expect(results).toEqual(['first', 'second', 'third']);
  expect(queue.waiting).toBe(0);
});

it('a failed job is answered as failed and does not stop the next one', async () => {
  const queue = new Queue();
  const failed = queue.run(() => Promise.reject(new Error('disk')));
  const next = queue.run(() => 'kept');
  await expect(failed).rejects.toThrow('disk');
  await expect(next).resolves.toBe('kept');
});

it('tries come later and later, spread out, and never more than a minute apart', () => {
  for (let attempt = 0; attempt < 40; attempt += 1) {
    const least = backoff_ms(attempt, 0);
    const most = backoff_ms(attempt, 1);
    expect(most).toBe(2 * least);
    expect(most).toBeLessThanOrEqual(60_000);
    expect(least).toBeGreaterThanOrEqual(backoff_ms(Math.max(0, attempt - 1), 0));
  }
  expect(backoff_ms(0, 1)).toBe(1_000);
});

it('an error of the server is one text: what happened, what was kept, what to do', () => {
  expect(
    server_error({
      error: { message: 'no such kind `sinkk`', kept: 'the other jobs were taken', todo: 'write `sink`' },
    }),
  ).toBe('No such kind `sinkk`. The other jobs were taken. Write `sink`.');
  expect(server_error({ error: 'plain' })).toBe('Plain.');
  expect(server_error({ permit: 'A-1' })).toBeNull();
  expect(server_error(null)).toBeNull();
  expect(json('{')).toBeUndefined();
});
