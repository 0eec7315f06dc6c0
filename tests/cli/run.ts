import { type ChildProcess, spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';

/**
 * The test runner builds the program and names it here: what users get is what is tested, and it starts ten times as fast. Without that
 * (one test file by itself) it runs from source.
 */
const BUILT = process.env['VOIDGAUGE_BUILT'];
const SOURCE = ['--import', import.meta.resolve('tsx'), fileURLToPath(new URL('../../cli/main.ts', import.meta.url))];

/** How a process of the program ended. */
export interface Ended {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly stdout: string;
  readonly stderr: string;
}

export interface Options {
  readonly cwd: string;
  readonly env?: Readonly<Record<string, string>>;
  /** From source in any case. */
  readonly source?: boolean;
  /** Called with the process once it runs. */
  readonly started?: (child: ChildProcess) => void;
}

/** Runs the program from source as a user does, without a terminal, and waits for its end. */
export function voidgauge(args: readonly string[], options: Options): Promise<Ended> {
  return new Promise((done, failed) => {
    const env = { ...process.env, NO_COLOR: '', VOIDGAUGE_DEBUG: '', ...options.env };
    const child = spawn(process.execPath, [...(BUILT && !options.source ? [BUILT] : SOURCE), ...args], {
      cwd: options.cwd,
      env,
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    let [stdout, stderr] = ['', ''];
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      stdout += text;
    });
    child.stderr.setEncoding('utf8').on('data', (text: string) => {
      stderr += text;
    });
    child.on('error', failed);
    child.on('close', (code, signal) => done({ code, signal, stdout, stderr }));
    options.started?.(child);
  });
}

/** A binary STL of closed boxes [x0, y0, z0, x1, y1, z1], faces outwards. */
export function boxesStl(...boxes: readonly (readonly number[])[]): Uint8Array {
  const faces = [
    [0, 2, 3, 1],
    [4, 5, 7, 6],
    [0, 1, 5, 4],
    [2, 6, 7, 3],
    [0, 4, 6, 2],
    [1, 3, 7, 5],
  ];
  const out = new DataView(new ArrayBuffer(84 + 50 * 12 * boxes.length));
  out.setUint32(80, 12 * boxes.length, true);
  let at = 84;
  for (const b of boxes)
    for (const [p, q, r, s] of faces)
      for (const triangle of [
        [p, q, r],
        [p, r, s],
      ]) {
        at += 12;
        for (const corner of triangle)
          for (let a = 0; a < 3; a++) {
            out.setFloat32(at, b[a + ((corner >> a) & 1 ? 3 : 0)], true);
            at += 4;
          }
        at += 2;
      }
  return new Uint8Array(out.buffer);
}
