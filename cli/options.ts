import { InvalidArgumentError } from 'commander';
import { parseLength } from '../src/core/units.ts';

/** A length of more than 0, mm. */
export function stepLength(text: string): number {
  const mm = parseLength(text);
  if (!(mm > 0)) throw new InvalidArgumentError('A step is a length of more than 0: a number in mm, or with a unit.');
  return mm;
}

/** A number of threads. */
export function workerCount(text: string): number {
  const count = Number(text);
  if (!/^\d+$/.test(text) || count < 1 || count > 256)
    throw new InvalidArgumentError('The number of threads is a whole number from 1 to 256.');
  return count;
}
