import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/** What python3-ezdxf finds: errors of its audit, and of each closed line its layer and length with arcs made straight finely. */
const AUDIT = `
import sys, json, ezdxf
from ezdxf import path
doc = ezdxf.readfile(sys.argv[1])
audit = doc.audit()
lines = []
for e in doc.modelspace().query('LWPOLYLINE POLYLINE'):
    p = list(path.make_path(e).flattening(0.0005))
    lines.append([e.dxf.layer, sum(a.distance(b) for a, b in zip(p, p[1:]))])
print(json.dumps({'errors': [str(e) for e in audit.errors], 'units': doc.header.get('$INSUNITS'), 'layers': [l.dxf.name for l in doc.layers], 'lines': lines}))
`;

interface Audit {
  readonly errors: string[];
  readonly units: number;
  readonly layers: string[];
  readonly lines: [string, number][];
}

/** python3-ezdxf (Debian) is a reader that nobody here wrote; without it this fails and says so. */
export function auditDxf(text: string): Audit {
  const folder = mkdtempSync(join(tmpdir(), 'dxf-'));
  try {
    const file = join(folder, 'drawing.dxf');
    writeFileSync(file, text);
    return JSON.parse(execFileSync('/usr/bin/python3', ['-c', AUDIT, file], { encoding: 'utf8' })) as Audit;
  } catch (error) {
    throw new Error('this test needs ezdxf for /usr/bin/python3 (Debian: apt-get install python3-ezdxf)', { cause: error });
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** What dxf-parser gives of a drawing, as far as tests look. */
export interface ReadDxf {
  readonly header: Readonly<Record<string, unknown>>;
  readonly entities: readonly {
    readonly type: string;
    readonly layer: string;
    readonly vertices?: { x: number; y: number; z?: number; bulge?: number }[];
    readonly shape?: boolean;
  }[];
}

/** The package's types speak of a default export that its code does not have. */
const Parser = createRequire(import.meta.url)('dxf-parser') as new () => { parseSync(text: string): ReadDxf };

export const readDxf = (text: string): ReadDxf => new Parser().parseSync(text);
