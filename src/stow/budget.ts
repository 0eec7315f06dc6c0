/** How long a search may go on: asked between its steps. Best so far comes back when it says no. */
export interface Budget {
  /** Clock, seconds from anywhere. */
  readonly now: () => number;
  /** Seconds that the search may take. */
  readonly seconds: number;
  readonly cancelled?: () => boolean;
}

/** So many seconds from now, by this thread's clock; cut short when somebody sets `enough`, shared memory, to other than 0. */
export const budgetOf = (seconds: number, enough?: Int32Array): Budget => ({
  now: () => performance.now() / 1000,
  seconds,
  cancelled: () => enough !== undefined && Atomics.load(enough, 0) !== 0,
});

/** A function that says whether there is still time, counted from now. */
export function clock(budget: Budget): () => boolean {
  const end = budget.now() + budget.seconds;
  return () => budget.now() < end && !(budget.cancelled?.() ?? false);
}
