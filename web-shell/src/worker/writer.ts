// One tab of this tablet owns storage and socket: two that edit would each sync the other's work late or never.

const LOCK = 'crownweir-writer';

export interface WriterEvents {
  /** This tab is the writer from now on. */
  gained(): void;
  /** Another tab took over. */
  lost(): void;
}

/**
 * Asks for the one writer's place. Fulfils with whether it was had within `patience_ms` (a page that is being
 * reloaded gives its lock back a moment late); if not, it stays in line and `gained` is called when its turn comes.
 */
export function seek(events: WriterEvents, patience_ms: number): Promise<boolean> {
  return new Promise((resolve) => {
    let late = false;
    const timer = setTimeout(() => {
      late = true;
      resolve(false);
    }, patience_ms);
    hold({}, events, () => {
      clearTimeout(timer);
      if (late) events.gained();
      else resolve(true);
    });
  });
}

/** Takes the place from the tab that has it. What that tab still tries to write fails at the store's mark. */
export function take_over(events: WriterEvents): void {
  hold({ steal: true }, events, () => events.gained());
}

function hold(options: LockOptions, events: WriterEvents, held: () => void): void {
  let mine = false;
  navigator.locks
    .request(LOCK, options, () => {
      mine = true;
      held();
      return new Promise<never>(() => undefined);
    })
    .catch(() => {
      // A stolen lock rejects the request that held it, and nothing else does.
      if (mine) events.lost();
    });
}
