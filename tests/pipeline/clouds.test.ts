import { createHash } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import type { Mesh } from '../../src/core/mesh.ts';
import { type Random, random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { bytesSource } from '../../src/io/source.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Files, measure } from '../../src/pipeline/measure.ts';
import type { Result } from '../../src/report/result.ts';
import { ballMesh, sheetMesh, together, tubeMesh } from '../oracle/shapes.ts';

/** A frame of tubes of 28 and 20 mm round a bay some 200 x 140 x 130 mm, with a plate below it and a ball of 110 mm in a corner: faces outwards, mm. */
function frame(): Mesh {
  const bar = (a: Vec3, b: Vec3, r: number): Mesh => {
    const path = Array.from({ length: 41 }, (_, i): Vec3 => {
      const t = i / 40;
      return [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]), a[2] + t * (b[2] - a[2])];
    });
    return tubeMesh(path, r, 96);
  };
  const moved = (m: Mesh, by: Vec3): Mesh => ({ ...m, positions: m.positions.map((v, i) => v + by[i % 3]) });
  const bars: Mesh[] = [];
  for (const y of [-85, 85]) for (const z of [-80, 80]) bars.push(bar([-160, y, z], [160, y, z], 14));
  for (const x of [-120, 0, 120]) for (const y of [-85, 85]) bars.push(bar([x, y, -110], [x, y, 110], 10));
  return together(...bars, moved(sheetMesh(340, 220), [0, 0, -90]), moved(ballMesh(55, 60), [70, 20, 30]));
}

/** As many points as the area has squares of `spacing`, at random places on it, each `sigma` mm of noise off it along the normal. */
function cloudOf({ positions: p, indices: t }: Mesh, spacing: number, sigma: number, rng: Random): Float32Array {
  const out: number[] = [];
  let owed = 0;
  for (let f = 0; f < t.length; f += 3) {
    const at = (k: number): Vec3 => [p[t[f + k] * 3], p[t[f + k] * 3 + 1], p[t[f + k] * 3 + 2]];
    const [a, b, c] = [at(0), at(1), at(2)];
    const [u, v] = [0, 1].map((k) => [0, 1, 2].map((q) => (k === 0 ? b : c)[q] - a[q]));
    const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    const size = Math.hypot(n[0], n[1], n[2]);
    for (owed += size / 2 / spacing ** 2; owed >= 1; owed--) {
      let [x, y] = [rng.next(), rng.next()];
      if (x + y > 1) [x, y] = [1 - x, 1 - y];
      const off = (sigma * rng.normal()) / size;
      for (let q = 0; q < 3; q++) out.push(a[q] + x * u[q] + y * v[q] + off * n[q]);
    }
  }
  return Float32Array.from(out);
}

const xyz = (points: Float32Array): Uint8Array => {
  const lines: string[] = [];
  for (let i = 0; i < points.length; i += 3) lines.push(`${points[i].toFixed(4)} ${points[i + 1].toFixed(4)} ${points[i + 2].toFixed(4)}`);
  return new TextEncoder().encode(`${lines.join('\n')}\n`);
};

const JOB = `voidgauge: 1
step: 4
scans: { frame: { file: FILE, clearance: 4, solid: sheet } }
region: { skin: false, box: { min: [-110, -90, -95], max: [110, 90, 85] } }
start: [-50, 0, 0]
least_radius: 8
accuracy: 0.05
tank: { wall: 4, ullage: 5 %, fluid: petrol }
`;

async function run(file: string, bytes: Uint8Array): Promise<Result> {
  const files: Files = {
    open: async (name) => ({ ...bytesSource(name, bytes), digest: async () => createHash('sha256').update(bytes).digest('hex') }),
  };
  return (await measure(parseJob(JOB.replace('FILE', file), 'job.yaml'), files, inlineContext)).result;
}

describe('the same frame as faces and as points', () => {
  const mesh = frame();
  const faces = run('frame.ply', writePly(mesh, []));

  it.each([0.1, 0.3])('with %s mm of noise holds the same litres within the bounds that the points make', async (sigma) => {
    const cloud = await run('frame.xyz', xyz(cloudOf(mesh, 1.2, sigma, random(41))));
    const exact = await faces;
    for (const of of [(r: Result) => r.envelope.volume_l, (r: Result) => r.tank!.brim_l]) {
      const [c, m] = [of(cloud), of(exact)];
      expect(c.low).toBeLessThanOrEqual(m.value);
      expect(c.high).toBeGreaterThanOrEqual(m.value);
      // Honest, not idle: they differ by less than 0.1 mm over the surface would make, or by less than a third of the noise.
      const most = (Math.max(0.1, sigma / 3) * exact.envelope.area_dm2) / 100;
      expect(Math.abs(c.value - m.value)).toBeLessThan(most);
    }
    expect(cloud.accuracy?.less_sure[0].points_mm).toBeGreaterThan(0.3 * sigma);
    expect(cloud.accuracy?.less_sure[0].percent).toBeGreaterThan(50);
  });
});
