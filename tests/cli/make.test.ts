import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Box3, Mesh as ThreeMesh, Vector3 } from 'three';
import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';
import { STLLoader } from 'three/examples/jsm/loaders/STLLoader.js';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { boxesStl, voidgauge } from './run.ts';

/** A room of 200 x 160 x 120 mm between six slabs, clearance 5, least radius 10: the free body is known in closed form. */
const INNER = [200, 160, 120] as const;
const T = 20;
const CLEARANCE = 5;
const RADIUS = 10;
const slabs = [0, 1, 2].flatMap((a) =>
  [0, 1].map((side) => {
    const lo = INNER.map((_, b) => (b === a ? (side ? INNER[b] : -T) : -T));
    const hi = INNER.map((v, b) => (b === a ? (side ? v + T : 0) : v + T));
    return [...lo, ...hi];
  }),
);

const JOB = `voidgauge: 1
name: room
step: 3
scans:
  walls: { file: walls.stl, clearance: ${CLEARANCE} }
region: { skin: false, box: { min: [-5, -5, -5], max: [205, 165, 125] } }
start: [100, 80, 60]
least_radius: ${RADIUS}
make: { faces: 3000, formats: [stl, glb, 3mf, step], slack: true }
`;

/** Volume of a box opened by a ball (Steiner's formula for the shrunk box, grown again). */
function openedBox(edges: readonly number[], r: number): number {
  const [a, b, c] = edges.map((e) => e - 2 * r);
  return a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r * r + (4 / 3) * Math.PI * r ** 3;
}

let cwd: string;
let made: Awaited<ReturnType<typeof voidgauge>>;
beforeAll(async () => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  writeFileSync(join(cwd, 'walls.stl'), boxesStl(...slabs));
  writeFileSync(join(cwd, 'room.yaml'), JOB);
  made = await voidgauge(['make', 'room.yaml', '-o', 'out'], { cwd });
}, 120_000);
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

const file = (name: string): Buffer => readFileSync(join(cwd, 'out', name));

interface Manifest {
  readonly files: readonly { readonly file: string; readonly sha256: string; readonly bytes: number }[];
  readonly seeds: readonly { readonly name: string; readonly faces: number; readonly volume_l: number; readonly pass: boolean }[];
  readonly inputs: readonly { readonly sha256: string }[];
}

describe('make', () => {
  it('writes the seed mesh with certificate and manifest, hashes true', () => {
    expect([made.code, made.stderr.includes('Written to out.')]).toEqual([0, true]);
    const manifest = JSON.parse(file('manifest.json').toString()) as Manifest;
    expect(manifest.files.map((f) => f.file).sort()).toEqual([
      'seed.3mf',
      'seed.certificate.json',
      'seed.glb',
      'seed.step',
      'seed.stl',
      'slack.nrrd',
    ]);
    for (const f of manifest.files) expect(createHash('sha256').update(file(f.file)).digest('hex')).toBe(f.sha256);
    expect(manifest.inputs[0].sha256).toBe(
      createHash('sha256')
        .update(readFileSync(join(cwd, 'walls.stl')))
        .digest('hex'),
    );
    expect(manifest.seeds[0].pass).toBe(true);
    expect(manifest.seeds[0].faces).toBeLessThan(3200);
  });

  it("its volume and extent, read by a library of others, are the opened box's; glTF in metres, y up", async () => {
    const exact = openedBox(
      INNER.map((v) => v - 2 * CLEARANCE),
      RADIUS,
    );
    const stl = new STLLoader().parse(file('seed.stl').buffer.slice(0) as ArrayBuffer);
    stl.computeBoundingBox();
    const size = stl.boundingBox!.getSize(new Vector3()).toArray();
    INNER.forEach((v, a) => {
      expect(size[a]).toBeGreaterThan(v - 2 * CLEARANCE - 0.5);
      // Never more than the clearance leaves.
      expect(size[a]).toBeLessThan(v - 2 * CLEARANCE + 1e-3);
    });
    let volume = 0;
    const p = stl.getAttribute('position').array;
    for (let i = 0; i < p.length; i += 9)
      volume +=
        (p[i] * (p[i + 4] * p[i + 8] - p[i + 5] * p[i + 7]) +
          p[i + 1] * (p[i + 5] * p[i + 6] - p[i + 3] * p[i + 8]) +
          p[i + 2] * (p[i + 3] * p[i + 7] - p[i + 4] * p[i + 6])) /
        6;
    expect(volume / exact).toBeGreaterThan(0.985);
    expect(volume / exact).toBeLessThan(1);
    const bytes = file('seed.glb');
    const gltf = await new GLTFLoader().parseAsync(
      bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length) as ArrayBuffer,
      '',
    );
    const meshes: ThreeMesh[] = [];
    gltf.scene.traverse((o) => {
      if (o instanceof ThreeMesh) meshes.push(o);
    });
    const metres = new Box3().setFromObject(gltf.scene).getSize(new Vector3()).toArray();
    expect(meshes.map((m) => m.name)).toEqual(['seed']);
    [size[0], size[2], size[1]].forEach((v, a) => {
      expect(metres[a]).toBeCloseTo(v / 1000, 5);
    });
  });

  it('leaves an existing folder as it is', async () => {
    const again = await voidgauge(['make', 'room.yaml', '-o', 'out'], { cwd });
    expect(again.code).toBe(2);
    expect(again.stderr).toContain('--force');
  });
});

describe('certify', () => {
  it('passes every format of the seed mesh', async () => {
    for (const format of ['stl', 'glb', '3mf']) {
      const { code, stdout } = await voidgauge(['certify', `out/seed.${format}`, 'room.yaml', '--json'], { cwd });
      expect(code).toBe(0);
      const { certificate } = JSON.parse(stdout) as { certificate: { pass: boolean; obstacles: { at_least_mm: number }[] } };
      expect(certificate.pass).toBe(true);
      expect(certificate.obstacles[0].at_least_mm).toBeGreaterThan(CLEARANCE - 2e-3);
      expect(certificate.obstacles[0].at_least_mm).toBeLessThan(CLEARANCE + 0.5);
    }
  });

  it('fails a box that is 2 mm too near, says where and how much, with exit code 3', async () => {
    writeFileSync(join(cwd, 'near.stl'), boxesStl([3, 40, 40, 100, 100, 100]));
    const { code, stdout } = await voidgauge(['certify', 'near.stl', 'room.yaml'], { cwd });
    expect(code).toBe(3);
    expect(stdout).toMatch(/walls\s+2\.99\s+5\s+TOO NEAR/);
    expect(stdout).toMatch(/lacks up to 2 mm over/);
  });

  it('refuses an open mesh, a missing one, and points', async () => {
    mkdirSync(join(cwd, 'bad'), { recursive: true });
    const whole = boxesStl([20, 20, 20, 60, 60, 60]);
    const open = whole.slice(0, whole.length - 50);
    new DataView(open.buffer).setUint32(80, 11, true);
    writeFileSync(join(cwd, 'bad', 'open.stl'), open);
    writeFileSync(join(cwd, 'bad', 'points.xyz'), '1 2 3\n4 5 6\n');
    const codes: (number | null)[] = [];
    for (const name of ['bad/open.stl', 'bad/none.stl', 'bad/points.xyz']) {
      const { code, stderr } = await voidgauge(['certify', name, 'room.yaml'], { cwd });
      codes.push(code);
      expect(stderr).not.toContain('mistake of its own');
    }
    expect(codes).toEqual([2, 2, 2]);
  });
});
