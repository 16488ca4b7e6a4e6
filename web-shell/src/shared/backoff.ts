// How long to wait before the next try: doubling with full jitter, so that a shift of tablets coming back into
// signal at once does not arrive at the server at once.

const FIRST_MS = 1_000;
const MOST_MS = 60_000;

/** Milliseconds to wait before try number `attempt` (0 for the first); `random` in [0, 1). */
export function backoff_ms(attempt: number, random: number): number {
  const most = Math.min(MOST_MS, FIRST_MS * 2 ** Math.min(attempt, 16));
  return Math.round(most / 2 + (most / 2) * random);
}
