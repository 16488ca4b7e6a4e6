// The screen stays lit while a place is open: a tablet that locks itself between two taps costs a glove.

let lock: WakeLockSentinel | null = null;
let wanted = false;

/** Asks for a lit screen, or gives it back. A browser that refuses is left alone: nothing depends on it. */
export async function stay_awake(on: boolean): Promise<void> {
  wanted = on;
  if (!on) {
    await lock?.release().catch(() => undefined);
    lock = null;
    return;
  }
  if (lock !== null && !lock.released) return;
  lock = await (navigator.wakeLock?.request('screen').catch(() => null) ?? null);
}

// The browser takes the lock away with the tab; it is asked for again when the tab is back.
document.addEventListener('visibilitychange', () => {
  if (document.visibilityState === 'visible' && wanted) void stay_awake(true);
});
