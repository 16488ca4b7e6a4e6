// The worker's door: one message of the page in, one answer out.

import { type Answers, type Ask, type Failure, type FromPage, type FromWorker, never, Plain } from '../shared/messages';
import { Desk } from './desk';

const say = (message: FromWorker): void => postMessage(message);
const desk = new Desk(say);

function handle(ask: Ask): Promise<Answers[keyof Answers]> {
  switch (ask.type) {
    case 'start':
      return desk.start();
    case 'sign_in':
      return desk.sign_in(ask.user, ask.password, ask.device);
    case 'sign_out':
      return desk.sign_out();
    case 'take_along':
      return desk.take_along();
    case 'watch':
      return desk.watch(ask.look);
    case 'command':
      return desk.command(ask.doc, ask.command);
    case 'photo':
      return desk.photo(ask.doc, ask.subject, ask.caption, ask.image);
    case 'photo_image':
      return desk.photo_image(ask.doc, ask.sha256);
    case 'read_value':
      return desk.read_value(ask.doc, ask.subject, ask.fact, ask.text);
    case 'import_jobs':
      return desk.import_jobs(ask.text);
    case 'shown':
      return desk.shown(ask.shown);
    case 'take_over':
      return desk.take_over();
    default:
      return never(ask);
  }
}

function failure_of(error: unknown): Failure {
  if (error instanceof Plain) return { kind: error.kind, message: error.message };
  return {
    kind: error instanceof WebAssembly.RuntimeError ? 'broken' : 'refused',
    message: error instanceof Error ? error.message : String(error),
  };
}

addEventListener('message', (event: MessageEvent<FromPage>) => {
  const { id, ask } = event.data;
  // `async` so that a check that throws at once is an answer too.
  (async () => handle(ask))().then(
    (value) => say({ type: 'answer', id, value }),
    (error: unknown) => say({ type: 'failure', id, failure: failure_of(error) }),
  );
});
