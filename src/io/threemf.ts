import { SaxesParser, type SaxesTagNS } from 'saxes';
import { Fault, type Note } from '../core/fault.ts';
import type { LengthUnit } from '../core/units.ts';
import { buildMesh, count, FARTHEST, isCoordinate, uniqueName } from './build.ts';
import { IndexList, PointList } from './grow.ts';
import type { ScanFile, ScanPart } from './scan-file.ts';
import { stemOf } from './source.ts';
import type { ZipEntry } from './zip.ts';

const CORE = 'http://schemas.microsoft.com/3dmanufacturing/core/2015/02';
const PRODUCTION = 'http://schemas.microsoft.com/3dmanufacturing/production/2015/06';
const MATERIAL = 'http://schemas.microsoft.com/3dmanufacturing/material/2015/02';
const MODEL_TYPE = 'http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel';
const UNITS: Readonly<Record<string, LengthUnit>> = {
  micron: 'um',
  millimeter: 'mm',
  centimeter: 'cm',
  inch: 'in',
  foot: 'ft',
  meter: 'm',
};
/** Instances are copies: a small file can ask for any number of them. */
const MOST_TRIANGLES = 1e8;
const MOST_USES = 10000;
const MOST_DEPTH = 64;

/** x' = x m0 + y m3 + z m6 + m9, and so on: rows are images of the axes (3MF core 1.3, section 3.3). */
type Transform = readonly number[];
const IDENTITY: Transform = [1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0];

interface Use {
  /** Model file and number of the object. */
  readonly key: string;
  readonly transform: Transform;
}

interface MfObject {
  readonly name: string;
  readonly points: PointList;
  readonly corners: IndexList;
  readonly components: Use[];
}

interface Model {
  readonly unit: LengthUnit;
  readonly objects: Map<string, MfObject>;
  readonly items: Use[];
}

const fail = (where: string, what: string, got: string, expected: string): Fault =>
  new Fault({ code: '3mf-content', what, got: got.slice(0, 120), expected, hint: 'Export the file again.', where });

/** True when the archive is a 3MF package. */
export const isThreeMf = (entries: readonly ZipEntry[]): boolean =>
  entries.some((e) => e.name === '[Content_Types].xml') && entries.some((e) => e.name.toLowerCase().endsWith('.model'));

/**
 * 3MF packages: the model that the package's relations name, its unit, objects, components and build items with their transforms,
 * and models in other files of the package (production extension). Every mesh that an item leads to is a part.
 */
export function readThreeMf(file: string, entries: readonly ZipEntry[]): ScanFile {
  const byPath = new Map(entries.map((e) => [`/${e.name}`, e]));
  const root = rootModel(file, byPath);
  const models = new Map<string, Model>();
  const load = (path: string): Model => {
    const known = models.get(path);
    if (known) return known;
    const entry = byPath.get(path);
    if (!entry) throw fail(file, 'The 3MF package lacks a model.', 'no such file', path);
    const model = parseModel(`${file}:${path}`, path, entry.unpack());
    models.set(path, model);
    return model;
  };
  const main = load(root);
  const taken = new Map<string, number>();
  const parts: ScanPart[] = [];
  const notes: Note[] = [];
  let triangles = 0;
  let uses = 0;
  const place = (use: Use, transform: Transform, trail: readonly string[]): void => {
    const [path] = use.key.split('#');
    const model = load(path);
    const object = model.objects.get(use.key);
    if (!object) throw fail(file, 'The 3MF model uses an object that is not there.', `object ${use.key}`, 'an object of the model');
    if (trail.includes(use.key) || trail.length > MOST_DEPTH)
      throw fail(file, 'Objects of the 3MF model go round in a ring.', use.key, 'a tree');
    if (model.unit !== main.unit)
      throw fail(file, 'Models of the 3MF package have different units.', `${model.unit} and ${main.unit}`, 'one unit');
    triangles += object.corners.length / 3;
    if (triangles > MOST_TRIANGLES || ++uses > MOST_USES)
      throw fail(file, 'The 3MF model asks for more copies than a scan has.', `${count(triangles)} triangles`, 'fewer');
    if (object.corners.length > 0) {
      const name = uniqueName(object.name || stemOf(file), taken);
      const mesh = buildMesh(placed(file, object.points, transform), turned(object.corners, transform), name, notes);
      if (mesh) parts.push({ name, mesh });
    }
    for (const c of object.components) place(c, multiply(c.transform, transform), [...trail, use.key]);
  };
  for (const item of main.items) place(item, item.transform, []);
  const used = main.items.length;
  if (parts.length === 0)
    throw new Fault({
      code: 'scan-empty',
      what: 'The 3MF file holds no triangle with an area among what it builds.',
      got: `${used} build items`,
      expected: 'at least one item with a mesh',
      where: file,
    });
  return { format: '3MF', unit: main.unit, parts, notes };
}

function rootModel(file: string, byPath: ReadonlyMap<string, ZipEntry>): string {
  const rels = byPath.get('/_rels/.rels');
  if (!rels) throw fail(file, 'The 3MF package does not say where its model is.', 'no _rels/.rels', 'a relation to the model');
  let target = '';
  parseXml(`${file}:/_rels/.rels`, rels.unpack(), (tag) => {
    if (tag.local === 'Relationship' && attribute(tag, 'Type') === MODEL_TYPE) target = attribute(tag, 'Target') ?? '';
  });
  if (target === '') throw fail(file, 'The 3MF package does not say where its model is.', 'no relation to a model', MODEL_TYPE);
  return target.startsWith('/') ? target : `/${target}`;
}

const attribute = (tag: SaxesTagNS, name: string, uri = ''): string | undefined =>
  Object.values(tag.attributes).find((a) => a.local === name && a.uri === uri)?.value;

/** Feeds the bytes in pieces; a fault of the text names line and column. */
function parseXml(where: string, bytes: Uint8Array, open: (tag: SaxesTagNS, at: string) => void, close?: (local: string) => void): void {
  const parser = new SaxesParser({ xmlns: true });
  const at = (): string => `${where}:${parser.line}:${parser.column}`;
  const broken = (got: string): Fault =>
    fail(at(), 'The text within the 3MF file is not proper XML.', got, 'XML as the 3MF specification gives it');
  let failure: Fault | undefined;
  parser.on('error', (e) => {
    failure ??= broken(e.message);
  });
  parser.on('doctype', () => {
    failure ??= fail(at(), 'The 3MF file declares a document type, which 3MF forbids.', 'DOCTYPE', 'none');
  });
  parser.on('opentag', (tag) => {
    if (!failure) open(tag, at());
  });
  if (close) parser.on('closetag', (tag) => close(tag.local));
  const decoder = new TextDecoder();
  const PIECE = 1 << 20;
  for (let i = 0; i < bytes.length; i += PIECE) {
    parser.write(decoder.decode(bytes.subarray(i, i + PIECE), { stream: true }));
    if (failure) throw failure;
  }
  parser.close();
  if (failure) throw failure;
}

function parseModel(where: string, path: string, bytes: Uint8Array): Model {
  const objects = new Map<string, MfObject>();
  const items: Use[] = [];
  let unit: LengthUnit | undefined;
  let object: MfObject | undefined;
  parseXml(
    where,
    bytes,
    (tag, at) => {
      if (unit === undefined) unit = rootTag(tag, at);
      if (tag.uri !== CORE) return;
      if (tag.local === 'vertex' && object)
        object.points.push(coordinate(tag, 'x', at), coordinate(tag, 'y', at), coordinate(tag, 'z', at));
      else if (tag.local === 'triangle' && object)
        object.corners.push3(corner(tag, 'v1', at), corner(tag, 'v2', at), corner(tag, 'v3', at));
      else if (tag.local === 'object') {
        object = { name: attribute(tag, 'name')?.trim() ?? '', points: new PointList(), corners: new IndexList(), components: [] };
        const key = `${path}#${attribute(tag, 'id')}`;
        if (objects.has(key)) throw fail(at, 'Two objects of the 3MF model have one number.', key, 'numbers that differ');
        objects.set(key, object);
      } else if (tag.local === 'component' && object) object.components.push(use(tag, path, at));
      else if (tag.local === 'item') items.push(use(tag, path, at));
    },
    (local) => {
      if (local === 'object' && object) {
        checkCorners(where, object);
        object = undefined;
      }
    },
  );
  return { unit: unit ?? 'mm', objects, items };
}

function rootTag(tag: SaxesTagNS, at: string): LengthUnit {
  if (tag.local !== 'model' || tag.uri !== CORE)
    throw fail(at, 'The model of the 3MF file is not one.', `<${tag.name}>`, `<model> of ${CORE}`);
  const needed = (attribute(tag, 'requiredextensions') ?? '').split(/\s+/).filter((p) => p !== '');
  for (const prefix of needed) {
    const uri = tag.ns?.[prefix] ?? '';
    if (uri !== PRODUCTION && uri !== MATERIAL)
      throw fail(at, 'The 3MF file needs an extension that is not read.', `${prefix} (${uri})`, 'core, production or material');
  }
  const unit = attribute(tag, 'unit') ?? 'millimeter';
  if (!Object.hasOwn(UNITS, unit)) throw fail(at, 'The unit of the 3MF file is unknown.', unit, Object.keys(UNITS).join(', '));
  return UNITS[unit];
}

function use(tag: SaxesTagNS, path: string, at: string): Use {
  const other = attribute(tag, 'path', PRODUCTION);
  const text = attribute(tag, 'transform');
  const transform = text === undefined ? IDENTITY : text.trim().split(/\s+/).map(Number);
  if (transform.length !== 12 || !transform.every(Number.isFinite))
    throw fail(at, 'A transform of the 3MF file is not right.', text ?? '', 'twelve numbers');
  return { key: `${other ?? path}#${attribute(tag, 'objectid')}`, transform };
}

function coordinate(tag: SaxesTagNS, name: string, at: string): number {
  const text = attribute(tag, name) ?? '';
  const v = /^\s*$/.test(text) ? Number.NaN : Number(text);
  if (!isCoordinate(v))
    throw new Fault({
      code: 'scan-not-finite',
      what: 'A vertex is not a place.',
      got: `${name}="${text.slice(0, 40)}"`,
      expected: `a finite number within ${FARTHEST}`,
      hint: 'The file is damaged or was written by a faulty export.',
      where: at,
    });
  return v;
}

function corner(tag: SaxesTagNS, name: string, at: string): number {
  const text = attribute(tag, name) ?? '';
  if (!/^\s*\d{1,9}\s*$/.test(text))
    throw fail(at, 'A triangle of the 3MF file has no proper corner.', `${name}="${text.slice(0, 40)}"`, 'a whole number from 0');
  return Number(text);
}

function checkCorners(where: string, object: MfObject): void {
  const n = object.points.length / 3;
  for (let i = 0; i < object.corners.length; i++)
    if (object.corners.data[i] >= n)
      throw new Fault({
        code: 'scan-index',
        what: 'A face names a vertex that is not there.',
        got: `vertex ${object.corners.data[i]}`,
        expected: `0 to ${n - 1}`,
        hint: 'The file is damaged, or its export is faulty.',
        where: `${where}, object "${object.name}", triangle ${count(Math.floor(i / 3) + 1)}`,
      });
}

/** First `a`, then `b`. */
function multiply(a: Transform, b: Transform): Transform {
  const out = new Array<number>(12);
  for (let r = 0; r < 4; r++)
    for (let c = 0; c < 3; c++)
      out[3 * r + c] = a[3 * r] * b[c] + a[3 * r + 1] * b[3 + c] + a[3 * r + 2] * b[6 + c] + (r === 3 ? b[9 + c] : 0);
  return out;
}

function placed(file: string, points: PointList, m: Transform): Float64Array {
  const out = new Float64Array(points.length);
  for (let i = 0; i < out.length; i += 3) {
    const x = points.data[i];
    const y = points.data[i + 1];
    const z = points.data[i + 2];
    for (let a = 0; a < 3; a++) {
      out[i + a] = x * m[a] + y * m[3 + a] + z * m[6 + a] + m[9 + a];
      if (!isCoordinate(out[i + a]))
        throw fail(file, 'A transform of the 3MF file carries a vertex out of all bounds.', String(out[i + a]), `within ${FARTHEST}`);
    }
  }
  return out;
}

/** Corners as they are, or turned round where the transform mirrors. */
function turned(corners: IndexList, m: Transform): Uint32Array {
  const out = corners.data.slice(0, corners.length);
  const det = m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
  if (det < 0) for (let i = 0; i < out.length; i += 3) [out[i + 1], out[i + 2]] = [out[i + 2], out[i + 1]];
  return out;
}
