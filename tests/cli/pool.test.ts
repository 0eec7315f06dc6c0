import { readdirSync, readFileSync } from 'node:fs';
import { afterEach, describe, expect, it } from 'vitest';
import { threadPool } from '../../cli/pool.ts';
import type { Pool, Task } from '../../src/core/context.ts';
import { Fault } from '../../src/core/fault.ts';
import { random } from '../../src/core/random.ts';
import { distanceToMesh } from '../../src/field/distance.ts';
import { inlineContext, inlinePool } from '../../src/parallel/inline.ts';
import { answer, receiveError, sendError } from '../../src/parallel/messages.ts';
import { findTask } from '../../src/parallel/tasks.ts';

let pool: Pool = inlinePool;
afterEach(async () => {
  await pool.close();
});

const noTask: Task<unknown, unknown> = { name: 'no.such.task', run: () => 0 };

/** A crumpled sheet of triangles. */
function sheet(seed: number) {
  const r = random(seed);
  const n = 30;
  const positions = new Float32Array(n * n * 3);
  for (let i = 0; i < n * n; i++) positions.set([(i % n) * 4 + r.normal(), Math.floor(i / n) * 4 + r.normal(), 40 + 6 * r.normal()], i * 3);
  const indices: number[] = [];
  for (let j = 0; j + 1 < n; j++)
    for (let i = 0; i + 1 < n; i++) {
      const c = i + n * j;
      indices.push(c, c + 1, c + n, c + 1, c + n + 1, c + n);
    }
  return { origin: [0, 0, 0] as const, positions, indices: new Uint32Array(indices) };
}

describe('the thread pool', () => {
  it('gives the same bytes with 1, 2 and 3 threads', async () => {
    const mesh = sheet(1);
    const grid = { origin: [-5, -5, 10] as const, step: 2, nx: 64, ny: 63, nz: 40 };
    const want = await distanceToMesh(mesh, grid, { levels: [5] }, inlineContext);
    for (const size of [1, 2, 3]) {
      pool = threadPool(size);
      expect(pool.size).toBe(size);
      const got = await distanceToMesh(mesh, grid, { levels: [5] }, { ...inlineContext, pool });
      await pool.close();
      expect(Buffer.compare(Buffer.from(got.data.buffer), Buffer.from(want.data.buffer)), `${size} threads`).toBe(0);
    }
  });

  it('hands out memory that threads share', () => {
    pool = threadPool(2);
    expect(pool.allocate(16)).toBeInstanceOf(SharedArrayBuffer);
  });

  it('rejects with what went wrong in a thread and goes on working', async () => {
    pool = threadPool(2);
    await expect(pool.map(noTask, [1, 2, 3, 4, 5])).rejects.toThrow('no task is called "no.such.task"');
    await expect(pool.map(noTask, [])).resolves.toEqual([]);
    await expect(pool.map(noTask, [1])).rejects.toThrow('no.such.task');
  });

  it('rejects arguments that cannot cross, and goes on', async () => {
    pool = threadPool(2);
    await expect(pool.map(noTask, [() => 0, () => 1, () => 2])).rejects.toThrow(/could not be cloned/);
    await expect(pool.map(noTask, [1])).rejects.toThrow('no.such.task');
  });

  it('rejects what runs and what comes later once it is closed', async () => {
    pool = threadPool(2);
    const running = expect(pool.map(noTask, Array(50).fill(0))).rejects.toThrow('the pool is closed');
    await pool.close();
    await running;
    await expect(pool.map(noTask, [1])).rejects.toThrow('the pool is closed');
    await pool.close();
  });
});

describe('errors between threads', () => {
  it('keep a fault whole', () => {
    const fault = new Fault({ code: 'x', what: 'W.', got: 'g', expected: 'e', hint: 'h', where: 'f:1:2', exit: 3 });
    const back = receiveError(structuredClone(sendError(fault)));
    expect(back).toBeInstanceOf(Fault);
    expect((back as Fault).detail).toEqual(fault.detail);
  });
  it('keep message and stack of others', () => {
    const error = new RangeError('too far');
    const back = receiveError(structuredClone(sendError(error)));
    expect(back.message).toBe('RangeError: too far');
    expect(back.stack).toBe(error.stack);
    expect(receiveError(sendError('words')).message).toBe('words');
  });
  it('answer an unknown task', async () => {
    expect(await answer({ id: 7, name: 'nothing', args: 0 })).toMatchObject({
      id: 7,
      error: { message: 'Error: no task is called "nothing"' },
    });
  });
});

describe('the registry', () => {
  it('finds every task that the sources export, by its own name', async () => {
    const root = new URL('../../src/', import.meta.url);
    const named = readdirSync(root, { recursive: true, encoding: 'utf8' })
      .filter((file) => file.endsWith('.ts'))
      .flatMap((file) => [...readFileSync(new URL(file, root), 'utf8').matchAll(/: Task<[^=]*=\s*\{\s*name: '([^']+)'/g)].map((m) => m[1]));
    expect(named.length).toBeGreaterThan(3);
    expect(new Set(named).size).toBe(named.length);
    for (const name of named) expect((await findTask(name)).name).toBe(name);
  });
});
