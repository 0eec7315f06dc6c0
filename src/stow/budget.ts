/** How long a search may go on: asked between its steps. Best so far comes back when it says no. */
export interface Budget {
  /** Clock, seconds from anywhere. */
  readonly now: () => number;
  /** Seconds that the search may take. */
  readonly seconds: number;
  readonly cancelled?: () => boolean;
}

/** So many seconds from now, by this thread's clock. */
export const budgetOf = (seconds: number): Budget => ({ now: () => performance.now() / 1000, seconds });

/** A function that says whether there is still time, counted from now. */
export function clock(budget: Budget): () => boolean {
  const end = budget.now() + budget.seconds;
  return () => budget.now() < end && !(budget.cancelled?.() ?? false);
}
