import * as z from 'zod';
import { completeMould, type JobMould, mould } from './schema-mould.ts';
import { type DeepReadonly, length, type Report, section } from './schema-parts.ts';
import { checkPrint, completePrint, type JobPrint, print } from './schema-print.ts';
import { checkRibs, completeRibs, type JobRibs, ribs } from './schema-ribs.ts';
import { completeDrawing, completeSections, drawing, type JobDrawing, type JobSections, sections } from './schema-sections.ts';

/** Forms that the seed mesh can be written in. */
export const SEED_FORMATS = ['stl', 'glb', '3mf', 'ply', 'obj', 'step'] as const;

const makeSection = section({
  of: z
    .enum(['envelope', 'body', 'cavity'], { error: 'envelope, body or cavity' })
    .prefault('envelope')
    .describe(
      'What is made: the free envelope; the greatest body in it that goes in along the best of the ways in; or the cavity of the tank in the envelope (the seed mesh alone; sections and ribs keep to the envelope).',
    ),
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
    .prefault(['stl', 'glb', '3mf'])
    .describe('Files that the seed mesh is written to; an empty list for none.'),
  slack: z.boolean({ error: 'true or false' }).prefault(false).describe('Write the slack field too (NRRD), for other programs.'),
  sections: sections.prefault(false).describe('Outlines at stations along an axis, as DXF, SVG and a table; true or settings.'),
  drawing: drawing.prefault(false).describe('A drawing page of three views and sections; true or settings.'),
  ribs: ribs.prefault(false).describe('A kit of flat ribs that stands in for the body, to be offered up in the frame; true or settings.'),
  print: print.prefault(false).describe('The body in parts for a printer, with pegs that locate them; true or settings.'),
  mould: mould
    .prefault(false)
    .describe('What to know before a plug or a mould is paid for: block, foam, shrinkage, undercuts, draft, cutter; true or settings.'),
});

export const make = makeSection;

type RawMake = z.output<typeof makeSection>;

/** What is made for the workshop; lengths mm. */
export type JobMake = DeepReadonly<
  Omit<RawMake, 'error' | 'sections' | 'drawing' | 'ribs' | 'print' | 'mould'> & {
    error: number | null;
    sections: JobSections | false;
    drawing: JobDrawing | false;
    ribs: JobRibs | false;
    print: JobPrint | false;
    mould: JobMould | false;
  }
>;

export const completeMake = (raw: RawMake): JobMake => ({
  ...raw,
  error: raw.error ?? null,
  sections: completeSections(raw.sections),
  drawing: completeDrawing(raw.drawing),
  ribs: completeRibs(raw.ribs),
  print: completePrint(raw.print),
  mould: completeMould(raw.mould),
});

/** What can be told to be wrong before anything is read: needs of `make` that other sections have to meet, sheets and printers too small. */
export function checkMake(raw: RawMake, others: { readonly tank: boolean; readonly ways_in: boolean }, report: Report): void {
  if (raw.of === 'cavity' && !others.tank)
    report(['make', 'of'], {
      code: 'make-cavity',
      what: 'The seed mesh is to be made of the cavity, but the job has no tank.',
      got: 'cavity',
      hint: 'make: { of: envelope }, or give the job a tank',
    });
  if (raw.of === 'body' && !others.ways_in)
    report(['make', 'of'], {
      code: 'make-body',
      what: 'A body that can be put in is to be made, but the job does not ask for the ways in.',
      got: 'body',
      hint: 'ways_in: true, or make: { of: envelope }',
    });
  checkRibs(raw.ribs, report);
  checkPrint(raw.print, report);
}

/** What one call of the make command can be told to write, whatever the job says. */
export const MAKE_OUTPUTS = ['seed', 'step-file', 'sections', 'drawing', 'ribs', 'print', 'mould', 'slack'] as const;
export type MakeOutput = (typeof MAKE_OUTPUTS)[number];

/** Only these outputs, each as the job sets it, with defaults where the job leaves it out. */
export function onlyOutputs(make: JobMake, picked: readonly MakeOutput[]): JobMake {
  const has = (o: MakeOutput): boolean => picked.includes(o);
  const usual = makeSection.parse({}).formats;
  const formats = has('seed') ? (make.formats.length > 0 ? make.formats : usual) : [];
  return {
    ...make,
    formats: has('step-file') && !formats.includes('step') ? [...formats, 'step'] : formats,
    slack: has('slack'),
    sections: has('sections') && (make.sections || completeSections(true)),
    drawing: has('drawing') && (make.drawing || completeDrawing(true)),
    ribs: has('ribs') && (make.ribs || completeRibs(true)),
    print: has('print') && (make.print || completePrint(true)),
    mould: has('mould') && (make.mould || completeMould(true)),
  };
}
