import { availableParallelism } from 'node:os';
import { dirname } from 'node:path';
import type { Command } from 'commander';
import { parseJob } from '../../src/job/job.ts';
import type { Approach } from '../../src/make/certificate.ts';
import type { Certified } from '../../src/pipeline/make.ts';
import type { BodyAbout } from '../body.ts';
import { compute } from '../compute.ts';
import { checkReadable, readText } from '../files.ts';
import { at, count, num, row, sized, wrap } from '../lines.ts';
import { workerCount } from '../options.ts';
import { print } from '../report.ts';
import { VERSION } from '../version.ts';

interface Options {
  json?: boolean;
  workers?: number;
}

type Answer = Certified & { readonly mesh: BodyAbout };

export function addCertify(program: Command): void {
  program
    .command('certify')
    .argument('<mesh>', 'a closed mesh in the place where it will sit: STL, PLY, OBJ, GLB or 3MF')
    .argument('<job>', 'job file, YAML, with the scans and their clearances')
    .description('prove how near a mesh comes to each scan; exit code 3 when it is too near somewhere')
    .option('--json', 'print the certificate instead of a table')
    .option('--workers <number>', `threads to compute with (default: one a core, here ${availableParallelism()})`, workerCount)
    .action(run);
}

async function run(mesh: string, path: string, options: Options): Promise<void> {
  const job = parseJob(await readText(path, 'a job file'), path);
  await checkReadable(mesh, 'a mesh');
  const workers = options.workers ?? availableParallelism();
  const { value } = await compute<Answer>({ ask: 'certify', job, folder: dirname(path), mesh, workers });
  const tool = { name: 'voidgauge', version: VERSION };
  await print(options.json ? `${JSON.stringify({ tool, job: job.name, ...value }, null, 2)}\n` : table(value));
  if (!value.certificate.pass) process.exitCode = 3;
}

function table({ certificate, mesh, notes }: Answer): string {
  const lines = [
    ...wrap(`${mesh.file}: ${mesh.format}, taken as ${mesh.unit}, ${mesh.faces} faces`, ''),
    row('  closest to', 'is, mm', 'asked, mm', ''),
    ...certificate.obstacles.flatMap(approachLines),
    '',
    certificate.pass ? 'Every point of every face keeps the clearances that the job asks.' : 'The mesh comes too near.',
  ];
  if (notes.length > 0) lines.push('', 'Notes', ...notes.flatMap((n) => wrap(n.text, '  - ')));
  return `${lines.join('\n')}\n`;
}

/** Patches that are named; --json has them all. */
const PATCHES = 3;

function approachLines(o: Approach): string[] {
  const is = o.at_least_mm === null ? 'nothing' : (Math.floor(o.at_least_mm * 100) / 100).toFixed(2);
  const lines = [
    row(`  ${o.name}`, is, num(o.asked_mm), o.pass ? 'clear' : o.relation === 'apart' ? 'TOO NEAR' : o.relation.toUpperCase()),
  ];
  for (const p of o.patches.slice(0, PATCHES))
    lines.push(...wrap(`lacks up to ${sized(p.depth_mm)} mm over ${sized(p.area_mm2 / 100)} cm2 at ${at(p.at_mm)}`, '      '));
  if (o.patches.length > PATCHES) lines.push(`      and ${count(o.patches.length - PATCHES, 'more place')}`);
  return lines;
}
