import { render } from 'preact';
import { App } from './app';
import { alarm_of, begin, persisted, program_stored, stopped, update } from './state';

/** Registers the program's own store; a new version waits until the user takes it. */
async function keep_program(): Promise<void> {
  if (!('serviceWorker' in navigator) || import.meta.env.DEV) return;
  const registration = await navigator.serviceWorker.register('/sw.js', { scope: '/' });
  const waits = (): void => {
    if (registration.waiting !== null && navigator.serviceWorker.controller !== null) update.value = registration;
  };
  waits();
  registration.addEventListener('updatefound', () => {
    registration.installing?.addEventListener('statechange', waits);
  });
  await navigator.serviceWorker.ready;
  program_stored.value = true;
}

/** Asks the browser to keep the data; its answer is shown, not believed to be yes. */
async function keep_data(): Promise<void> {
  persisted.value = (await navigator.storage?.persisted?.()) || (await navigator.storage?.persist?.()) || false;
}

const root = document.getElementById('app');
if (root !== null) {
  begin().then(
    () => {
      root.replaceChildren();
      render(<App />, root);
      document.documentElement.dataset.ready = '';
      keep_data().catch(() => {
        persisted.value = false;
      });
      keep_program().catch(() => undefined);
    },
    (error: unknown) => {
      stopped.value = alarm_of(error);
      root.replaceChildren();
      render(<App />, root);
      keep_program().catch(() => undefined);
    },
  );
}
