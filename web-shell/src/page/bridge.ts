// The page's end of the worker. Each ask is answered once; what changes besides arrives as a push.

import type { JobView } from '../core/types';
import { type Answers, type Ask, type FromPage, type FromWorker, never, Plain } from '../shared/messages';

export interface Pushes {
  status(status: Extract<FromWorker, { type: 'status' }>['status']): void;
  views(views: Extract<FromWorker, { type: 'views' }>['views']): void;
  job(doc: string, job: JobView): void;
  stopped(message: string): void;
}

interface Open {
  resolve(value: never): void;
  reject(error: Plain): void;
}

const worker = new Worker(new URL('../worker/main.ts', import.meta.url), { type: 'module', name: 'crownweir' });
const open = new Map<number, Open>();
let last = 0;
let gone: string | null = null;

/** Asks the worker; rejects with a `Plain` whose message a user can act on. */
export function ask<A extends Ask>(what: A): Promise<Answers[A['type']]> {
  if (gone !== null) return Promise.reject(new Plain('broken', gone));
  const id = ++last;
  return new Promise((resolve, reject) => {
    open.set(id, { resolve, reject });
    worker.postMessage({ id, ask: what } satisfies FromPage);
  });
}

export function listen(pushes: Pushes): void {
  worker.onmessage = (event: MessageEvent<FromWorker>) => {
    const message = event.data;
    switch (message.type) {
      case 'answer':
        open.get(message.id)?.resolve(message.value as never);
        open.delete(message.id);
        return;
      case 'failure':
        open.get(message.id)?.reject(new Plain(message.failure.kind, message.failure.message));
        open.delete(message.id);
        return;
      case 'status':
        pushes.status(message.status);
        return;
      case 'views':
        pushes.views(message.views);
        return;
      case 'job':
        pushes.job(message.doc, message.job);
        return;
      case 'stopped':
        stop(message.message, pushes);
        return;
      default:
        never(message);
    }
  };
  worker.onerror = (event) => {
    event.preventDefault();
    stop(
      `The working part of Crownweir could not run (${event.message || 'it did not load'}). What was saved is on this tablet. Start it again.`,
      pushes,
    );
  };
}

function stop(message: string, pushes: Pushes): void {
  gone = message;
  for (const one of open.values()) one.reject(new Plain('broken', message));
  open.clear();
  pushes.stopped(message);
}
