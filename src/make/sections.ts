import { type Context, checkCancelled } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import type { Mesh } from '../core/mesh.ts';
import { add, scale, type Vec3 } from '../core/vec.ts';
import { outlines, type Polyline, polylineArea, type SectionPlane } from '../field/outlines.ts';
import { type ArcLine, fitArcs } from './arcs.ts';
import { type Draft, draftToDxf, draftToSvg, type Layer, type SpaceStroke, type Stroke, spaceToDxf, type Words } from './draft.ts';
import { type PlaneBox, sliceMesh, slicePoints } from './slice.ts';
import { extentAlong, stationPlane, stationsEvery } from './stations.ts';

/** An obstacle as its scan has it. */
export interface SectionObstacle {
  readonly name: string;
  readonly mesh: Mesh;
  /** Half the spacing of a cloud's points, mm; 0 for faces. */
  readonly radius: number;
}

/** What is cut, all in mm and in one place. */
export interface SectionSubject {
  readonly body: Field;
  readonly cavity?: Field;
  /** Slack within the region: its zero is the clearance line. */
  readonly slack?: Field;
  readonly obstacles?: readonly SectionObstacle[];
}

export interface SectionOptions {
  /** Unit vector along which stations are counted. */
  readonly axis: Vec3;
  /** Spacing, mm; stations lie at whole multiples of it. */
  readonly every: number;
  /** These stations instead, mm. */
  readonly at?: readonly number[];
  /** How far round the body obstacles are drawn, mm. */
  readonly round: number;
  /** How far a fitted line may be from the outline, mm. */
  readonly tolerance: number;
}

/** Closed lines of one thing at one station. */
export interface Cut {
  readonly lines: readonly Polyline[];
  /** The same as arcs and straight pieces. */
  readonly arcs: readonly ArcLine[];
  /** Holes taken off, mm2. */
  readonly area: number;
  /** Of all lines, holes too, mm. */
  readonly perimeter: number;
}

export interface Section {
  /** mm along the axis. */
  readonly station: number;
  readonly plane: SectionPlane;
  readonly body: Cut;
  readonly cavity: Cut | undefined;
  readonly clearance: Cut | undefined;
  readonly obstacles: readonly {
    readonly name: string;
    readonly lines: readonly { readonly points: Float64Array; readonly closed: boolean }[];
    /** Points of a cloud, plane coordinates alternating. */
    readonly points: Float64Array;
  }[];
}

export interface Sections {
  readonly axis: Vec3;
  readonly list: readonly Section[];
  /** Greatest distance of any outline from its fitted line, mm. */
  readonly deviation: number;
  readonly notes: readonly Note[];
}

/** The most stations of one run. */
const MOST = 400;

/**
 * Sections of the body and what lies round it. The body's outlines are those of the field taken trilinear: exact to about the square of the
 * cell over eight times the radius of curvature. Faults: `sections-none` when no station cuts the body, `sections-many`.
 */
export function sections(subject: SectionSubject, options: SectionOptions, context: Context): Sections {
  const extent = extentAlong(subject.body, options.axis);
  if (options.at === undefined && (extent[1] - extent[0]) / options.every > MOST)
    throw new Fault({
      code: 'sections-many',
      what: 'The sections asked for are too many.',
      got: `every ${options.every} mm over ${Math.round(extent[1] - extent[0])} mm`,
      expected: `at most ${MOST} stations`,
      hint: 'Ask for a greater spacing, or list the stations.',
    });
  const stations = options.at ?? stationsEvery(options.every, extent);
  const list: Section[] = [];
  for (const station of stations) {
    checkCancelled(context);
    context.progress('sections', list.length / stations.length);
    const section = cutAt(subject, station, options);
    if (section) list.push(section);
  }
  if (list.length === 0)
    throw new Fault({
      code: 'sections-none',
      what: 'No station cuts the body.',
      got: options.at ? options.at.join(', ') : `every ${options.every} mm`,
      expected: `stations from ${extent[0].toFixed(0)} to ${extent[1].toFixed(0)} mm along that axis`,
      hint: 'Ask for a smaller spacing, or for stations inside the body.',
    });
  const missed = stations.filter((s) => !list.some((l) => l.station === s));
  const notes: Note[] = [];
  if (options.at && missed.length > 0)
    notes.push({ code: 'sections-missed', text: `Stations at ${missed.join(', ')} mm do not cut the body and were left out.` });
  const arcs = list.flatMap((s) => [s.body, s.cavity, s.clearance].flatMap((c) => c?.arcs ?? []));
  return { axis: options.axis, list, deviation: arcs.reduce((m, a) => Math.max(m, a.deviation), 0), notes };
}

function cutAt(subject: SectionSubject, station: number, options: SectionOptions): Section | undefined {
  const plane = stationPlane(options.axis, station);
  const body = cutOf(subject.body, plane, options.tolerance);
  if (body.lines.length === 0) return undefined;
  const box = boxRound(body.lines, options.round);
  return {
    station,
    plane,
    body,
    cavity: subject.cavity && cutOf(subject.cavity, plane, options.tolerance),
    clearance: subject.slack && cutOf(subject.slack, plane, options.tolerance),
    obstacles: (subject.obstacles ?? [])
      .map(({ name, mesh, radius }) => ({
        name,
        lines: sliceMesh(mesh, plane, box),
        points: radius > 0 ? slicePoints(mesh, radius, plane, box) : new Float64Array(0),
      }))
      .filter((o) => o.lines.length + o.points.length > 0),
  };
}

function cutOf(field: Field, plane: SectionPlane, tolerance: number): Cut {
  const lines = outlines(field, plane);
  return {
    lines,
    arcs: lines.map((l) => fitArcs(l, tolerance)),
    area: lines.reduce((s, l) => s + polylineArea(l), 0),
    perimeter: lines.reduce((s, l) => s + lineLength(l.points, true), 0),
  };
}

function boxRound(lines: readonly Polyline[], by: number): PlaneBox {
  let [a0, b0, a1, b1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const { points: p } of lines)
    for (let i = 0; i < p.length; i += 2) {
      a0 = Math.min(a0, p[i]);
      a1 = Math.max(a1, p[i]);
      b0 = Math.min(b0, p[i + 1]);
      b1 = Math.max(b1, p[i + 1]);
    }
  return [a0 - by, b0 - by, a1 + by, b1 + by];
}

/** Length of a line of points, mm. */
export function lineLength(p: ArrayLike<number>, closed: boolean): number {
  let sum = 0;
  for (let i = closed ? 0 : 2; i < p.length; i += 2) {
    const j = i === 0 ? p.length - 2 : i - 2;
    sum += Math.hypot(p[i] - p[j], p[i + 1] - p[j + 1]);
  }
  return sum;
}

const LAYERS: readonly Layer[] = [
  { name: 'OBSTACLES', index: 8, ink: '#6b6f76', width: 0.35 },
  { name: 'CLEARANCE', index: 30, ink: '#a8320a', width: 0.25, dash: '4 2' },
  { name: 'CLEARANCE-FIT', index: 30, ink: '#a8320a', width: 0.15, dash: '4 2' },
  { name: 'BODY', index: 7, ink: '#1d1f24', width: 0.6 },
  { name: 'BODY-FIT', index: 5, ink: '#1d1f24', width: 0.15 },
  { name: 'CAVITY', index: 4, ink: '#2f5d62', width: 0.35 },
  { name: 'CAVITY-FIT', index: 4, ink: '#2f5d62', width: 0.15 },
  { name: 'TEXT', index: 7, ink: '#1d1f24', width: 0.2 },
];

const bare = (l: { readonly points: Float64Array }, layer: string, closed: boolean): Stroke => ({ layer, points: l.points, closed });

/** Strokes of a section in its plane's coordinates. */
export function sectionStrokes(s: Section, fitted: boolean): Stroke[] {
  const out = s.obstacles.flatMap((o) => [...o.lines.map((l) => bare(l, 'OBSTACLES', l.closed)), ...crosses(o.points)]);
  for (const [layer, cut] of [
    ['CLEARANCE', s.clearance],
    ['BODY', s.body],
    ['CAVITY', s.cavity],
  ] as const)
    for (let i = 0; i < (cut?.lines.length ?? 0); i++) {
      out.push(bare(cut!.lines[i], layer, true));
      if (fitted) out.push({ layer: `${layer}-FIT`, points: cut!.arcs[i].points, bulges: cut!.arcs[i].bulges, closed: true });
    }
  return out;
}

/** A cloud's points as small crosses of 1 mm. */
function crosses(p: Float64Array): Stroke[] {
  const out: Stroke[] = [];
  for (let i = 0; i < p.length; i += 2)
    for (const [a, b] of [
      [0.5, 0],
      [0, 0.5],
    ])
      out.push({ layer: 'OBSTACLES', points: [p[i] - a, p[i + 1] - b, p[i] + a, p[i + 1] + b], closed: false });
  return out;
}

/** Gap between sections laid beside each other, and height of their titles, mm. */
const GAP = 30;
const TITLE = 6;

/** All stations beside each other from left to right, each titled; heights stay those of the plane. */
export function sectionsDraft(all: Sections, fitted: boolean): Draft {
  const strokes: Stroke[] = [];
  const words: Words[] = [];
  let right = 0;
  for (const s of all.list) {
    const own = sectionStrokes(s, fitted);
    let [a0, a1, b0] = [Infinity, -Infinity, Infinity];
    for (const { points } of own)
      for (let i = 0; i < points.length; i += 2) {
        a0 = Math.min(a0, points[i]);
        a1 = Math.max(a1, points[i]);
        b0 = Math.min(b0, points[i + 1]);
      }
    const shift = right - a0;
    for (const o of own) strokes.push({ ...o, points: Float64Array.from(o.points, (v, i) => (i % 2 ? v : v + shift)) });
    words.push({ layer: 'TEXT', at: [right, b0 - 2 * TITLE], height: TITLE, text: `${axisName(all.axis)} ${tidy(s.station)}` });
    right += a1 - a0 + GAP;
  }
  return { layers: LAYERS, strokes, words };
}

/** Sections as lines in space, each where it lies on the vehicle. */
function inSpace(all: Sections): SpaceStroke[] {
  return all.list.flatMap((s) =>
    sectionStrokes(s, false).map(({ layer, points, closed }) => ({
      layer,
      closed,
      points: Array.from(
        { length: points.length / 2 },
        (_, i): Vec3 => add(s.plane.origin, add(scale(s.plane.u, points[2 * i]), scale(s.plane.v, points[2 * i + 1]))),
      ),
    })),
  );
}

/** The sections as files: text by name. */
export function sectionFiles(all: Sections): Map<string, string> {
  return new Map([
    ['sections.dxf', draftToDxf(sectionsDraft(all, true))],
    [
      'sections-in-place.dxf',
      spaceToDxf(
        LAYERS.filter((l) => !/FIT|TEXT/.test(l.name)),
        inSpace(all),
      ),
    ],
    ['sections.svg', draftToSvg(sectionsDraft(all, true), { title: 'Sections, mm, one to one' })],
    ['stations.csv', stationTable(all)],
  ]);
}

/** The table of stations as comma-separated text with a line of names: area in mm2, perimeter in mm, empty where a thing was not given. */
export function stationTable(all: Sections): string {
  const names = ['body', 'cavity', 'clearance'] as const;
  const head = ['station_mm', ...names.flatMap((n) => [`${n}_area_mm2`, `${n}_perimeter_mm`, `${n}_outlines`])];
  const rows = all.list.map((s) =>
    [
      tidy(s.station),
      ...names.flatMap((n) => (s[n] ? [s[n].area.toFixed(1), s[n].perimeter.toFixed(2), s[n].lines.length] : ['', '', ''])),
    ].join(','),
  );
  return `${[head.join(','), ...rows].join('\n')}\n`;
}

/** x, y or z where the axis is one of them, else its direction. */
export function axisName(axis: Vec3): string {
  const i = axis.findIndex((v) => Math.abs(v - 1) < 1e-9);
  return i >= 0 ? 'xyz'[i] : `(${axis.map((v) => v.toFixed(3)).join(' ')})`;
}

/** At most two decimals. */
const tidy = (v: number): string => String(Math.round(v * 100) / 100 || 0);
