import * as z from 'zod';
import { type DeepReadonly, length, section } from './schema-parts.ts';
import { completeRibs, type JobRibs, ribs } from './schema-ribs.ts';
import { completeDrawing, completeSections, drawing, type JobDrawing, type JobSections, sections } from './schema-sections.ts';

/** Forms that the seed mesh can be written in. */
export const SEED_FORMATS = ['stl', 'glb', '3mf', 'ply', 'obj', 'step'] as const;

const makeSection = section({
  of: z
    .enum(['envelope', 'cavity'], { error: 'envelope or cavity' })
    .prefault('envelope')
    .describe('What the seed mesh is made of: the free envelope, or the cavity of the tank in it.'),
  faces: z
    .int({ error: 'a whole number of faces' })
    .min(500, { error: 'at least 500 faces' })
    .max(2_000_000, { error: 'at most 2,000,000 faces' })
    .prefault(20_000)
    .describe('Faces aimed at. A STEP file gets at most 5,000 of its own.'),
  fairing: z
    .int({ error: 'a whole number from 0 to 50' })
    .min(0, { error: 'a whole number from 0 to 50' })
    .max(50, { error: 'a whole number from 0 to 50' })
    .prefault(3)
    .describe("Pairs of smoothing steps, which never leave the free space; 0 keeps the grid's own surface."),
  error: length({ above: 0 }).nullish().describe('Greatest simplification error, mm, only ever inward; half a cell when left out.'),
  formats: z
    .array(z.enum(SEED_FORMATS), { error: `a list of: ${SEED_FORMATS.join(', ')}` })
    .min(1, { error: 'at least one format' })
    .prefault(['stl', 'glb', '3mf'])
    .describe('Files that the seed mesh is written to.'),
  slack: z.boolean({ error: 'true or false' }).prefault(false).describe('Write the slack field too (NRRD), for other programs.'),
  sections: sections.prefault(false).describe('Outlines at stations along an axis, as DXF, SVG and a table; true or settings.'),
  drawing: drawing.prefault(false).describe('A drawing page of three views and sections; true or settings.'),
  ribs: ribs.prefault(false).describe('A kit of flat ribs that stands in for the body, to be offered up in the frame; true or settings.'),
});

export const make = makeSection;

type RawMake = z.output<typeof makeSection>;

/** What is made for the workshop; lengths mm. */
export type JobMake = DeepReadonly<
  Omit<RawMake, 'error' | 'sections' | 'drawing' | 'ribs'> & {
    error: number | null;
    sections: JobSections | false;
    drawing: JobDrawing | false;
    ribs: JobRibs | false;
  }
>;

export const completeMake = (raw: RawMake): JobMake => ({
  ...raw,
  error: raw.error ?? null,
  sections: completeSections(raw.sections),
  drawing: completeDrawing(raw.drawing),
  ribs: completeRibs(raw.ribs),
});
