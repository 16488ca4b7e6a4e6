// Waiting for what must become true, with words for when it does not.

/** Asks until the answer is truthy and gives it back. The limit is generous: it only ends a test that has failed. */
export async function until(what, ask, limit_ms = 20_000) {
  const end = Date.now() + limit_ms;
  let last;
  for (;;) {
    try {
      const answer = await ask();
      if (answer) return answer;
      last = answer;
    } catch (error) {
      last = error;
    }
    if (Date.now() > end) throw new Error(`never came true: ${what} (last: ${last})`);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}
