import { Fault } from '../src/core/fault.ts';
import { removeUnfinished } from './files.ts';
import { VERSION } from './version.ts';

type Out = NodeJS.WriteStream;

/** Whether to colour what goes to `out`: on a terminal, unless asked not to (no-color.org). */
const coloured = (out: Out): boolean => out.isTTY === true && !process.env['NO_COLOR'] && process.env['TERM'] !== 'dumb';

/** Prints what went wrong on stderr and returns the exit code: 2 bad input, 3 no envelope, 1 anything else. */
export function reportError(error: unknown): number {
  if (error instanceof Fault) {
    // Names come from files: nothing in them may steer the terminal.
    const [first, ...rest] = error
      .toText()
      .split('\n')
      .map((line) => line.replace(/\p{Cc}/gu, '?'));
    process.stderr.write(`${[coloured(process.stderr) ? `\u001b[1;31m${first}\u001b[0m` : first, ...rest].join('\n')}\n`);
    return error.exit;
  }
  const memory = memoryFault(error);
  if (memory) return reportError(memory);
  process.stderr.write(
    [
      `voidgauge stopped at a mistake of its own: ${error instanceof Error ? error.message : String(error)}`,
      `  Your files were not changed. To report it, send the command, this message, the job file and: voidgauge ${VERSION}, Node ${process.version}, ${process.platform} ${process.arch}.`,
      '  With VOIDGAUGE_DEBUG=1 the place in the program is shown too.',
      ...(process.env['VOIDGAUGE_DEBUG'] ? [error instanceof Error ? (error.stack ?? error.message) : String(error)] : []),
      '',
    ].join('\n'),
  );
  return 1;
}

/** The ways in which a JavaScript engine says that memory has run out. */
function memoryFault(error: unknown): Fault | undefined {
  const text = error instanceof Error ? `${'code' in error ? String(error.code) : ''} ${error.message}` : '';
  if (!/ERR_WORKER_OUT_OF_MEMORY|Array buffer allocation failed|Invalid typed array length|out of memory/i.test(text)) return undefined;
  return new Fault({
    code: 'out-of-memory',
    what: 'The machine has not enough memory for this run; nothing was written.',
    hint: 'a larger --step, or a smaller region',
    exit: 1,
  });
}

const SIGNALS = [
  ['SIGINT', 130],
  ['SIGTERM', 143],
  ['SIGHUP', 129],
] as const;

/**
 * Ends the process at Ctrl-C or when told to stop, with nothing half-written left. The shell's convention: 128 plus the signal. `hold` is asked at
 * Ctrl-C: true when the run itself makes something of it and goes on.
 */
export function endOnSignals(before: () => void = () => {}, hold: () => boolean = () => false): void {
  for (const [signal, code] of SIGNALS)
    process.on(signal, () => {
      if (signal === 'SIGINT' && hold()) return;
      before();
      removeUnfinished();
      process.stderr.write(`stopped; nothing was written\n`);
      process.exit(code);
    });
}

/** A reader that has seen enough (`| head`) closes the pipe: no reason to complain. */
export function quietPipes(): void {
  for (const out of [process.stdout, process.stderr])
    out.on('error', (error: NodeJS.ErrnoException) => {
      if (error.code !== 'EPIPE') throw error;
      removeUnfinished();
      process.exit(0);
    });
}

/** Writes to stdout and waits until it is taken: a process that ends at once would cut a pipe short. */
export function print(text: string): Promise<void> {
  return new Promise((done) => process.stdout.write(text, () => done()));
}
