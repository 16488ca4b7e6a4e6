import { Alarm } from './forms';

/** Where a screen cannot be drawn, or not yet. */
export function Waiting({ problem }: { problem: string | null }) {
  return (
    <main class="page narrow">
      {problem === null ? (
        <p role="status">Opening…</p>
      ) : (
        <>
          <h1 tabIndex={-1}>This cannot be shown</h1>
          <p role="alert">{problem}</p>
          <p>
            <a class="button" href="#/">
              Back to the jobs
            </a>
          </p>
        </>
      )}
      <Alarm />
    </main>
  );
}
