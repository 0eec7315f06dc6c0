import * as z from 'zod';
import type { Vec3 } from '../core/vec.ts';
import { type DeepReadonly, direction, length, section } from './schema-parts.ts';

const AXES: Readonly<Record<'x' | 'y' | 'z', Vec3>> = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] };

/** An axis by name or as a direction [x, y, z]; comes out as a unit vector. */
export const axis = () =>
  z.union([z.enum(['x', 'y', 'z']).transform((name): [number, number, number] => [...AXES[name]]), direction()], {
    error: 'x, y, z or a direction [x, y, z]',
  });

const sectionsSection = section({
  axis: axis().prefault('x').describe('Along which stations are counted: x, y, z or a direction.'),
  every: length({ above: 0 }).prefault(50).describe('Spacing of the stations, mm; they lie at whole multiples of it.'),
  at: z
    .array(length(), { error: 'a list of stations, mm' })
    .min(1, { error: 'at least one station' })
    .nullish()
    .describe('These stations instead, mm.'),
  round: length({ least: 0 }).prefault(60).describe('How far round the body obstacles are drawn, mm.'),
  tolerance: length({ above: 0 }).prefault(0.1).describe('How far fitted arcs and straight pieces may be from an outline, mm.'),
});

/** Part of the section `make`. */
export const sections = z.union([z.boolean(), sectionsSection], { error: 'true, false or { axis: x, every: 50 }' });

/** Sections asked for: unit vector, mm; at null: every so often. */
export type JobSections = DeepReadonly<Omit<z.output<typeof sectionsSection>, 'at'> & { at: number[] | null }>;

export function completeSections(raw: z.output<typeof sections>): JobSections | false {
  if (raw === false) return false;
  const given = raw === true ? sectionsSection.parse({}) : raw;
  return { ...given, at: given.at ?? null };
}

const drawingSection = section({
  paper: z.enum(['A4', 'A3'], { error: 'A4 or A3' }).prefault('A3').describe('Sheet that the drawing page is laid out for.'),
});

/** Part of the section `make`. */
export const drawing = z.union([z.boolean(), drawingSection], { error: 'true, false or { paper: A4 }' });

export type JobDrawing = DeepReadonly<z.output<typeof drawingSection>>;

export const completeDrawing = (raw: z.output<typeof drawing>): JobDrawing | false => (raw === true ? drawingSection.parse({}) : raw);
