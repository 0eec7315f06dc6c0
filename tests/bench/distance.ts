import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { threadPool } from '../../cli/pool.ts';
import type { Context } from '../../src/core/context.ts';
import type { Field } from '../../src/core/field.ts';
import { cellCentre, cellCount, type Grid, gridOver } from '../../src/core/grid.ts';
import { type Mesh, triangleCount } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { distanceToMesh } from '../../src/field/distance.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type ErrorSummary, summarize, treeDistance } from '../oracle/distance.ts';
import { tubeFrame } from '../oracle/shapes.ts';
import { checksum, printTable, type Seconds, short, timed } from './timing.ts';

/**
 * The distance kernel against general-purpose libraries on the same mesh and cells: time and error together. The libraries are
 * tried where they are installed. OpenVDB works in a band: once as wide as the farthest cell, which is the kernel's own task (the flood
 * and the largest ball need every cell), and in narrow bands for comparison.
 */
const HERE = fileURLToPath(new URL('.', import.meta.url));
const CACHE = join(HERE, '..', '.cache');
export const LEVELS = [4, 12];
/** Narrow bands, mm: just what the levels need, and half again. */
const BANDS = [14, 25];
/** How far outside the grid surfaces count, mm. */
const PAD = 14;
/** Cells whose error is measured. */
const SAMPLES = 4000;

/** Bent tubes in 700 x 450 x 450 mm, about a million triangles, 0.1 mm noise. */
export const benchFrame = (): Mesh => tubeFrame({ seed: 2026, size: [900, 560, 560], tubes: 14, edge: 1.6, noise: 0.1 });
export const benchGrid = (step: number): Grid => gridOver({ min: [-350, -225, -225], max: [350, 225, 225] }, step);

export interface DistanceFigures {
  readonly triangles: number;
  readonly cells: number;
  readonly rows: readonly (Seconds & { readonly name: string; readonly threads: number; readonly error: ErrorSummary })[];
  /** Wall time of one worker over that of two. */
  readonly speedup: number;
  /** CPU time of the fastest library whose error is near ours, over ours, one thread each; null when none is installed. */
  readonly cpuRatio: number | null;
  /** The same against a narrow band only, which leaves most of the grid unknown. */
  readonly bandRatio: number | null;
}

export async function benchDistance(runs: number): Promise<DistanceFigures> {
  const mesh = benchFrame();
  const grid = benchGrid(2);
  console.log(`distance: ${triangleCount(mesh)} triangles, ${cellCount(grid)} cells of ${grid.step} mm`);
  const judge = judgeOf(mesh, grid);
  const rows: DistanceFigures['rows'][number][] = [];
  for (const threads of [1, 2]) {
    const pool = threadPool(threads);
    const context: Context = { ...inlineContext, pool };
    let last: Field | undefined;
    const t = await timed(
      runs,
      async () => {
        last = await distanceToMesh(mesh, grid, { levels: LEVELS, pad: PAD }, context);
        return last;
      },
      (f) => checksum(f.data),
    );
    await pool.close();
    rows.push({ name: 'voidgauge', threads, wall: t.wall, cpu: t.cpu, error: judge(last!.data) });
  }
  let farthest = 0;
  for (const v of (await distanceToMesh(mesh, grid, { levels: LEVELS, pad: PAD }, inlineContext)).data) if (v > farthest) farthest = v;
  const whole = Math.ceil(farthest) + grid.step;
  rows.push(...libraries({ mesh, grid, runs, bands: [...BANDS, whole] }, judge));
  printTable(
    'error in cells within one cell of the levels',
    ['', 'threads', 'wall s', 'cpu s', 'rms', '99 %', 'max'],
    rows.map((r) => [r.name, `${r.threads}`, short(r.wall), short(r.cpu), short(r.error.rms), short(r.error.p99), short(r.error.max)]),
  );
  const one = rows.filter((r) => r.threads === 1);
  // Only those that come near our accuracy are rivals.
  const rivals = one.filter((r) => r.name !== 'voidgauge' && r.error.p99 < 2 * Math.max(one[0].error.p99, 0.1));
  const over = (those: typeof rivals): number | null => (those.length > 0 ? Math.min(...those.map((r) => r.cpu)) / one[0].cpu : null);
  const narrow = (name: string): boolean => BANDS.some((b) => name.endsWith(bandName(b)));
  const cpuRatio = over(rivals.filter((r) => !narrow(r.name)));
  const bandRatio = over(rivals.filter((r) => narrow(r.name)));
  const speedup = rows[0].wall / rows[1].wall;
  console.log(
    `fastest library of like accuracy over the kernel, one thread, CPU: whole grid ${said(cpuRatio)}, narrow band ${said(bandRatio)}; two workers: ${short(speedup)} times`,
  );
  return { triangles: triangleCount(mesh), cells: cellCount(grid), rows, speedup, cpuRatio, bandRatio };
}

const said = (ratio: number | null): string => (ratio === null ? 'none installed' : short(ratio));
const bandName = (band: number): string => `${band} mm band`;

/** Measures a field's error on random cells whose true distance lies within one cell of a level. */
function judgeOf(mesh: Mesh, grid: Grid): (data: Float32Array) => ErrorSummary {
  const exact = treeDistance(mesh);
  const rng = random(7);
  const cells: number[] = [];
  const truth: number[] = [];
  const n = cellCount(grid);
  while (cells.length < SAMPLES) {
    const batch = Array.from({ length: 1000 }, () => rng.below(n));
    const d = exact(Float64Array.from(batch.flatMap((c) => [...cellCentre(grid, c)])));
    batch.forEach((c, i) => {
      if (!LEVELS.some((l) => Math.abs(d[i] - l) <= grid.step)) return;
      cells.push(c);
      truth.push(d[i]);
    });
  }
  return (data) => summarize(cells.map((c, i) => (data[c] - truth[i]) / grid.step));
}

function libraries(
  { mesh, grid, runs, bands }: { mesh: Mesh; grid: Grid; runs: number; bands: readonly number[] },
  judge: (data: Float32Array) => ErrorSummary,
): DistanceFigures['rows'][number][] {
  mkdirSync(CACHE, { recursive: true });
  const input = join(CACHE, 'bench-mesh.bin');
  const output = join(CACHE, 'bench-field.bin');
  writeMesh(input, mesh, grid);
  const rows: DistanceFigures['rows'][number][] = [];
  const take = (name: string, threads: number, command: string, extra: { before?: string[]; band?: number }): void => {
    const args = [...(extra.before ?? []), input, output, `${threads}`, `${runs}`, `${extra.band ?? 0}`];
    const { status, stdout, stderr } = spawnSync(command, args, { encoding: 'utf8' });
    if (status !== 0) {
      console.log(`${name} is left out: ${stderr?.trim().split('\n').at(-1) ?? `${command} cannot be run`}`);
      return;
    }
    const seconds = JSON.parse(stdout) as Seconds;
    const bytes = readFileSync(output);
    rows.push({ name, threads, ...seconds, error: judge(new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4)) });
  };
  const vdb = buildVdb();
  if (vdb) for (const band of bands) for (const threads of [1, 2]) take(`OpenVDB, C++, ${bandName(band)}`, threads, vdb, { band });
  take('scipy transform of cells', 1, '/usr/bin/python3', { before: [join(HERE, 'edt.py')] });
  rmSync(input, { force: true });
  rmSync(output, { force: true });
  return rows;
}

/** Path of the built comparison program; null, with a word on the console, where it cannot be built. */
function buildVdb(): string | null {
  const source = join(HERE, 'vdb.cpp');
  const program = join(CACHE, 'vdb');
  if (existsSync(program) && statSync(program).mtimeMs > statSync(source).mtimeMs) return program;
  const flags = ['-O3', '-march=native', '-std=c++17', source, '-o', program, '-lopenvdb', '-ltbb', '-lImath'];
  if (spawnSync('g++', flags, { stdio: 'ignore' }).status === 0) return program;
  console.log('OpenVDB is left out: it could not be built (Debian: apt-get install g++ libopenvdb-dev)');
  return null;
}

function writeMesh(path: string, mesh: Mesh, grid: Grid): void {
  const head = Buffer.alloc(36);
  head.writeInt32LE(mesh.positions.length / 3, 0);
  head.writeInt32LE(mesh.indices.length / 3, 4);
  [grid.step, ...grid.origin].forEach((v, i) => {
    head.writeFloatLE(v, 8 + 4 * i);
  });
  [grid.nx, grid.ny, grid.nz].forEach((v, i) => {
    head.writeInt32LE(v, 24 + 4 * i);
  });
  const { positions: p, indices: t } = mesh;
  writeFileSync(
    path,
    Buffer.concat([head, Buffer.from(p.buffer, p.byteOffset, p.byteLength), Buffer.from(t.buffer, t.byteOffset, t.byteLength)]),
  );
}
