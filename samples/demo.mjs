/**
 * `npm run demo`: from a fresh checkout to a measured void, with nothing but Node. Fetches the packages, builds, makes the scans of a
 * made-up quad, measures the room that its airbox leaves, and says where to look. Each step is left out when its result is there
 * and newer than what it is made from. Plain JavaScript, since it runs before anything is installed.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';

const LEAST_NODE = [20, 19];
const ROOT = dirname(dirname(fileURLToPath(import.meta.url)));
const SCANS = join(ROOT, 'samples', 'scans');
const OUT = join(ROOT, 'samples', 'out');
const JOB = join(ROOT, 'samples', 'quad.yaml');
const MAIN = join(ROOT, 'dist', 'cli', 'main.js');

/** Ends the demo with a message that says what to do. */
function stop(what, todo) {
  console.error(`\nThe demo stopped: ${what}\n  To do: ${todo}`);
  process.exit(1);
}

function checkNode() {
  const [major, minor] = process.versions.node.split('.').map(Number);
  if (major > LEAST_NODE[0] || (major === LEAST_NODE[0] && minor >= LEAST_NODE[1])) return;
  stop(`this is Node ${process.versions.node}.`, `install Node ${LEAST_NODE.join('.')} or newer, then run "npm run demo" again.`);
}

/** Runs a command with its output shown; stops the demo when it fails. */
function run(command, args, todo) {
  const { status, error } = spawnSync(command, args, {
    cwd: ROOT,
    stdio: 'inherit',
    shell: command === 'npm' && process.platform === 'win32',
  });
  if (error) stop(`${command} could not be started (${error.message}).`, todo);
  if (status !== 0) stop(`"${[command, ...args].join(' ')}" ended with code ${status ?? 'none (it was interrupted)'}.`, todo);
}

/** Time of the newest (or oldest) file under `paths`, ms; tests and results are not looked at. */
function fileTime(paths, pick, from) {
  let time = from;
  for (const path of paths) {
    const info = statSync(path, { throwIfNoEntry: false });
    if (!info) continue;
    time = info.isDirectory()
      ? fileTime(
          readdirSync(path).map((name) => join(path, name)),
          pick,
          time,
        )
      : pick(time, info.mtimeMs);
  }
  return time;
}

const newest = (...names) =>
  fileTime(
    names.map((n) => join(ROOT, n)),
    Math.max,
    0,
  );

function packages() {
  const mark = join(ROOT, 'node_modules', '.package-lock.json');
  if (existsSync(mark) && statSync(mark).mtimeMs >= newest('package-lock.json')) return;
  console.log('1. Fetching the packages (npm ci, half a minute or so) ...');
  run('npm', ['ci', '--no-audit', '--no-fund'], 'check the internet connection and the message above, then run "npm run demo" again.');
}

function build() {
  const built = statSync(MAIN, { throwIfNoEntry: false })?.mtimeMs ?? 0;
  if (built >= newest('src', 'cli', 'viewer', 'package.json', 'tsconfig.json')) return;
  console.log('2. Building ...');
  run('npm', ['run', '--silent', 'build'], 'look at the message above; a fresh "npm ci" often helps.');
}

/** The scans' file names, from the job file. */
const scanFiles = () => [...readFileSync(JOB, 'utf8').matchAll(/file:\s*scans\/([\w.-]+)/g)].map((m) => m[1]);

function scans() {
  const files = scanFiles().map((f) => join(SCANS, f));
  const sources = ['make.ts', 'netting.ts', 'primitives.ts', 'scanner.ts', 'solids.ts'].map((f) => `samples/${f}`);
  if (files.every(existsSync) && fileTime(files, Math.min, Infinity) >= newest(...sources)) return;
  console.log('3. Walking a virtual scanner round a made-up hill-farm quad (some 10 to 20 seconds) ...');
  run(
    process.execPath,
    ['--import', 'tsx', join('samples', 'make.ts')],
    'is there room for 40 MB on the disk? Then run "npm run demo" again.',
  );
}

function measure() {
  console.log('4. Measuring the room that the airbox leaves ...\n');
  run(
    process.execPath,
    [MAIN, 'measure', relative(ROOT, JOB), '-o', relative(ROOT, OUT), '--force'],
    'the message above says what is wrong; delete samples/scans and run "npm run demo" again to start afresh.',
  );
}

function report() {
  console.log('\n5. Putting all of it into one page ...');
  run(process.execPath, [MAIN, 'report', relative(ROOT, OUT), '--force'], 'look at the message above; "npm run build" makes the page.');
}

checkNode();
packages();
build();
scans();
measure();
report();
const made = readdirSync(OUT).sort();
console.log(`\nDone. In ${relative(process.cwd(), OUT) || '.'}:\n  ${made.join('\n  ')}`);
if (made.includes('report.html')) console.log('\nOpen samples/out/report.html in a browser for the whole report.');
console.log('\nTo see it in 3D:    npx voidgauge view samples/out');
console.log('To try other values: change samples/quad.yaml and run "npm run demo" again.');
