import { Fault } from '../core/fault.ts';
import type { Mesh } from '../core/mesh.ts';
import { cross, normalize, sub, type Vec3 } from '../core/vec.ts';
import { joinBytes } from './bytes.ts';
import { looseEdges, nextCorner, oppositeEdges, piecesByEdge } from './edges.ts';

/** More faces than this make files that modellers open slowly or not at all. */
export const MOST_STEP_FACES = 5000;

/** A real of ISO 10303-21: always with a point; E where there is an exponent. */
const real = (v: number): string => {
  const text = String(v).toUpperCase();
  if (text.includes('.')) return text;
  return text.includes('E') ? text.replace('E', '.E') : `${text}.`;
};
const triple = (v: Vec3): string => `(${real(v[0])},${real(v[1])},${real(v[2])})`;
/** A string of ISO 10303-21: printable ASCII, quotes doubled. */
const quote = (text: string): string =>
  `'${text
    .replace(/[^\x20-\x7e]/g, '?')
    .replace(/\\/g, '\\\\')
    .replace(/'/g, "''")}'`;

export interface StepOptions {
  readonly name: string;
  /** ISO 8601 date and time for the header; a caller that wants the same bytes again gives the same one. */
  readonly time: string;
}

/**
 * STEP (ISO 10303-21, AP214, mm) of a closed mesh: a flat face a triangle, vertices and edges shared between them, one
 * MANIFOLD_SOLID_BREP (BREP_WITH_VOIDS where there are hollows) a piece. 5,000 faces: about 4 MB, 0.1 s.
 * Faults: `step-faces` over the limit, `step-open` for a mesh that is not closed or not turned one way, `step-thin` for a triangle without
 * a plane, `step-voids` for hollows that lie in no piece.
 */
export function writeStep(mesh: Mesh, { name, time }: StepOptions): Uint8Array<ArrayBuffer> {
  const { indices: t } = mesh;
  if (t.length / 3 > MOST_STEP_FACES)
    throw new Fault({
      code: 'step-faces',
      what: 'The mesh has too many faces for a STEP file.',
      got: `${t.length / 3} faces`,
      expected: `at most ${MOST_STEP_FACES}`,
      hint: 'Ask for fewer faces, or take 3MF or STL.',
      where: name,
    });
  const opposite = oppositeEdges(mesh);
  const loose = looseEdges(opposite);
  if (loose > 0 || t.length === 0)
    throw new Fault({
      code: 'step-open',
      what: 'Only a closed mesh can be a STEP solid.',
      got: `${loose} loose edges`,
      expected: 'none',
      where: name,
    });
  const lines: string[] = [];
  const add = (entity: string): number => lines.push(`#${lines.length + 1}=${entity};\n`);
  const context = addContext(add, name);
  const faces = addFaces(add, mesh, opposite, name);
  const solids = addSolids(add, { mesh, opposite, faces, name });
  const axes = add(
    `AXIS2_PLACEMENT_3D('',#${add("CARTESIAN_POINT('',(0.,0.,0.))")},#${add("DIRECTION('',(0.,0.,1.))")},#${add("DIRECTION('',(1.,0.,0.))")})`,
  );
  const shape = add(
    `ADVANCED_BREP_SHAPE_REPRESENTATION(${quote(name)},(#${axes},${solids.map((s) => `#${s}`).join(',')}),#${context.geometry})`,
  );
  add(`SHAPE_DEFINITION_REPRESENTATION(#${context.definition},#${shape})`);
  const header = [
    'ISO-10303-21;\nHEADER;\n',
    `FILE_DESCRIPTION((${quote('faceted solid, lengths in mm')}),'2;1');\n`,
    `FILE_NAME(${quote(`${name}.step`)},${quote(time)},(''),(''),'voidgauge','voidgauge','');\n`,
    "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));\nENDSEC;\nDATA;\n",
  ];
  const encoder = new TextEncoder();
  return joinBytes([...header, ...lines, 'ENDSEC;\nEND-ISO-10303-21;\n'].map((l) => encoder.encode(l)));
}

type Add = (entity: string) => number;

/** Product, units (mm, radian, steradian) and uncertainty: what every AP214 file of one part says. */
function addContext(add: Add, name: string): { geometry: number; definition: number } {
  const application = add("APPLICATION_CONTEXT('core data for automotive mechanical design processes')");
  add(`APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,#${application})`);
  const product = add(`PRODUCT(${quote(name)},${quote(name)},'',(#${add(`PRODUCT_CONTEXT('',#${application},'mechanical')`)}))`);
  add(`PRODUCT_RELATED_PRODUCT_CATEGORY('part',$,(#${product}))`);
  const formation = add(`PRODUCT_DEFINITION_FORMATION('','',#${product})`);
  const view = add(`PRODUCT_DEFINITION_CONTEXT('part definition',#${application},'design')`);
  const definition = add(`PRODUCT_DEFINITION_SHAPE('','',#${add(`PRODUCT_DEFINITION('design','',#${formation},#${view})`)})`);
  const mm = add('(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))');
  const radian = add('(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))');
  const steradian = add('(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())');
  const sure = add(`UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-5),#${mm},'distance_accuracy_value','')`);
  const geometry = add(
    `(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#${sure}))GLOBAL_UNIT_ASSIGNED_CONTEXT((#${mm},#${radian},#${steradian}))REPRESENTATION_CONTEXT('',''))`,
  );
  return { geometry, definition };
}

/** One ADVANCED_FACE a triangle; their entity numbers. */
function addFaces(add: Add, { origin, positions: p, indices: t }: Mesh, opposite: Int32Array, name: string): number[] {
  const place = (v: number): Vec3 => [p[3 * v] + origin[0], p[3 * v + 1] + origin[1], p[3 * v + 2] + origin[2]];
  const points = new Map<number, { point: number; vertex: number }>();
  const vertexOf = (v: number): { point: number; vertex: number } => {
    const known = points.get(v);
    if (known) return known;
    const point = add(`CARTESIAN_POINT('',${triple(place(v))})`);
    const made = { point, vertex: add(`VERTEX_POINT('',#${point})`) };
    points.set(v, made);
    return made;
  };
  const edges = new Int32Array(t.length);
  const edgeOf = (h: number): string => {
    const twin = opposite[h];
    if (edges[twin] !== 0) return `ORIENTED_EDGE('',*,*,#${edges[twin]},.F.)`;
    const a = vertexOf(t[h]);
    const b = vertexOf(t[nextCorner(h)]);
    const along = add(`VECTOR('',#${add(`DIRECTION('',${triple(normalize(sub(place(t[nextCorner(h)]), place(t[h]))))})`)},1.)`);
    edges[h] = add(`EDGE_CURVE('',#${a.vertex},#${b.vertex},#${add(`LINE('',#${a.point},#${along})`)},.T.)`);
    return `ORIENTED_EDGE('',*,*,#${edges[h]},.T.)`;
  };
  return Array.from({ length: t.length / 3 }, (_, i) => {
    const [a, b, c] = [place(t[3 * i]), place(t[3 * i + 1]), place(t[3 * i + 2])];
    const u = normalize(sub(b, a));
    const n = normalize(cross(u, sub(c, a)));
    if (!(n[0] * n[0] + n[1] * n[1] + n[2] * n[2] > 0.5))
      throw new Fault({
        code: 'step-thin',
        what: 'A triangle of the mesh has no area, so no plane.',
        got: `triangle ${i + 1}`,
        expected: 'triangles with an area',
        where: name,
      });
    const loop = add(`EDGE_LOOP('',(${[3 * i, 3 * i + 1, 3 * i + 2].map((h) => `#${add(edgeOf(h))}`).join(',')}))`);
    const axes = `AXIS2_PLACEMENT_3D('',#${vertexOf(t[3 * i]).point},#${add(`DIRECTION('',${triple(n)})`)},#${add(`DIRECTION('',${triple(u)})`)})`;
    const plane = add(`PLANE('',#${add(axes)})`);
    return add(`ADVANCED_FACE('',(#${add(`FACE_OUTER_BOUND('',#${loop},.T.)`)}),#${plane},.T.)`);
  });
}

interface Shells {
  readonly mesh: Mesh;
  readonly opposite: Int32Array;
  readonly faces: readonly number[];
  readonly name: string;
}

/** One solid a piece of positive volume; pieces of negative volume are hollows of the smallest piece whose box holds them. */
function addSolids(add: Add, { mesh, opposite, faces, name }: Shells): number[] {
  const { positions: p, indices: t } = mesh;
  const { piece, pieces } = piecesByEdge(opposite);
  const list = Array.from({ length: pieces }, () => ({
    faces: [] as number[],
    volume: 0,
    lo: [Infinity, Infinity, Infinity],
    hi: [-Infinity, -Infinity, -Infinity],
    voids: [] as number[],
  }));
  for (let i = 0; i < faces.length; i++) {
    const s = list[piece[i]];
    s.faces.push(faces[i]);
    const [a, b, c] = [3 * t[3 * i], 3 * t[3 * i + 1], 3 * t[3 * i + 2]];
    s.volume +=
      p[a] * (p[b + 1] * p[c + 2] - p[b + 2] * p[c + 1]) +
      p[a + 1] * (p[b + 2] * p[c] - p[b] * p[c + 2]) +
      p[a + 2] * (p[b] * p[c + 1] - p[b + 1] * p[c]);
    for (const v of [a, b, c])
      for (let k = 0; k < 3; k++) {
        s.lo[k] = Math.min(s.lo[k], p[v + k]);
        s.hi[k] = Math.max(s.hi[k], p[v + k]);
      }
  }
  const shells = list.map((s) => add(`CLOSED_SHELL('',(${s.faces.map((f) => `#${f}`).join(',')}))`));
  const solids = list.filter((s) => s.volume > 0).sort((a, b) => a.volume - b.volume);
  for (const [i, hollow] of list.entries()) {
    if (hollow.volume > 0) continue;
    const holder = solids.find((s) => s.volume > -hollow.volume && hollow.lo.every((v, k) => v >= s.lo[k] && hollow.hi[k] <= s.hi[k]));
    if (!holder)
      throw new Fault({
        code: 'step-voids',
        what: 'A piece of the mesh is inside out and lies in no other.',
        got: `${hollow.faces.length} faces`,
        expected: 'pieces that face outwards',
        where: name,
      });
    holder.voids.push(shells[i]);
  }
  return solids.map((s) => {
    const shell = shells[list.indexOf(s)];
    if (s.voids.length === 0) return add(`MANIFOLD_SOLID_BREP(${quote(name)},#${shell})`);
    const voids = s.voids.map((v) => `#${add(`ORIENTED_CLOSED_SHELL('',*,#${v},.T.)`)}`);
    return add(`BREP_WITH_VOIDS(${quote(name)},#${shell},(${voids.join(',')}))`);
  });
}
