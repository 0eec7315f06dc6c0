import { isMap, isScalar, LineCounter, type Node, type Pair, parseDocument, visit } from 'yaml';
import { Fault } from '../core/fault.ts';

/** A path into a job: keys and list places. */
export type Path = readonly (string | number)[];

/** A parsed job file: its plain value, and where each part of it stands. */
export interface Text {
  readonly fileName: string;
  readonly value: unknown;
  /** "file:line:column" of the node at `path`; of its key with `atKey`; of the nearest parent that is there when the node is not. */
  where(path: Path, atKey?: boolean): string;
  /** Order of the same place in the text. */
  offset(path: Path, atKey?: boolean): number;
}

/** YAML 1.2 text to a plain value. Throws a Fault with the place for anything that YAML itself refuses, and for keys that are no words. */
export function readYaml(text: string, fileName: string): Text {
  const lines = new LineCounter();
  const doc = parseDocument(text, { lineCounter: lines, prettyErrors: false, uniqueKeys: true });
  const place = (offset: number): string => {
    const { line, col } = lines.linePos(offset);
    return `${fileName}:${Math.max(1, line)}:${Math.max(1, col)}`;
  };
  const refuse = (what: string, offset: number, hint?: string): never => {
    throw new Fault({ code: 'job-yaml', what, where: place(offset), expected: 'a job file in YAML', hint });
  };
  const problem = doc.errors[0] ?? doc.warnings[0];
  if (problem) refuse(`This is not sound YAML: ${problem.message.replace(/\.?\s*$/, '')}.`, problem.pos[0], yamlHint(problem.code));
  visit(doc, {
    Alias(_, alias) {
      if (!alias.resolve(doc)) refuse(`There is no anchor "&${alias.source}".`, startOf(alias));
    },
    Pair(_, pair) {
      const key = pair.key;
      if (!isScalar(key) || typeof key.value !== 'string' || key.value === '__proto__')
        refuse(`A key must be a word, not ${String(key)}.`, startOf(key as Node | null));
    },
  });
  const find = (path: Path, atKey = false): number => locate(doc.contents, path, atKey);
  return { fileName, value: plain(doc, refuse), where: (path, atKey) => place(find(path, atKey)), offset: find };
}

function plain(doc: ReturnType<typeof parseDocument>, refuse: (what: string, offset: number) => never): unknown {
  try {
    return doc.toJS();
  } catch (error) {
    // Aliases that multiply beyond measure.
    return refuse(`This is not sound YAML: ${error instanceof Error ? error.message : String(error)}.`, 0);
  }
}

const startOf = (node: Node | null | undefined): number => node?.range?.[0] ?? 0;

function locate(root: Node | null, path: Path, atKey: boolean): number {
  let node: unknown = root;
  let at = startOf(root);
  for (const [i, step] of path.entries()) {
    if (isMap(node)) {
      const pair = node.items.find((p: Pair) => isScalar(p.key) && p.key.value === step);
      if (!pair) return at;
      const key = pair.key as Node;
      const value = pair.value as Node | null;
      // An empty value has no place of its own worth showing.
      at = (atKey && i === path.length - 1) || !value || isEmpty(value) ? startOf(key) : startOf(value);
      node = value;
    } else {
      const item = (node as { items?: (Node | null)[] } | null)?.items?.[Number(step)];
      if (!item) return at;
      at = startOf(item);
      node = item;
    }
  }
  return at;
}

const isEmpty = (node: Node): boolean => isScalar(node) && node.value === null && (node.range?.[0] ?? 0) === (node.range?.[1] ?? 0);

function yamlHint(code: string): string | undefined {
  if (code === 'TAB_AS_INDENT') return 'indent with spaces';
  if (code === 'DUPLICATE_KEY') return 'give each key once';
  if (code === 'MULTIPLE_DOCS') return 'one job a file: remove the lines "---"';
  return undefined;
}
