#!/usr/bin/env node
import tab from '@bomb.sh/tab/commander';
import { Command, CommanderError } from 'commander';
import { addCertify } from './commands/certify.ts';
import { addCommon } from './commands/common.ts';
import { addFit } from './commands/fit.ts';
import { addMake } from './commands/make.ts';
import { addMeasure } from './commands/measure.ts';
import { addNew } from './commands/new.ts';
import { addReport } from './commands/report.ts';
import { addSchema } from './commands/schema.ts';
import { addStudy } from './commands/study.ts';
import { addSurvey } from './commands/survey.ts';
import { addView } from './commands/view.ts';
import { quietPipes, reportError } from './report.ts';
import { VERSION } from './version.ts';

const program = new Command('voidgauge')
  .description('Finds the free volume that a removed part leaves in a vehicle frame, from 3D scans, and what it would hold.')
  .version(VERSION)
  .showHelpAfterError('(--help shows how the command is used)')
  .addHelpText(
    'after',
    '\nExit codes: 0 done, 2 the input does not do, 3 there is no envelope or a body is too near, 1 anything else.\nVolumes are estimates from scans: no certified capacity, and no check of strength, leaks, fire safety or road legality.',
  )
  .exitOverride();

addNew(program);
addSurvey(program);
addMeasure(program);
addStudy(program);
addMake(program);
addCertify(program);
addFit(program);
addCommon(program);
addSchema(program);
addView(program);
addReport(program);
tab(program);

quietPipes();
try {
  await program.parseAsync();
} catch (error) {
  // commander has already printed what it says; a wrong command line is bad input.
  process.exitCode = error instanceof CommanderError ? (error.exitCode === 0 ? 0 : 2) : reportError(error);
}
