// What `npm test` runs: does all the set-up a bare checkout needs, builds, tests, and ends with one line "N passed, N failed".
// Plain Node, no packages: it must work before they are installed. Arguments go to the test runner; without any, everything is tested.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const ROOT = fileURLToPath(new URL('..', import.meta.url));
const RESULTS = join(ROOT, 'tests', '.cache', 'results.json');
const NODE = [20, 19];
const BROWSERS = ['chromium', 'chromium-browser', 'google-chrome', 'google-chrome-stable', 'chrome'];
const BROWSER_FILES = [
  '/usr/lib/chromium/chromium',
  '/opt/google/chrome/chrome',
  '/snap/bin/chromium',
  '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
  '/Applications/Chromium.app/Contents/MacOS/Chromium',
  'C:\\Program Files\\Google\\Chrome\\Application\\chrome.exe',
  'C:\\Program Files (x86)\\Google\\Chrome\\Application\\chrome.exe',
];
const WINDOWS = process.platform === 'win32';

/** Ends the run before any test could: that is one failure. */
function fail(what, hint) {
  console.error(`\n${what}\n  ${hint}`);
  console.log('0 passed, 1 failed');
  process.exit(1);
}

function run(command, args, env = {}) {
  console.log(`> ${command} ${args.join(' ')}`);
  return spawnSync(command, args, { cwd: ROOT, stdio: 'inherit', shell: WINDOWS, env: { ...process.env, ...env } }).status ?? 1;
}

function checkNode() {
  const [major, minor] = process.versions.node.split('.').map(Number);
  if (major < NODE[0] || (major === NODE[0] && minor < NODE[1]))
    fail(`This is Node ${process.versions.node}.`, `Install Node ${NODE.join('.')} or newer.`);
}

function installPackages() {
  const wanted = join(ROOT, 'package-lock.json');
  const installed = join(ROOT, 'node_modules', '.package-lock.json');
  if (existsSync(installed) && statSync(installed).mtimeMs >= statSync(wanted).mtimeMs) return;
  if (run('npm', ['ci', '--no-audit', '--no-fund']) !== 0)
    fail('The packages could not be installed.', 'Check the network and run "npm ci" by hand.');
}

function findBrowser() {
  const asked = process.env.CHROME_PATH;
  if (asked) return existsSync(asked) ? asked : fail(`CHROME_PATH names ${asked}, which is not there.`, 'Correct it, or leave it out.');
  const folders = (process.env.PATH ?? '').split(delimiter);
  return [...folders.flatMap((folder) => BROWSERS.map((name) => join(folder, WINDOWS ? `${name}.exe` : name))), ...BROWSER_FILES].find(
    (path) => existsSync(path),
  );
}

/** A browser that is here, or Debian's if this may be installed. */
function browser() {
  const found = findBrowser();
  if (found) return found;
  const mayInstall = process.getuid?.() === 0 && spawnSync('apt-get', ['--version']).status === 0;
  if (mayInstall) {
    const quiet = { DEBIAN_FRONTEND: 'noninteractive' };
    if (run('apt-get', ['update', '-qq'], quiet) === 0) run('apt-get', ['install', '-y', '-qq', 'chromium'], quiet);
  }
  return (
    findBrowser() ??
    fail(
      'The tests of the page need Chromium or Chrome, and none was found.',
      'Install one (Debian: apt-get install chromium), or name it in CHROME_PATH.',
    )
  );
}

/** Counts of the finished run; a file of tests that could not even be loaded is one failure. */
function count(everything) {
  const { testResults } = JSON.parse(readFileSync(RESULTS, 'utf8'));
  let [passed, failed] = [0, 0];
  for (const file of testResults) {
    const of = (status) => file.assertionResults.filter((r) => status.includes(r.status));
    passed += of(['passed']).length;
    failed += of(['failed']).length;
    if (file.status === 'failed' && of(['failed']).length === 0) {
      failed++;
      console.error(`${file.name}: ${file.message || 'could not be loaded'}`);
    }
    // A run of chosen tests leaves the others out; a whole run leaves out none.
    for (const skipped of everything ? of(['skipped', 'pending', 'todo', 'disabled']) : []) {
      failed++;
      console.error(`${file.name}: "${skipped.fullName}" was left out.`);
    }
  }
  return { passed, failed };
}

const args = process.argv.slice(2);
checkNode();
installPackages();
const env = { CHROME_PATH: browser(), VOIDGAUGE_BUILT: join(ROOT, 'dist', 'cli', 'main.js') };
if (run('npm', ['run', '--silent', 'build']) !== 0)
  fail('The program could not be built.', 'See the messages above; "npm run build" repeats them.');
mkdirSync(join(ROOT, 'tests', '.cache'), { recursive: true });
rmSync(RESULTS, { force: true });
const vitest = join(ROOT, 'node_modules', 'vitest', 'vitest.mjs');
const config = join(ROOT, 'tests', 'vitest.config.ts');
const status = run(
  process.execPath,
  [vitest, 'run', '-c', config, '--reporter=default', '--reporter=json', `--outputFile.json=${RESULTS}`, ...args],
  env,
);
if (!existsSync(RESULTS)) fail('The test runner gave no results.', 'See the messages above.');
const { passed, failed } = count(args.length === 0);
// Errors outside any test, or no test at all, fail the run too.
const failures = failed || (status === 0 && passed > 0 ? 0 : 1);
console.log(`${passed} passed, ${failures} failed`);
process.exitCode = failures ? status || 1 : 0;
