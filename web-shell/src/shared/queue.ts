// One thing at a time, in the order asked: "saved" means nothing if two writes can overtake one another.

export class Queue {
  #tail: Promise<unknown> = Promise.resolve();
  #waiting = 0;

  /** Runs `job` after everything asked before it; a failed job does not stop the next one. */
  run<T>(job: () => Promise<T> | T): Promise<T> {
    this.#waiting += 1;
    const result = this.#tail.then(job);
    this.#tail = result.then(
      () => this.#done(),
      () => this.#done(),
    );
    return result;
  }

  /** How many jobs are waiting or running. */
  get waiting(): number {
    return this.#waiting;
  }

  #done(): void {
    this.#waiting -= 1;
  }
}
