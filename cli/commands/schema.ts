import type { Command } from 'commander';
import { jobSchema } from '../../src/job/job.ts';
import { print } from '../report.ts';

export function addSchema(program: Command): void {
  program
    .command('schema')
    .description('print the JSON Schema of job files: every key, its unit and its default')
    .action(() => print(`${JSON.stringify(jobSchema(), null, 2)}\n`));
}
