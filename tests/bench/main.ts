import { execFileSync } from 'node:child_process';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { cpus, loadavg } from 'node:os';
import { benchDemo } from './demo.ts';
import { benchDistance } from './distance.ts';
import { benchClosedForms, benchKernels } from './kernels.ts';
import { benchPlacing } from './placing.ts';
import { benchWays } from './ways.ts';

/**
 * `npm run bench [-- part…] [--save] [--runs N]`: parts are distance, kernels, forms, placing, ways and demo, all of them when none is named. --save adds the
 * figures to history.json. Everything is seeded; times are medians; compare within one run, and across runs only CPU
 * seconds of a quiet machine.
 */
const HISTORY = new URL('history.json', import.meta.url);
const KEPT = 40;

const args = process.argv.slice(2);
const at = args.indexOf('--runs');
const runs = at >= 0 ? Number(args[at + 1]) : 3;
const parts = args.filter((a, i) => !a.startsWith('--') && (at < 0 || i !== at + 1));
const wanted = (part: string): boolean => parts.length === 0 || parts.includes(part);
if (!(runs >= 1)) throw new Error('--runs wants a whole number of at least 1');
const unknown = parts.find((p) => !['distance', 'kernels', 'forms', 'placing', 'ways', 'demo'].includes(p));
if (unknown) throw new Error(`"${unknown}" is no part of the benchmark: distance, kernels, forms, placing, ways, demo`);

const load = loadavg()[0];
console.log(`${cpus().length} cores, ${cpus()[0]?.model ?? 'unknown'}, load ${load.toFixed(1)}, Node ${process.versions.node}`);
if (load > 0.5) console.log('the machine is busy: only CPU seconds and ratios mean anything');
const figures = {
  date: new Date().toISOString().slice(0, 16),
  commit: execFileSync('git', ['rev-parse', '--short', 'HEAD'], { encoding: 'utf8' }).trim(),
  node: process.versions.node,
  cores: cpus().length,
  load: Number(load.toFixed(1)),
  runs,
  ...(wanted('distance') ? { distance: await benchDistance(runs) } : {}),
  ...(wanted('kernels') ? { kernels: await benchKernels(runs) } : {}),
  ...(wanted('forms') ? { forms: await benchClosedForms(4) } : {}),
  ...(wanted('placing') ? { placing: await benchPlacing(20) } : {}),
  ...(wanted('ways') ? { ways: await benchWays(runs) } : {}),
  ...(wanted('demo') ? { demo: benchDemo(runs) } : {}),
};
if (args.includes('--save')) {
  const history: unknown[] = existsSync(HISTORY) ? JSON.parse(readFileSync(HISTORY, 'utf8')) : [];
  const rounded = JSON.stringify([...history, figures].slice(-KEPT), (_, v) => (typeof v === 'number' ? Number(v.toPrecision(5)) : v), 1);
  writeFileSync(HISTORY, `${rounded}\n`);
}
