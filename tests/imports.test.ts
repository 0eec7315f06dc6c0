import { readdirSync, readFileSync } from 'node:fs';
import { builtinModules } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';

/**
 * The arrows between the folders of src: each may import itself and those named here. The questions (fill, stow, fit, make) never
 * import each other, and nothing imports what stands further out. The list of tasks in parallel names tasks of all of them.
 */
const INPUT = ['core', 'io', 'scan', 'job'];
const SPACE = [...INPUT, 'field', 'space'];
const MAY: Readonly<Record<string, readonly string[]>> = {
  core: [],
  io: ['core'],
  job: ['core'],
  scan: INPUT,
  field: INPUT,
  space: [...INPUT, 'field'],
  fill: SPACE,
  stow: SPACE,
  fit: SPACE,
  make: SPACE,
  report: [...SPACE, 'fill', 'stow', 'fit', 'make'],
  parallel: [...SPACE, 'fill', 'stow', 'fit', 'make'],
  pipeline: [...SPACE, 'fill', 'stow', 'fit', 'make', 'report', 'parallel'],
  'index.ts': [...SPACE, 'fill', 'stow', 'fit', 'make', 'report', 'parallel', 'pipeline'],
};

const ROOT = fileURLToPath(new URL('..', import.meta.url));
const SRC = join(ROOT, 'src');
const PACKAGES = Object.keys(
  (JSON.parse(readFileSync(join(ROOT, 'package.json'), 'utf8')) as { dependencies: object }).dependencies,
).concat('highs');

/** Comments out, texts emptied, so that words in them do not count. */
const codeOf = (text: string): string =>
  text.replace(/\/\*[\s\S]*?\*\/|\/\/[^\n]*|'(?:[^'\\\n]|\\.)*'|"(?:[^"\\\n]|\\.)*"/g, (m) => (m.startsWith('/') ? ' ' : "''"));

/** What a file imports, types and lazy imports included. */
function importsOf(text: string): string[] {
  const bare = text.replace(/\/\*[\s\S]*?\*\/|^\s*\/\/[^\n]*/gm, ' ');
  const found = [
    ...bare.matchAll(/^\s*(?:import|export)\b[^;'"`]*?from\s*['"]([^'"]+)['"]/gm),
    ...bare.matchAll(/^\s*import\s*['"]([^'"]+)['"]/gm),
    ...bare.matchAll(/\bimport\(\s*['"]([^'"]+)['"]\s*\)/g),
  ];
  return found.map((m) => m[1]);
}

const files = readdirSync(SRC, { recursive: true, encoding: 'utf8' })
  .filter((file) => file.endsWith('.ts') && !file.endsWith('.d.ts'))
  .map((file) => file.replaceAll('\\', '/'))
  .sort();
const texts = new Map(files.map((file) => [file, readFileSync(join(SRC, file), 'utf8')]));
const imports = new Map(files.map((file) => [file, importsOf(texts.get(file) ?? '')]));
const relative = (file: string): string[] =>
  (imports.get(file) ?? []).filter((i) => i.startsWith('.')).map((i) => join(dirname(file), i).replaceAll('\\', '/'));
const folderOf = (file: string): string => file.split('/')[0];

describe('the sources', () => {
  it('are all seen', () => {
    expect(files.length).toBeGreaterThan(20);
    expect([...new Set(files.map(folderOf))].filter((folder) => !(folder in MAY))).toEqual([]);
  });

  it('import along the arrows between folders only', () => {
    const wrong = files.flatMap((file) =>
      relative(file)
        .filter((target) => folderOf(target) !== folderOf(file) && !MAY[folderOf(file)].includes(folderOf(target)))
        .map((target) => `${file} imports ${target}`),
    );
    expect(wrong).toEqual([]);
  });

  it('import by paths that exist and end in .ts, inside src', () => {
    const wrong = files.flatMap((file) =>
      relative(file)
        .filter((target) => !texts.has(target))
        .map((target) => `${file} imports ${target}`),
    );
    expect(wrong).toEqual([]);
  });

  it('have no import rings', () => {
    const state = new Map<string, 'open' | 'done'>();
    const rings: string[] = [];
    const visit = (file: string, trail: readonly string[]): void => {
      if (state.get(file) === 'open') rings.push([...trail.slice(trail.indexOf(file)), file].join(' -> '));
      if (state.has(file)) return;
      state.set(file, 'open');
      for (const target of relative(file)) visit(target, [...trail, file]);
      state.set(file, 'done');
    };
    for (const file of files) visit(file, []);
    expect(rings).toEqual([]);
  });

  it('import no module of Node, and only packages that a user gets', () => {
    const wrong = files.flatMap((file) =>
      (imports.get(file) ?? [])
        .filter((name) => !name.startsWith('.'))
        .filter(
          (name) =>
            name.startsWith('node:') || builtinModules.includes(name) || !PACKAGES.some((p) => name === p || name.startsWith(`${p}/`)),
        )
        .map((name) => `${file} imports ${name}`),
    );
    expect(wrong).toEqual([]);
  });

  it('use no name of Node or of the browser', () => {
    const names =
      /(?<![.\w$])(?:(?:navigator|localStorage|sessionStorage|globalThis|SharedArrayBuffer|Buffer|__dirname|__filename|XMLHttpRequest|HTML\w*Element)\b|new Worker\(|fetch\(|require\(|document\.(?:body|head|createElement|querySelector|getElementById)|window\.(?:location|document|addEventListener|innerWidth|navigator)|process\.(?:env|argv|exit|cwd|hrtime|platform|memoryUsage|std\w+)\b)/g;
    const wrong = files.flatMap((file) => [...codeOf(texts.get(file) ?? '').matchAll(names)].map((m) => `${file}: ${m[0]}`));
    expect(wrong).toEqual([]);
  });
});
