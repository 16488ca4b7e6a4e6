// What the page shows, as signals. All of it comes from the worker, except where the page is and what lies open.

import { computed, effect, signal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import type { Command } from '../core/types';
import { Plain, type Status, type Views } from '../shared/messages';
import { ask, listen } from './bridge';
import { keep_page } from './keep';
import { type Route, read_route, without_sheet, write_route } from './route';

export const status = signal<Status | null>(null);
export const views = signal<Views | null>(null);
export const route = signal<Route>(read_route(location.hash));
/** Read aloud, and shown for a moment. */
export const said = signal('');
/** An answer that the user must act on. */
export const alarm = signal<string | null>(null);
/** The core has stopped for good. */
export const stopped = signal<string | null>(null);
/** A form that lies over the screen. */
export const panel = signal<{ title: string; body: (close: () => void) => ComponentChildren } | null>(null);
/** The fact or closing in the light. */
export interface Target {
  subject: string;
  what: string;
  closing: boolean;
}
export const target = signal<Target | null>(null);
/** A new version of the program waits for the user's word. */
export const update = signal<ServiceWorkerRegistration | null>(null);
/** Whether the program itself is stored, so that it starts without a signal. */
export const program_stored = signal(false);
/** What the browser said about keeping the data; null while it has not answered. */
export const persisted = signal<boolean | null>(null);

export type Hand = 'right' | 'left';
export const hand = signal<Hand>(localStorage.getItem('hand') === 'left' ? 'left' : 'right');

export function go(to: Route): void {
  const hash = write_route(to);
  if (hash !== location.hash) location.hash = hash;
}

export function close_sheet(): void {
  go(without_sheet(route.value));
}

export function say(text: string): void {
  // The same words twice in a row are two events: a screen reader speaks only what changed.
  said.value = said.value === text ? `${text}\u00a0` : text;
}

export function alarm_of(error: unknown): string {
  if (error instanceof Plain) return error.message;
  return error instanceof Error ? error.message : String(error);
}

/** Runs something the user asked for; a failure is shown with what was kept and what to do. Fulfils with success. */
export async function attempt(job: () => Promise<unknown>): Promise<boolean> {
  try {
    await job();
    alarm.value = null;
    return true;
  } catch (error) {
    alarm.value = alarm_of(error);
    return false;
  }
}

/** The job on the screen. */
export function doc_here(): string {
  const here = route.value;
  return here.screen === 'day' || here.screen === 'settings' ? '' : here.doc;
}

/** Sends a command for the job on the screen; says it is saved only when the worker says so. */
export function command(what: Command, words: string): Promise<boolean> {
  return attempt(async () => {
    await ask({ type: 'command', doc: doc_here(), command: what });
    say(`Saved on this tablet: ${words}`);
  });
}

/** Whether the job on the screen may be written here and now, and if not, why. */
export function locked(): string | null {
  return lock.value;
}

// Computed, so that a screen is drawn again when the answer changes and not with every word of the status.
const lock = computed(() =>
  status.value?.writer === 'elsewhere'
    ? 'Read only: Crownweir is open in another tab.'
    : (views.value?.job?.read_only ?? null),
);

function show(fresh: Views): void {
  views.value = { ...fresh, place: keep_page(views.value?.place ?? null, fresh.place) };
}

export async function begin(): Promise<void> {
  listen({
    status: (fresh) => {
      status.value = fresh;
    },
    views: (fresh) => {
      if (write_route(fresh.look) === write_route(route.value)) show(fresh);
    },
    job: (doc, job) => {
      const now = views.value;
      if (now !== null && now.look.screen === 'place' && now.look.doc === doc) views.value = { ...now, job };
    },
    stopped: (message) => {
      stopped.value = message;
    },
  });
  addEventListener('hashchange', () => {
    route.value = read_route(location.hash);
  });
  document.addEventListener('visibilitychange', () => {
    ask({ type: 'shown', shown: document.visibilityState === 'visible' }).catch(() => undefined);
  });
  effect(() => {
    document.documentElement.dataset.hand = hand.value;
    localStorage.setItem('hand', hand.value);
  });
  status.value = await ask({ type: 'start' });
  const user = computed(() => status.value?.session?.user);
  effect(() => {
    const here = route.value;
    // Watched again when somebody signs in: the core is then a new one.
    void user.value;
    const look = here.screen === 'settings' ? { screen: 'day' as const } : here;
    ask({ type: 'watch', look }).then(
      (fresh) => {
        if (write_route(fresh.look) === write_route(look)) show(fresh);
      },
      (error: unknown) => {
        alarm.value = alarm_of(error);
      },
    );
  });
}
